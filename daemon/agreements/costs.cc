#include "agreements/costs.h"

#include <utility>

namespace plumblane {

const CostClass* CostSettings::Find(const std::string& shop, const std::string& item_class) const {
  const std::string any;
  const std::pair<const std::string&, const std::string&> most_special_first[] = {
      {shop, item_class}, {shop, any}, {any, item_class}, {any, any}};
  for (const auto& [of_shop, of_class] : most_special_first) {
    for (const CostClass& costs : classes) {
      if (costs.shop == of_shop && costs.item_class == of_class) return &costs;
    }
  }
  return nullptr;
}

}  // namespace plumblane
