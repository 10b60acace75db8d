// Fills in what a line leaves open: the order behind a tracking number, and the moments that bare
// dates stand for at their destination.
//
// Each is sought first on the line itself, then among the lines read so far in this run, then asked
// of the daemon; a destination that nobody knows has the fallback zone. Questions are collected, so
// a file that never names an order costs one question per 500 lines, and a `shipped` that stands
// below its `delivered` is found as well.
//
// What was read is remembered up to a bound. Once something has been forgotten, the daemon can know
// it only if it has been sent: see must_flush().
//
// Not thread-safe.
#pragma once

#include <grpcpp/support/status.h>

#include <functional>
#include <string>
#include <unordered_map>
#include <vector>

#include "base/zones.h"
#include "client/flat_event.h"
#include "client/row.h"
#include "plumblane/v1/orders.pb.h"

namespace plumblane::client {

// What the lines of this run have said: which order a tracking number belongs to, and where orders
// go. Remembers at least the last `kept` of each.
class RecentOrders {
 public:
  explicit RecentOrders(size_t kept) : kept_(kept) {}

  void Note(const Draft& draft);
  const v1::OrderName* FindByTracking(const std::string& tracking) const;
  const std::string* FindDestination(const v1::Event& event) const;
  bool has_forgotten() const { return has_forgotten_; }

 private:
  // Two generations: when the young one is full it becomes the old one, which is forgotten.
  template <typename Value>
  struct Memory {
    std::unordered_map<std::string, Value> young, old;
  };
  template <typename Value>
  void Keep(Memory<Value>& memory, std::string key, Value value);
  template <typename Value>
  const Value* Find(const Memory<Value>& memory, const std::string& key) const;

  const size_t kept_;
  bool has_forgotten_ = false;
  Memory<v1::OrderName> by_tracking_;
  Memory<std::string> destinations_;
};

class Resolver {
 public:
  using LookUp =
      std::function<grpc::Status(const v1::LookUpOrdersRequest&, v1::LookUpOrdersResponse*)>;
  static constexpr size_t kMostWaiting = 500;

  // `zones` must outlive this object.
  Resolver(const Zones* zones, LookUp look_up, size_t kept = 100'000)
      : zones_(zones), look_up_(std::move(look_up)), recent_(kept) {}

  // Gives the draft back when nothing is open any more, else keeps it for Settle().
  std::optional<Draft> Take(Draft draft);

  size_t waiting() const { return waiting_.size(); }
  // The lowest line kept; 0 = none.
  int64_t first_waiting_line() const;
  // What has been read must be with the daemon before Settle() asks it.
  bool must_flush() const { return !waiting_.empty() && recent_.has_forgotten(); }

  // Settles every draft that is kept: appends it to `ready` or, when nobody knows its tracking
  // number, to `rejected`. Errors are those of the look-up; then all are kept still.
  grpc::Status Settle(std::vector<Draft>* ready, std::vector<Rejection>* rejected);

 private:
  bool TryRecent(Draft& draft);
  std::optional<Rejection> TakeAnswer(const v1::LookUpOrdersResponse::Answer& answer, Draft& draft);
  void PlaceDates(Draft& draft, const std::string& destination) const;

  const Zones* const zones_;
  const LookUp look_up_;
  RecentOrders recent_;
  std::vector<Draft> waiting_;
};

}  // namespace plumblane::client
