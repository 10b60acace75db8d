#include "agreements/items.h"

#include <algorithm>
#include <tuple>

namespace plumblane {
namespace {

// Sets what `key` holds; false when it held something else.
template <typename Map, typename Key>
bool Agrees(Map& map, const Key& key, const std::string& value) {
  return map.emplace(key, value).first->second == value;
}

}  // namespace

void ItemBook::Load(const std::vector<Item>& items) {
  // All old codes go first: two items may swap theirs in one load.
  for (const Item& row : items) {
    const auto old = codes_.find({row.supplier, row.item});
    if (old != codes_.end()) items_.erase({row.supplier, old->second});
  }
  for (const Item& row : items) {
    ours_.insert(row.item);
    if (!row.item_class.empty()) classes_[row.item] = row.item_class;
    if (row.supplier.empty()) continue;
    codes_[{row.supplier, row.item}] = row.supplier_item;
    items_[{row.supplier, row.supplier_item}] = row.item;
  }
}

std::string ItemBook::ClassOf(const std::string& item) const {
  const auto found = classes_.find(item);
  return found == classes_.end() ? "" : found->second;
}

std::string ItemBook::CodeAt(const std::string& supplier, const std::string& item) const {
  const auto found = codes_.find({supplier, item});
  return found == codes_.end() ? "" : found->second;
}

std::optional<std::string> ItemBook::ItemOf(const std::string& supplier,
                                            const std::string& supplier_item) const {
  const auto found = items_.find({supplier, supplier_item});
  if (found == items_.end()) return std::nullopt;
  return found->second;
}

std::optional<std::string> ItemBook::OursFor(const std::string& supplier,
                                             const std::string& said) const {
  return IsOurs(said) ? std::nullopt : ItemOf(supplier, said);
}

bool ItemBook::IsAmbiguous(const std::string& supplier, const std::string& said) const {
  return IsOurs(said) && ItemOf(supplier, said).value_or(said) != said;
}

std::optional<size_t> ItemBook::FindConflict(const std::vector<Item>& items) const {
  // What will hold after the load: the codes that stay, and those it gives.
  auto owners = items_;
  for (const Item& row : items) {
    const auto old = codes_.find({row.supplier, row.item});
    if (old != codes_.end()) owners.erase({row.supplier, old->second});
  }
  decltype(classes_) classes;
  decltype(codes_) codes;
  for (size_t i = 0; i < items.size(); ++i) {
    const Item& row = items[i];
    if (!row.item_class.empty() && !Agrees(classes, row.item, row.item_class)) return i;
    if (row.supplier.empty()) continue;
    if (!Agrees(codes, std::pair(row.supplier, row.item), row.supplier_item)) return i;
    if (!Agrees(owners, std::pair(row.supplier, row.supplier_item), row.item)) return i;
  }
  return std::nullopt;
}

std::vector<Item> ItemBook::all() const {
  std::vector<Item> rows;
  for (const auto& [item, item_class] : classes_) rows.push_back({item, item_class, "", ""});
  for (const auto& [at, code] : codes_) rows.push_back({at.second, "", at.first, code});
  std::sort(rows.begin(), rows.end(), [](const Item& a, const Item& b) {
    return std::tie(a.item, a.supplier) < std::tie(b.item, b.supplier);
  });
  return rows;
}

}  // namespace plumblane
