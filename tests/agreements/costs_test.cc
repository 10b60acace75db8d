// Cost settings: which class of costs an order falls into.
#include "agreements/costs.h"

#include <gtest/gtest.h>

namespace plumblane {
namespace {

CostClass Class(const char* shop, const char* item_class, int64_t late_order) {
  CostClass costs;
  costs.shop = shop;
  costs.item_class = item_class;
  costs.late_order = late_order;
  return costs;
}

int64_t Found(const CostSettings& settings, const char* shop, const char* item_class) {
  const CostClass* found = settings.Find(shop, item_class);
  return found == nullptr ? 0 : found->late_order;
}

TEST(Costs, TheShopComesBeforeTheClass) {
  CostSettings settings;
  EXPECT_EQ(settings.Find("north", "kitchen"), nullptr);
  // From the last one looked for to the first, each put behind the others.
  settings.classes.push_back(Class("", "", 400));
  EXPECT_EQ(Found(settings, "north", "kitchen"), 400);
  settings.classes.push_back(Class("", "kitchen", 300));
  EXPECT_EQ(Found(settings, "north", "kitchen"), 300);
  settings.classes.push_back(Class("north", "", 200));
  EXPECT_EQ(Found(settings, "north", "kitchen"), 200);
  settings.classes.push_back(Class("north", "kitchen", 100));
  EXPECT_EQ(Found(settings, "north", "kitchen"), 100);
  EXPECT_EQ(Found(settings, "north", "gifts"), 200);
  EXPECT_EQ(Found(settings, "north", ""), 200);
  EXPECT_EQ(Found(settings, "south", "kitchen"), 300);
  EXPECT_EQ(Found(settings, "", "kitchen"), 300);
  EXPECT_EQ(Found(settings, "south", "gifts"), 400);
  EXPECT_EQ(Found(settings, "", ""), 400);
}

TEST(Costs, AnotherShopsOrClassesCostsAreNotTaken) {
  CostSettings settings;
  settings.classes = {Class("north", "", 200), Class("", "kitchen", 300)};
  EXPECT_EQ(settings.Find("south", "gifts"), nullptr);
  EXPECT_EQ(settings.Find("", ""), nullptr);
}

TEST(Costs, EachKindOfDefectHasItsPlace) {
  for (size_t i = 0; i < kDefectKinds.size(); ++i) {
    EXPECT_TRUE(IsDefect(kDefectKinds[i]));
    EXPECT_EQ(IndexOfKind(kDefectKinds[i]), i);
  }
}

}  // namespace
}  // namespace plumblane
