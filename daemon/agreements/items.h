// Item codes: the class an item belongs to for cost settings, and what each supplier calls it.
//
// Not thread-safe for changes; const use is.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace plumblane {

struct Item {
  std::string item;
  std::string item_class;               // "" = unchanged
  std::string supplier, supplier_item;  // both or neither
  bool operator==(const Item&) const = default;
};

class ItemBook {
 public:
  // A supplier's code names one item of ours: REQUIRES no conflict (FindConflict). An item given a
  // new code loses the old one, which is free then, also for another item of the same load.
  void Load(const std::vector<Item>& items);

  std::string ClassOf(const std::string& item) const;  // "" = none
  // What the supplier calls it; "" = nothing else than we do.
  std::string CodeAt(const std::string& supplier, const std::string& item) const;
  // Ours for the supplier's code; none when unknown.
  std::optional<std::string> ItemOf(const std::string& supplier,
                                    const std::string& supplier_item) const;
  // The position of the first row that gives a supplier's code to a second item of ours, or gives
  // an item a second class or code within `items`; none when there is none.
  std::optional<size_t> FindConflict(const std::vector<Item>& items) const;

  // Rows as they hold: one for each class, one for each supplier's code; ascending by (item,
  // supplier).
  std::vector<Item> all() const;

 private:
  std::map<std::string, std::string> classes_;
  std::map<std::pair<std::string, std::string>, std::string> codes_;  // (supplier, item) -> theirs
  std::map<std::pair<std::string, std::string>, std::string> items_;  // (supplier, theirs) -> ours
};

}  // namespace plumblane
