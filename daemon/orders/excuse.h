// Excuses: orders taken out of a supplier's score because they were late or lost through no fault
// of the supplier. Facts, logged like events; withdrawing one is as if it had never been given.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <variant>

#include "base/ids.h"
#include "base/lane.h"
#include "base/time.h"

namespace plumblane {

struct ExcusedOrder {
  OrderKey order;
  int part = 1;
  bool operator==(const ExcusedOrder&) const = default;
};

// What an order is excused by: its customer's doing as the events tell it, or an excuse given for
// it alone, or for days of its lane.
enum class ExcuseKind { kNone, kCustomer, kOrder, kLaneDays };

// The orders on a lane whose promised UTC day lies in first_due..last_due, both included. An order
// without a counted promise is not covered.
struct ExcusedDays {
  LaneQuery lane;
  Day first_due, last_due;
  bool operator==(const ExcusedDays&) const = default;
};

struct Excuse {
  std::string excuse_id;
  std::variant<ExcusedOrder, ExcusedDays> subject;
  std::string reason;  // in words
  bool withdrawn = false;
  bool operator==(const Excuse&) const = default;
};

// All excuses ever given. Const methods are safe for concurrent use.
class ExcuseBook {
 public:
  // Adds or replaces by id.
  void Put(const Excuse& excuse) { excuses_[excuse.excuse_id] = excuse; }
  void Erase(const std::string& excuse_id) { excuses_.erase(excuse_id); }

  // The excuse that covers the order part, the one with the lowest id if several do; none else.
  const Excuse* Find(const OrderKey& order, int part, const Lane& lane,
                     std::optional<Day> promised_day) const;

  const std::map<std::string, Excuse, std::less<>>& all() const { return excuses_; }

 private:
  std::map<std::string, Excuse, std::less<>> excuses_;
};

}  // namespace plumblane
