// What a shop's own orders suggest for its costs: worked out on orders small enough to do by hand.
#include "engine/cost_proposal.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "support/order_builder.h"

namespace plumblane {
namespace {

using test::OrderBuilder;
using ::testing::Contains;
using ::testing::HasSubstr;
using ::testing::SizeIs;

class Proposal : public ::testing::Test {
 protected:
  OrderBuilder Sold(int64_t sale, const std::string& currency = "EUR",
                    const std::string& item = "mug") {
    OrderBuilder order({"default", std::to_string(++count_)});
    order.Paid("2026-03-01").Promised("2026-03-10").With([&](Event& event) {
      event.sale = Money{sale, currency};
      event.item = item;
    });
    return order;
  }
  void Add(const OrderBuilder& order) {
    proposer_.Add(Fold(order.key(), order.events(), {}, ExcuseBook()));
  }
  static void Refund(OrderBuilder& order, int64_t minor_units, Reason reason) {
    order.Refunded("2026-03-20", reason, /*by_shop=*/true).With([&](Event& event) {
      event.refund = Money{minor_units, "EUR"};
    });
  }

  int count_ = 0;
  ItemBook items_;
  CostProposer proposer_{items_, test::At("2026-04-10")};
};

TEST_F(Proposal, TheSaleIsTheMiddleOne) {
  for (const int64_t sale : {1000, 9000, 2000}) Add(Sold(sale).Delivered("2026-03-05"));
  const CostProposal proposal = proposer_.Propose("harbour");
  EXPECT_EQ(proposal.settings.currency, "EUR");
  ASSERT_THAT(proposal.settings.classes, SizeIs(1));
  EXPECT_EQ(proposal.settings.classes[0].shop, "harbour");
  EXPECT_EQ(proposal.settings.classes[0].sale, 2000);
  EXPECT_EQ(proposal.settings.classes[0].late_order, 0);
  EXPECT_THAT(proposal.reasons, Contains(HasSubstr("late_order: 0 cases only; set it yourself")));
  EXPECT_FALSE(proposal.settings.trials.on);
}

TEST_F(Proposal, ALateOrderCostsWhatWasRefundedForLateOnes) {
  for (int i = 0; i < 5; ++i) {
    OrderBuilder order = Sold(2000).Delivered("2026-03-14");
    if (i < 2) Refund(order, 500, Reason::kLate);
    Add(order);
  }
  OrderBuilder in_time = Sold(2000).Delivered("2026-03-05");
  Refund(in_time, 700, Reason::kChangedMind);
  Add(in_time);
  EXPECT_EQ(proposer_.Propose("").settings.classes.at(0).late_order, 200) << "2 x 5.00 over 5";
}

TEST_F(Proposal, DefectsAreSharesOfTheSaleByKind) {
  for (int i = 0; i < 6; ++i) {
    OrderBuilder order =
        Sold(2000).Delivered("2026-03-05").Disputed("2026-03-08", Reason::kQuality);
    Refund(order, i % 2 == 0 ? 1000 : 0, Reason::kNone);
    if (i < 4) {
      order.Part(2).Paid("2026-03-09").With([](Event& event) { event.replaces = 1; });
    }
    Add(order);
  }
  const CostClass costs = proposer_.Propose("").settings.classes.at(0);
  EXPECT_EQ(costs.defects[IndexOfKind(Code::kQuality)], (DefectCost{0.25, true}));
  EXPECT_EQ(costs.defects[IndexOfKind(Code::kLost)], (DefectCost{1, false}))
      << "never seen: a full refund, to be on the safe side";
}

TEST_F(Proposal, WhatIsUnderWayIsNotLostYet) {
  for (int i = 0; i < 6; ++i) {
    OrderBuilder lost = Sold(2000);  // promised for 10 March: lost at the end of 9 April
    Refund(lost, 2000, Reason::kNone);
    Add(lost);
    Add(Sold(2000).Promised("2026-03-11"));
  }
  const CostProposal proposal = proposer_.Propose("");
  EXPECT_EQ(proposal.settings.classes.at(0).defects[IndexOfKind(Code::kLost)],
            (DefectCost{1, false}));
  EXPECT_THAT(proposal.reasons, Contains(HasSubstr("lost: of 6 cases")));
}

TEST_F(Proposal, ClassesOfItemsAreApartAndOtherCurrenciesLeftOut) {
  items_.Load({{"mug", "fragile", "", ""}});
  Add(Sold(1000));
  Add(Sold(3000, "EUR", "kite"));
  Add(Sold(5000, "USD", "kite"));
  const CostProposal proposal = proposer_.Propose("");
  ASSERT_THAT(proposal.settings.classes, SizeIs(2));
  EXPECT_EQ(proposal.settings.classes[0].item_class, "");
  EXPECT_EQ(proposal.settings.classes[0].sale, 3000);
  EXPECT_EQ(proposal.settings.classes[1].item_class, "fragile");
  EXPECT_THAT(proposal.reasons,
              Contains(HasSubstr("sales in other currencies than EUR were left out")));
}

TEST_F(Proposal, WithoutSalesNothingIsProposed) {
  Add(OrderBuilder().Paid("2026-03-01"));
  const CostProposal proposal = proposer_.Propose("");
  EXPECT_THAT(proposal.settings.classes, SizeIs(0));
  EXPECT_THAT(proposal.reasons, SizeIs(1));
}

}  // namespace
}  // namespace plumblane
