// What the writer has decoded of the store lately, so that it need not read it again. Never the
// truth: with or without it an entry changes the same bytes.
#pragma once

#include <absl/container/flat_hash_map.h>

#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>
#include <list>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "base/hash.h"
#include "base/ids.h"
#include "base/time.h"
#include "cohorts/cell.h"
#include "orders/fold.h"

namespace plumblane {

// Values by key, up to a number of bytes; the one that was not asked for longest goes first. What
// was asked for since the last MakeRoom stays, however much that is. Pointers hold until MakeRoom
// or Clear. Not thread-safe.
template <typename Value>
class Kept {
 public:
  struct Item {
    std::string key;
    Value value;
    size_t bytes = 0;
    uint64_t round = 0;  // when it was last asked for
  };

  explicit Kept(size_t max_bytes) : max_bytes_(max_bytes) {}

  Item* Find(std::string_view key) {
    const auto found = by_key_.find(key);
    if (found == by_key_.end()) return nullptr;
    items_.splice(items_.begin(), items_, found->second);
    items_.front().round = round_;
    return &items_.front();
  }

  // `bytes` is what the value weighs. REQUIRES: the key is not kept.
  Item* Put(std::string key, Value value, size_t bytes) {
    items_.push_front({std::move(key), std::move(value)});
    by_key_.emplace(items_.front().key, items_.begin());
    items_.front().round = round_;
    Weigh(items_.front(), bytes);
    return &items_.front();
  }

  // Says what the value of an item weighs now.
  void Weigh(Item& item, size_t bytes) {
    bytes += kItemBytes + item.key.size();
    bytes_ += bytes - item.bytes;
    item.bytes = bytes;
  }

  // Returns in which round the latest of what goes was asked for; 0: nothing goes.
  uint64_t MakeRoom() {
    uint64_t gone = 0;
    while (bytes_ > max_bytes_ && items_.back().round < round_) {
      gone = items_.back().round;
      bytes_ -= items_.back().bytes;
      by_key_.erase(items_.back().key);
      items_.pop_back();
    }
    ++round_;
    return gone;
  }

  void Clear() {
    by_key_.clear();
    items_.clear();
    bytes_ = 0;
  }

  size_t bytes() const { return bytes_; }
  uint64_t round() const { return round_; }  // since the last MakeRoom

 private:
  static constexpr size_t kItemBytes = sizeof(Item) + 64;  // and its place in the list and map

  const size_t max_bytes_;
  std::list<Item> items_;  // latest asked first
  absl::flat_hash_map<std::string_view, typename std::list<Item>::iterator> by_key_;
  size_t bytes_ = 0;
  uint64_t round_ = 1;
};

// An order's events, sorted by Earlier(), and what they fold to; or that it is no longer kept.
struct KnownOrder {
  std::vector<Event> events;
  OrderState state;
  bool gone = false;
};

// About; `record_bytes` is the length of its record.
inline size_t BytesOf(const KnownOrder& known, size_t record_bytes) {
  size_t bytes = 2 * record_bytes + known.events.capacity() * sizeof(Event);
  for (const PartState& part : known.state.parts) {
    bytes += sizeof(PartState) + part.entries.capacity() * sizeof(Entry);
  }
  return bytes;
}

// By the keys of the store: orders, and pages of cells; half of the bytes for each. Orders are in
// shares of their own, so that several threads may work. Beside them what is small: of pairs the
// number of counting parts, of suppliers when they were last heard of.
//
// An entry is applied while the one before is written, and what is not kept is read as it was
// before both. So what an entry touched stays until the next one is applied, or Applied says that
// it did not (applier.h).
struct WritersMemory {
  static constexpr size_t kShares = 2;
  static size_t ShareOf(const OrderKey& order) {
    StableHash hash;
    hash.Text(order.order_id);
    return hash.value() % kShares;
  }

  explicit WritersMemory(size_t max_bytes)
      : orders{Kept<KnownOrder>(max_bytes / 4), Kept<KnownOrder>(max_bytes / 4)},
        pages(max_bytes / 2),
        pages_at_a_time(std::max<size_t>(16, max_bytes >> 15)) {}

  void Clear() {
    for (Kept<KnownOrder>& share : orders) share.Clear();
    pages.Clear();
    parts.clear();
    heard.clear();
  }

  std::array<Kept<KnownOrder>, kShares> orders;
  Kept<Series> pages;
  // Between so many of an entry room is made, lest a large one hold all that it touches.
  size_t pages_at_a_time;
  absl::flat_hash_map<std::string, int64_t> parts;                 // 0 = none
  absl::flat_hash_map<std::string, std::optional<Instant>> heard;  // none = never
};

}  // namespace plumblane
