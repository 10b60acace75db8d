// The first few of many, in order, without keeping all of them.
#pragma once

#include <algorithm>
#include <cstddef>
#include <optional>
#include <utility>
#include <vector>

namespace plumblane {

// Items have a `place`, ascending, no two alike. Keeps the first `limit` whose place is above
// `after`, and knows whether there were more. Not thread-safe. Add costs O(1) on average.
template <typename Item>
class BestFew {
 public:
  using Place = decltype(Item::place);
  BestFew(const std::optional<Place>& after, size_t limit) : after_(after), limit_(limit) {}

  void Add(Item item) {
    if (after_ && !(*after_ < item.place)) return;
    items_.push_back(std::move(item));
    if (items_.size() >= 2 * (limit_ + 1)) Cut();
  }

  struct Taken {
    std::vector<Item> items;
    bool more = false;
  };
  Taken Take() {
    Cut();
    std::sort(items_.begin(), items_.end(), Before);
    if (items_.size() > limit_) items_.resize(limit_);
    return {std::move(items_), more_};
  }

 private:
  static bool Before(const Item& a, const Item& b) { return a.place < b.place; }

  void Cut() {
    if (items_.size() <= limit_) return;
    more_ = true;
    std::nth_element(items_.begin(), items_.begin() + static_cast<std::ptrdiff_t>(limit_),
                     items_.end(), Before);
    items_.resize(limit_);
  }

  std::optional<Place> after_;
  size_t limit_;
  std::vector<Item> items_;
  bool more_ = false;
};

}  // namespace plumblane
