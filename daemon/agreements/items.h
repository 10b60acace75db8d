// Item codes: the class an item belongs to for cost settings, and what each supplier calls it.
//
// Orders and quotes may name an item by their supplier's code: ours is meant then (OursFor). Where
// an item of ours has that very code, it is meant, whatever the supplier calls so, and who wrote it
// is told (IsAmbiguous). A code of one supplier says nothing of another's, and never stands for two
// items of ours: such a load is refused.
//
// Not thread-safe for changes; const use is.
#pragma once

#include <map>
#include <optional>
#include <set>
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
  // One that a row was ever loaded for.
  bool IsOurs(const std::string& item) const { return ours_.contains(item); }
  // Ours for what the supplier's order or quote says, where it says the supplier's code; else none,
  // and what was said stands.
  std::optional<std::string> OursFor(const std::string& supplier, const std::string& said) const;
  // An item of ours, and the supplier's code for another one.
  bool IsAmbiguous(const std::string& supplier, const std::string& said) const;
  // The position of the first row that gives a supplier's code to a second item of ours, or gives
  // an item a second class or code within `items`; none when there is none.
  std::optional<size_t> FindConflict(const std::vector<Item>& items) const;

  // Rows as they hold: one for each class, one for each supplier's code; ascending by (item,
  // supplier).
  std::vector<Item> all() const;

 private:
  std::set<std::string> ours_;
  std::map<std::string, std::string> classes_;
  std::map<std::pair<std::string, std::string>, std::string> codes_;  // (supplier, item) -> theirs
  std::map<std::pair<std::string, std::string>, std::string> items_;  // (supplier, theirs) -> ours
};

}  // namespace plumblane
