// Item codes: classes, what a supplier calls an item, and back.
#include "agreements/items.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace plumblane {
namespace {

using ::testing::ElementsAre;
using ::testing::IsEmpty;

Item Class(const char* item, const char* item_class) { return {item, item_class, "", ""}; }
Item Code(const char* item, const char* supplier, const char* code) {
  return {item, "", supplier, code};
}

TEST(Items, AreFoundBothWays) {
  ItemBook book;
  book.Load({Code("kettle", "lotus", "K-1"), Code("kettle", "amber", "77"),
             Code("teapot", "lotus", "77"), Class("kettle", "kitchen")});
  EXPECT_EQ(book.CodeAt("lotus", "kettle"), "K-1");
  EXPECT_EQ(book.CodeAt("amber", "kettle"), "77");
  EXPECT_EQ(book.ItemOf("lotus", "K-1"), "kettle");
  EXPECT_EQ(book.ItemOf("lotus", "77"), "teapot");
  EXPECT_EQ(book.ItemOf("amber", "77"), "kettle");
  EXPECT_EQ(book.ClassOf("kettle"), "kitchen");
}

TEST(Items, WhatIsUnknownIsNotGuessed) {
  ItemBook book;
  book.Load({Code("kettle", "lotus", "K-1")});
  EXPECT_EQ(book.CodeAt("amber", "kettle"), "");
  EXPECT_EQ(book.CodeAt("lotus", "teapot"), "");
  EXPECT_EQ(book.ItemOf("amber", "K-1"), std::nullopt);
  EXPECT_EQ(book.ItemOf("lotus", "kettle"), std::nullopt);
  EXPECT_EQ(book.ClassOf("kettle"), "");
  EXPECT_THAT(ItemBook().all(), IsEmpty());
}

TEST(Items, WhatASupplierSaysIsItsCodeUnlessAnItemOfOursIsCalledSo) {
  ItemBook book;
  book.Load({Code("kettle", "lotus", "K-1"), Code("pan", "lotus", "teapot"),
             Code("bowl", "lotus", "bowl"), Class("teapot", "kitchen")});
  struct Case {
    const char *supplier, *said;
    std::optional<std::string> ours;
    bool ambiguous;
  };
  for (const Case& c : {Case{"lotus", "K-1", "kettle", false}, Case{"lotus", "kettle", {}, false},
                        Case{"amber", "K-1", {}, false}, Case{"lotus", "unheard of", {}, false},
                        Case{"lotus", "teapot", {}, true}, Case{"amber", "teapot", {}, false},
                        Case{"lotus", "bowl", {}, false}}) {
    EXPECT_EQ(book.OursFor(c.supplier, c.said), c.ours) << c.supplier << " " << c.said;
    EXPECT_EQ(book.IsAmbiguous(c.supplier, c.said), c.ambiguous) << c.supplier << " " << c.said;
  }
  // Becomes one of ours by a load for another supplier, too.
  book.Load({Code("K-1", "amber", "9")});
  EXPECT_EQ(book.OursFor("lotus", "K-1"), std::nullopt);
  EXPECT_TRUE(book.IsAmbiguous("lotus", "K-1"));
}

TEST(Items, ARowWithoutClassLeavesItAndALaterOneReplacesIt) {
  ItemBook book;
  book.Load({{"kettle", "kitchen", "lotus", "K-1"}});
  book.Load({Code("kettle", "amber", "77")});
  EXPECT_EQ(book.ClassOf("kettle"), "kitchen");
  book.Load({Class("kettle", "gifts")});
  EXPECT_EQ(book.ClassOf("kettle"), "gifts");
  EXPECT_EQ(book.CodeAt("lotus", "kettle"), "K-1");
}

TEST(Items, ANewCodeFreesTheOldOne) {
  ItemBook book;
  book.Load({Code("kettle", "lotus", "K-1")});
  book.Load({Code("kettle", "lotus", "K-2")});
  EXPECT_EQ(book.CodeAt("lotus", "kettle"), "K-2");
  EXPECT_EQ(book.ItemOf("lotus", "K-1"), std::nullopt);
  EXPECT_EQ(book.FindConflict({Code("teapot", "lotus", "K-1")}), std::nullopt);
}

TEST(Items, TwoMaySwapTheirCodesInOneLoad) {
  ItemBook book;
  book.Load({Code("kettle", "lotus", "A"), Code("teapot", "lotus", "B")});
  const std::vector<Item> swap = {Code("kettle", "lotus", "B"), Code("teapot", "lotus", "A")};
  ASSERT_EQ(book.FindConflict(swap), std::nullopt);
  book.Load(swap);
  EXPECT_EQ(book.ItemOf("lotus", "A"), "teapot");
  EXPECT_EQ(book.ItemOf("lotus", "B"), "kettle");
  EXPECT_EQ(book.CodeAt("lotus", "kettle"), "B");
}

TEST(Items, AConflictIsTheFirstRowThatSaysOtherwise) {
  ItemBook book;
  book.Load({{"kettle", "kitchen", "lotus", "K-1"}});
  struct Case {
    std::vector<Item> rows;
    std::optional<size_t> conflict;
  };
  for (const Case& c : std::vector<Case>{
           {{}, {}},
           // What holds already, and the same twice.
           {{{"kettle", "kitchen", "lotus", "K-1"}, {"kettle", "kitchen", "lotus", "K-1"}}, {}},
           // Other classes and codes than before, once.
           {{Class("kettle", "gifts"), Code("kettle", "lotus", "K-2")}, {}},
           {{Code("teapot", "amber", "K-1")}, {}},
           // A second item for a code: before the load, in it.
           {{Class("teapot", "kitchen"), Code("teapot", "lotus", "K-1")}, 1},
           {{Code("teapot", "amber", "7"), Code("kettle", "amber", "7")}, 1},
           {{Code("kettle", "lotus", "K-2"), Code("teapot", "lotus", "K-1"),
             Code("pan", "lotus", "K-1")},
            2},
           // A second class or code for an item.
           {{Class("pan", "kitchen"), Class("teapot", "kitchen"), Class("pan", "gifts")}, 2},
           {{Code("pan", "lotus", "A"), Code("pan", "amber", "B"), Code("pan", "lotus", "B")}, 2},
           {{Code("kettle", "lotus", "K-1"), Code("kettle", "lotus", "K-2")}, 1}}) {
    EXPECT_EQ(book.FindConflict(c.rows), c.conflict);
  }
}

TEST(Items, AllAreTheRowsThatHold) {
  ItemBook book;
  book.Load({{"teapot", "kitchen", "lotus", "T-1"}, Code("kettle", "lotus", "K-1")});
  book.Load({{"kettle", "gifts", "amber", "9"}, Code("kettle", "lotus", "K-2")});
  EXPECT_THAT(book.all(), ElementsAre(Class("kettle", "gifts"), Code("kettle", "amber", "9"),
                                      Code("kettle", "lotus", "K-2"), Class("teapot", "kitchen"),
                                      Code("teapot", "lotus", "T-1")));
  ItemBook again;
  ASSERT_EQ(again.FindConflict(book.all()), std::nullopt);
  again.Load(book.all());
  EXPECT_EQ(again.all(), book.all());
}

}  // namespace
}  // namespace plumblane
