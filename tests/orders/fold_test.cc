// The fold, rule by rule: each test is one sentence of orders/fold.h; what money adds is in
// money_test.cc. An entry is written as "measure day outcome", e.g. "on_time 2026-03-10
// delivered@0".
#include "orders/fold.h"

#include <absl/strings/str_join.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "cohorts/buckets.h"
#include "orders/entry_words.h"
#include "support/order_builder.h"

namespace plumblane {
namespace {

using test::At;
using test::In;
using test::On;
using test::OrderBuilder;
using test::Word;
using ::testing::Contains;
using ::testing::ElementsAre;
using ::testing::IsEmpty;
using ::testing::Not;
using ::testing::StartsWith;

std::string OnTime(const OrderBuilder& order, const FoldRules& rules = {}) {
  return absl::StrJoin(In(Measure::kOnTime, order.Fold(rules)), ", ");
}
std::string Defect(const OrderBuilder& order) {
  return absl::StrJoin(In(Measure::kDefect, order.Fold()), ", ");
}

std::string Took(Code code, int64_t millis) {
  return Word(code) + "@" + std::to_string(BucketOf(millis));
}
constexpr int64_t kHour = 3'600'000;

TEST(Fold, DeliveredAtThePromiseIsOnTimeAndAMillisecondLaterIsLate) {
  EXPECT_EQ(OnTime(OrderBuilder()
                       .Paid("2026-03-01")
                       .Promised("2026-03-10T12:00")
                       .Delivered("2026-03-10T12:00")),
            "on_time 2026-03-10 delivered@0");
  EXPECT_EQ(OnTime(OrderBuilder()
                       .Paid("2026-03-01")
                       .Promised("2026-03-10T12:00")
                       .Delivered("2026-03-10T12:00:01")),
            "on_time 2026-03-10 late@0");
  EXPECT_EQ(
      OnTime(
          OrderBuilder().Paid("2026-03-01").Promised("2026-03-10").Delivered("2026-03-13T00:00")),
      "on_time 2026-03-10 late@3");
}

TEST(Fold, NotDeliveredLeavesTheOnTimeEntryOpen) {
  EXPECT_EQ(OnTime(OrderBuilder().Paid("2026-03-01").Promised("2026-03-10")), "on_time 2026-03-10");
}

TEST(Fold, ToleranceMovesDeadlineAndPromisedDay) {
  FoldRules rules;
  rules.tolerance_millis = kMillisPerDay;
  EXPECT_EQ(
      OnTime(OrderBuilder().Paid("2026-03-01").Promised("2026-03-10").Delivered("2026-03-11T20:00"),
             rules),
      "on_time 2026-03-11 delivered@0");
}

TEST(Fold, TheFirstDeliveredCountsWhenThereAreSeveralParcels) {
  EXPECT_EQ(OnTime(OrderBuilder()
                       .Paid("2026-03-01")
                       .Promised("2026-03-10")
                       .Delivered("2026-03-12")
                       .Delivered("2026-03-09")),
            "on_time 2026-03-10 delivered@0");
}

TEST(Fold, TheFirstPromiseCountsAndLaterOnesDoNotMoveIt) {
  EXPECT_EQ(OnTime(OrderBuilder()
                       .Paid("2026-03-01")
                       .Promised("2026-03-10")
                       .Shipped("2026-03-02")
                       .Promised("2026-03-20")),
            "on_time 2026-03-10");
}

TEST(Fold, AnExplicitPromiseComesBeforeAnImpliedOne) {
  OrderBuilder order;
  order.Paid("2026-03-01").Promised("2026-03-10").With([](Event& e) { e.promise_implied = true; });
  EXPECT_EQ(OnTime(order), "on_time 2026-03-10");
  order.Shipped("2026-03-02").Promised("2026-03-12");
  EXPECT_EQ(OnTime(order), "on_time 2026-03-12");
}

TEST(Fold, APromiseGivenAfterItsOwnMomentIsShownNotCountedAndNotReplaced) {
  OrderBuilder order;
  order.Paid("2026-03-11").Promised("2026-03-10").Shipped("2026-03-12").Promised("2026-03-20");
  const OrderState state = order.Fold();
  EXPECT_THAT(In(Measure::kOnTime, state), IsEmpty());
  EXPECT_THAT(In(Measure::kDefect, state), IsEmpty());
  ASSERT_TRUE(state.parts[0].promise);
  EXPECT_FALSE(state.parts[0].promise->counted);
  EXPECT_THAT(state.parts[0].faults, ElementsAre(Fault::kPromiseAfterTheFact));
}

TEST(Fold, WithoutPromiseThereIsNeitherOnTimeNorDefectButTheRest) {
  const OrderState state = OrderBuilder().Paid("2026-03-01").Shipped("2026-03-02").Fold();
  EXPECT_THAT(In(Measure::kOnTime, state), IsEmpty());
  EXPECT_THAT(In(Measure::kDefect, state), IsEmpty());
  EXPECT_THAT(In(Measure::kHandling, state),
              ElementsAre("handling 2026-03-01 " + Took(Code::kShipped, kMillisPerDay)));
}

struct Cancellation {
  const char* name;
  Reason reason;
  const char* cancelled;
  const char* shipped;  // "" = not
  const char* on_time;
  const char* defect;
};

class EarlyCancellation : public ::testing::TestWithParam<Cancellation> {};

TEST_P(EarlyCancellation, WithdrawsOrCountsAsLate) {
  const Cancellation& c = GetParam();
  OrderBuilder order;
  order.Paid("2026-03-01").Promised("2026-03-10").Cancelled(c.cancelled, c.reason);
  if (*c.shipped) order.Shipped(c.shipped);
  EXPECT_EQ(OnTime(order), c.on_time);
  EXPECT_EQ(Defect(order), c.defect);
}

INSTANTIATE_TEST_SUITE_P(
    Fold, EarlyCancellation,
    ::testing::Values(Cancellation{"ChangedMind", Reason::kChangedMind, "2026-03-02", "", "",
                                   "defect 2026-03-10 left@0"},
                      Cancellation{"NoReason", Reason::kNone, "2026-03-02", "", "",
                                   "defect 2026-03-10 left@0"},
                      Cancellation{"OutOfStock", Reason::kOutOfStock, "2026-03-02", "",
                                   "on_time 2026-03-10", "defect 2026-03-10 left@0"},
                      Cancellation{"Late", Reason::kLate, "2026-03-02", "", "on_time 2026-03-10",
                                   "defect 2026-03-10 left@0"},
                      Cancellation{"NotReceived", Reason::kNotReceived, "2026-03-02", "",
                                   "on_time 2026-03-10", "defect 2026-03-10 left@0"},
                      Cancellation{"AfterThePromise", Reason::kChangedMind, "2026-03-13", "",
                                   "on_time 2026-03-10", "defect 2026-03-10 left@3"},
                      Cancellation{"AfterShipping", Reason::kChangedMind, "2026-03-05",
                                   "2026-03-04", "on_time 2026-03-10", "defect 2026-03-10 lost@30"},
                      Cancellation{"AtTheMomentOfShipping", Reason::kChangedMind, "2026-03-05",
                                   "2026-03-05", "", "defect 2026-03-10 left@0"}),
    [](const auto& info) { return info.param.name; });

TEST(Fold, WithdrawnStaysWithdrawnWhenDeliveredAfterAll) {
  EXPECT_EQ(OnTime(OrderBuilder()
                       .Paid("2026-03-01")
                       .Promised("2026-03-10")
                       .Cancelled("2026-03-02")
                       .Delivered("2026-03-08")),
            "");
}

TEST(Fold, ARefundAloneWithdrawsNothing) {
  EXPECT_EQ(OnTime(OrderBuilder().Paid("2026-03-01").Promised("2026-03-10").Refunded("2026-03-02")),
            "on_time 2026-03-10");
}

struct DefectCase {
  const char* name;
  OrderBuilder order;
  const char* expected;
};

OrderBuilder Started() { return OrderBuilder().Paid("2026-03-01").Promised("2026-03-10"); }

class DefectOutcome : public ::testing::TestWithParam<DefectCase> {};

TEST_P(DefectOutcome, IsTheEarliestByWholeDays) {
  EXPECT_EQ(Defect(GetParam().order), GetParam().expected);
}

INSTANTIATE_TEST_SUITE_P(
    Fold, DefectOutcome,
    ::testing::Values(
        DefectCase{"LossIsWrittenAhead", Started(), "defect 2026-03-10 lost@30"},
        DefectCase{"DeliveredOnDay30TakesLossOut", Started().Delivered("2026-04-09T23:59"),
                   "defect 2026-03-10"},
        DefectCase{"DeliveredOnDay31StaysLost", Started().Delivered("2026-04-10"),
                   "defect 2026-03-10 lost@30"},
        DefectCase{"ClaimBeforeThePromiseIsDayZero",
                   Started().Delivered("2026-03-05").Disputed("2026-03-06", Reason::kDamaged),
                   "defect 2026-03-10 damaged@0"},
        DefectCase{"TheFirstClaimCounts",
                   Started()
                       .Delivered("2026-03-05")
                       .Disputed("2026-03-15", Reason::kQuality)
                       .Refunded("2026-03-12", Reason::kDamaged),
                   "defect 2026-03-10 damaged@2"},
        DefectCase{"ARefundByTheShopCountsToo",
                   Started().Delivered("2026-03-05").Refunded("2026-03-12", Reason::kQuality, true),
                   "defect 2026-03-10 quality@2"},
        DefectCase{"OtherReasonsAreNone",
                   Started()
                       .Delivered("2026-03-05")
                       .Disputed("2026-03-12", Reason::kChangedMind)
                       .Disputed("2026-03-13", Reason::kLate)
                       .Disputed("2026-03-14"),
                   "defect 2026-03-10"},
        DefectCase{"AtEqualDelayAClaimGoesBeforeLost",
                   Started().Disputed("2026-04-09", Reason::kDamaged),
                   "defect 2026-03-10 damaged@30"},
        DefectCase{"AClaimAfterTheLossDoesNotMoveIt",
                   Started().Disputed("2026-04-20", Reason::kDamaged), "defect 2026-03-10 lost@30"},
        DefectCase{"AtEqualDelayAClaimGoesBeforeLeft",
                   Started().Cancelled("2026-03-02").Disputed("2026-03-08", Reason::kDamaged),
                   "defect 2026-03-10 damaged@0"},
        DefectCase{"LeftBeforeLossTakesItOut", Started().Cancelled("2026-03-20"),
                   "defect 2026-03-10 left@10"},
        DefectCase{"AtEqualDelayLostGoesBeforeLeft", Started().Cancelled("2026-04-09"),
                   "defect 2026-03-10 lost@30"}),
    [](const auto& info) { return info.param.name; });

struct DurationCase {
  const char* name;
  OrderBuilder order;
  Measure measure;
  std::string expected;  // after the day
};

class Durations : public ::testing::TestWithParam<DurationCase> {};

TEST_P(Durations, FirstOfOutcomeAndLeft) {
  const DurationCase& c = GetParam();
  EXPECT_EQ(absl::StrJoin(In(c.measure, c.order.Fold()), ", "), c.expected);
}

OrderBuilder Bare() { return OrderBuilder().Paid("2026-03-01"); }

INSTANTIATE_TEST_SUITE_P(
    Fold, Durations,
    ::testing::Values(
        DurationCase{"HandlingOpen", Bare(), Measure::kHandling, "handling 2026-03-01"},
        DurationCase{"HandlingShipped", Bare().Shipped("2026-03-01T05:00"), Measure::kHandling,
                     "handling 2026-03-01 " + Took(Code::kShipped, 5 * kHour)},
        DurationCase{"HandlingLeftByCancellation", Bare().Cancelled("2026-03-01T07:00"),
                     Measure::kHandling, "handling 2026-03-01 " + Took(Code::kLeft, 7 * kHour)},
        DurationCase{"HandlingOutOfStockStaysAtRisk",
                     Bare().Cancelled("2026-03-01T07:00", Reason::kOutOfStock), Measure::kHandling,
                     "handling 2026-03-01"},
        DurationCase{"HandlingDeliveredUnshippedIsLeft", Bare().Delivered("2026-03-03"),
                     Measure::kHandling,
                     "handling 2026-03-01 " + Took(Code::kLeft, 2 * kMillisPerDay)},
        DurationCase{"HandlingAtEqualTimeTheOutcome",
                     Bare().Shipped("2026-03-02").Cancelled("2026-03-02"), Measure::kHandling,
                     "handling 2026-03-01 " + Took(Code::kShipped, kMillisPerDay)},
        DurationCase{"HandlingShippedAfterCancellationIsLeft",
                     Bare().Cancelled("2026-03-02").Shipped("2026-03-03"), Measure::kHandling,
                     "handling 2026-03-01 " + Took(Code::kLeft, kMillisPerDay)},
        DurationCase{"HandlingBelowZeroIsAFault", Bare().Shipped("2026-02-27"), Measure::kHandling,
                     "handling 2026-03-01 fault@0"},
        DurationCase{"HandlingLeftBelowZeroIsAFault", Bare().Cancelled("2026-02-27"),
                     Measure::kHandling, "handling 2026-03-01 fault@0"},
        DurationCase{"TransitOpenAfterALoss",
                     Bare().Shipped("2026-03-02").Disputed("2026-03-20", Reason::kLost),
                     Measure::kTransit, "transit 2026-03-02"},
        DurationCase{"TransitIgnoresCancellation",
                     Bare().Shipped("2026-03-02").Cancelled("2026-03-04"), Measure::kTransit,
                     "transit 2026-03-02"},
        DurationCase{"TransitDelivered", Bare().Shipped("2026-03-02").Delivered("2026-03-05"),
                     Measure::kTransit,
                     "transit 2026-03-02 " + Took(Code::kDelivered, 3 * kMillisPerDay)},
        DurationCase{"DeliveryLeftByEarlyCancellation", Bare().Cancelled("2026-03-03"),
                     Measure::kDelivery,
                     "delivery 2026-03-01 " + Took(Code::kLeft, 2 * kMillisPerDay)},
        DurationCase{"DeliveryLeftByOutOfStock",
                     Bare().Cancelled("2026-03-03", Reason::kOutOfStock), Measure::kDelivery,
                     "delivery 2026-03-01 " + Took(Code::kLeft, 2 * kMillisPerDay)},
        DurationCase{"ResponseToTheFirstAnswerAtOrAfterTheDispute",
                     Bare()
                         .Answered("2026-03-04")
                         .Disputed("2026-03-05")
                         .Answered("2026-03-07")
                         .Answered("2026-03-06"),
                     Measure::kResponse,
                     "response 2026-03-05 " + Took(Code::kAnswered, kMillisPerDay)},
        DurationCase{"ResponseBySuppliersRefund",
                     Bare().Disputed("2026-03-05").Refunded("2026-03-08"), Measure::kResponse,
                     "response 2026-03-05 " + Took(Code::kAnswered, 3 * kMillisPerDay)},
        DurationCase{"ResponseNotByTheShopsRefund",
                     Bare().Disputed("2026-03-05").Refunded("2026-03-08", Reason::kNone, true),
                     Measure::kResponse, "response 2026-03-05"}),
    [](const auto& info) { return info.param.name; });

TEST(Fold, CountsOnlyOnceSupplierAndBothEndsAreKnown) {
  OrderBuilder order;
  order.Shipped("2026-03-02").Delivered("2026-03-04");
  EXPECT_FALSE(order.Fold().parts[0].counts());
  EXPECT_THAT(order.Fold().parts[0].entries, IsEmpty());
  order.Paid("2026-03-01");
  EXPECT_TRUE(order.Fold().parts[0].counts());
}

TEST(Fold, WithoutPaidThereIsTransitButNoHandlingDeliveryOrMoney) {
  OrderBuilder order;
  order.Shipped("2026-03-02").With([](Event& e) {
    e.supplier = "S";
    e.origin = "VN";
    e.destination = "DE";
  });
  const OrderState state = order.Fold();
  EXPECT_THAT(In(Measure::kTransit, state), ElementsAre("transit 2026-03-02"));
  for (const Measure measure :
       {Measure::kHandling, Measure::kDelivery, Measure::kMoney, Measure::kUnderway}) {
    EXPECT_THAT(In(measure, state), IsEmpty()) << Word(measure);
  }
}

TEST(Fold, FactsComeFromTheEarliestEventThatStatesThem) {
  OrderBuilder order;
  order.Shipped("2026-03-02").With([](Event& e) { e.supplier = "late word"; });
  order.Paid("2026-03-01");
  const PartState part = order.Fold().parts[0];
  EXPECT_EQ(part.supplier, "S");
  EXPECT_THAT(part.faults, ElementsAre(Fault::kOtherSupplier));
}

TEST(Fold, ExcusedOrdersAreCountedApartInFourMeasures) {
  OrderBuilder order = Started().Shipped("2026-03-02").Disputed("2026-03-12", Reason::kRefused);
  const OrderState state = order.Fold();
  EXPECT_EQ(state.parts[0].excuse, "refused");
  for (const Entry& entry : state.parts[0].entries) {
    const Measure measure = entry.measure;
    EXPECT_EQ(entry.excused, measure == Measure::kOnTime || measure == Measure::kDefect ||
                                 measure == Measure::kTransit || measure == Measure::kDelivery)
        << Word(measure);
  }
}

TEST(Fold, AnExcuseOfLaneDaysCoversThePromisedDays) {
  const auto excused = [](const char* lane, const char* first, const char* last) {
    ExcuseBook book;
    book.Put({"x", ExcusedDays{*ParseLaneQuery(lane), On(first), On(last)}, "strike"});
    return Started().Fold({}, book).parts[0].excuse;
  };
  EXPECT_EQ(excused("VN-DE", "2026-03-10", "2026-03-10"), "strike");
  EXPECT_EQ(excused("VN-DE/-", "2026-03-01", "2026-03-31"), "strike");
  EXPECT_EQ(excused("VN-DE/express", "2026-03-01", "2026-03-31"), "");
  EXPECT_EQ(excused("VN-DE", "2026-03-11", "2026-03-31"), "");
  EXPECT_EQ(excused("VN-DE", "2026-03-01", "2026-03-09"), "");
  EXPECT_EQ(excused("VN-SE", "2026-03-01", "2026-03-31"), "");
}

TEST(Fold, AWithdrawnExcuseIsAsNeverGiven) {
  ExcuseBook book;
  Excuse excuse{"x", ExcusedOrder{{"default", "1"}, 1}, "our mistake"};
  book.Put(excuse);
  EXPECT_EQ(Started().Fold({}, book).parts[0].excuse, "our mistake");
  excuse.withdrawn = true;
  book.Put(excuse);
  EXPECT_EQ(Started().Fold({}, book).parts[0].excuse, "");
}

TEST(Fold, ARetractedEventIsAsNeverSent) {
  OrderBuilder with = Started().Delivered("2026-03-05");
  with.Retracted("2026-03-06", with.last_id());
  EXPECT_EQ(OnTime(with), OnTime(Started()));
  EXPECT_EQ(EventsInEffect(with.Sorted())[1], Ignored::kRetracted);
}

TEST(Fold, ARetractionHasNoEffectOfItsOwnTimeOrAcrossSources) {
  OrderBuilder early = Started().Delivered("2026-03-05");
  early.Retracted("2020-01-01", early.last_id());
  EXPECT_EQ(OnTime(early), OnTime(Started()));
  OrderBuilder other = Started().Delivered("2026-03-05");
  const std::string id = other.last_id();
  other.From("another").Retracted("2026-03-06", id);
  EXPECT_EQ(OnTime(other), "on_time 2026-03-10 delivered@0");
}

TEST(Fold, ARetractionCannotBeRetracted) {
  OrderBuilder order = Started().Delivered("2026-03-05");
  order.Retracted("2026-03-06", order.last_id());
  order.Retracted("2026-03-07", order.last_id());
  const OrderState state = order.Fold();
  EXPECT_EQ(OnTime(order), OnTime(Started()));
  EXPECT_THAT(state.parts[0].faults, ElementsAre(Fault::kRetractsRetraction));
}

TEST(Fold, OfASourcesRevisionsOnlyTheLatestCounts) {
  OrderBuilder order =
      Started().Delivered("2026-03-05").With([](Event& e) { e.revision = At("2026-04-01"); });
  order.Delivered("2026-03-15").With([](Event& e) { e.revision = At("2026-05-01"); });
  EXPECT_EQ(OnTime(order), "on_time 2026-03-10 late@5");
  // Another source's revisions do not matter.
  order.From("other").Delivered("2026-03-04").With([](Event& e) { e.revision = At("2026-01-01"); });
  EXPECT_EQ(OnTime(order), "on_time 2026-03-10 delivered@0");
}

TEST(Fold, UnderwayEndsWithTheFirstOfDeliveryCancellationSuppliersRefundAndLoss) {
  const auto ends = [](const OrderBuilder& order) {
    return In(Measure::kUnderway, order.Fold()).at(0);
  };
  EXPECT_EQ(ends(Bare()), "underway 2026-03-01");
  EXPECT_EQ(ends(Bare().Delivered("2026-03-09").Refunded("2026-03-07")),
            "underway 2026-03-01 closed@6");
  EXPECT_EQ(ends(Bare().Refunded("2026-03-07", Reason::kNone, true)), "underway 2026-03-01");
  EXPECT_EQ(ends(Started()),
            "underway 2026-03-01 lost@" + std::to_string(PackLostThenClosed(39, kNeverClosed)));
  EXPECT_EQ(ends(Started().Delivered("2026-04-20")),
            "underway 2026-03-01 lost@" + std::to_string(PackLostThenClosed(39, 50)));
  EXPECT_EQ(In(Measure::kOverdue, Started().Delivered("2026-03-12").Fold()).at(0),
            "overdue 2026-03-10 closed@2");
}

TEST(Fold, ContradictionsAreNamed) {
  const OrderState state = OrderBuilder()
                               .Paid("2026-03-05")
                               .Shipped("2026-03-04")
                               .Delivered("2026-03-03")
                               .Answered("2026-03-06")
                               .Fold();
  EXPECT_THAT(state.parts[0].faults,
              ElementsAre(Fault::kShippedBeforePaid, Fault::kDeliveredBeforePaid,
                          Fault::kDeliveredBeforeShipped, Fault::kAnsweredUndisputed));
}

}  // namespace
}  // namespace plumblane
