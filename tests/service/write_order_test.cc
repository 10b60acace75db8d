// The story of an order: how it counts in each measure, in words, as far as the scores know it at
// that horizon.
#include <absl/strings/str_cat.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <vector>

#include "service/read_event.h"
#include "service/service_support.h"
#include "service/write_answer.h"

namespace plumblane {
namespace {

using test::At;
using test::OrderBuilder;
using ::testing::ElementsAre;
using ::testing::IsEmpty;

v1::Order Written(const OrderBuilder& order, const std::string& horizon = "2027-01-01") {
  OrderAnswer answer;
  answer.key = order.key();
  answer.events = order.Sorted();
  answer.ignored = EventsInEffect(answer.events);
  answer.state = order.Fold();
  answer.horizon = At(horizon);
  v1::Order out;
  WriteOrder(answer, &out);
  return out;
}

OrderBuilder Promised() { return OrderBuilder().Paid("2026-03-01").Promised("2026-03-10"); }
OrderBuilder Bare() { return OrderBuilder().Paid("2026-03-01"); }

struct Story {
  const char* name;
  OrderBuilder order;
  const char* measure;
  const char* horizon;
  const char* outcome;
};

class Counts : public ::testing::TestWithParam<Story> {};

TEST_P(Counts, InWordsAsTheScoresKnowThem) {
  const Story& story = GetParam();
  std::vector<std::string> outcomes;
  const v1::Order order = Written(story.order, story.horizon);
  for (const v1::Count& count : order.parts(0).counts()) {
    if (count.measure() == story.measure) outcomes.push_back(count.outcome());
  }
  EXPECT_THAT(outcomes, ElementsAre(story.outcome));
}

const OrderBuilder kInTime = Promised().Delivered("2026-03-08");
const OrderBuilder kLate = Promised().Delivered("2026-03-13");
const OrderBuilder kDamaged =
    Promised().Delivered("2026-03-08").Disputed("2026-03-12", Reason::kDamaged);
const OrderBuilder kShipped = Bare().Shipped("2026-03-01T05:00");

INSTANTIATE_TEST_SUITE_P(
    WriteOrder, Counts,
    ::testing::Values(
        Story{"InTime", kInTime, "on_time", "2026-03-11", "delivered by the promise"},
        Story{"InTimeBeforeTheDayIsOver", kInTime, "on_time", "2026-03-10T23:59",
              "delivered by the promise; not counted yet"},
        // It counts as late from the end of the promised day on.
        Story{"Late", kLate, "on_time", "2026-03-11", "delivered 3 days late"},
        Story{"LateTheSameDay",
              OrderBuilder()
                  .Paid("2026-03-01")
                  .Promised("2026-03-10T12:00")
                  .Delivered("2026-03-10T15:00"),
              "on_time", "2026-03-11", "delivered late, on the promised day"},
        Story{"NotDelivered", Promised(), "on_time", "2026-03-11", "late"},
        Story{"NotYetDue", Promised(), "on_time", "2026-03-10T23:59",
              "counts when that day is over and news is in"},
        Story{"Damaged", kDamaged, "defect", "2026-03-13", "damaged 2 days after that day"},
        Story{"DamagedNotYetKnown", kDamaged, "defect", "2026-03-12T23:59", "none known"},
        Story{"LossIsWrittenAheadButNotToldAhead", Promised(), "defect", "2026-04-09",
              "none known"},
        Story{"Lost", Promised(), "defect", "2026-04-10", "lost 30 days after that day"},
        Story{"NoDefect", kInTime, "defect", "2026-03-11", "none known"},
        Story{"Handled", kShipped, "handling", "2026-03-03", "shipped after about 5.0 hours"},
        Story{"HandledNotYetCounted", kShipped, "handling", "2026-03-02",
              "shipped after about 5.0 hours; not counted yet"},
        Story{"NotHandled", Bare(), "handling", "2026-03-03", "not yet"},
        Story{"Left", Bare().Cancelled("2026-03-04"), "delivery", "2026-05-01",
              "left without outcome after about 3.0 days"},
        Story{"Fault", Bare().Shipped("2026-02-27"), "handling", "2026-03-02",
              "not counted: its dates contradict each other"},
        Story{"Money", Bare(), "money", "2026-03-01", "counted"}),
    [](const auto& info) { return info.param.name; });

TEST(WriteOrder, EachEventIsToldWithItsPartAndWhyItHasNoEffect) {
  OrderBuilder order = Promised().Delivered("2026-03-08");
  order.Retracted("2026-03-09", order.last_id());
  order.Part(2).Paid("2026-03-12").With([](Event& e) { e.replaces = 1; });
  const v1::Order out = Written(order);
  ASSERT_EQ(out.parts_size(), 2);
  std::vector<std::string> told;
  for (const v1::OrderEvent& event : out.parts(0).events()) {
    told.push_back(absl::StrCat(v1::EventType_Name(event.event().type()), " ", event.ignored()));
  }
  EXPECT_THAT(told, ElementsAre("EVENT_TYPE_PAID ", "EVENT_TYPE_DELIVERED retracted",
                                "EVENT_TYPE_RETRACTED "));
  EXPECT_EQ(out.parts(1).replaces(), 1);
  EXPECT_EQ(out.parts(1).events_size(), 1);
}

TEST(WriteOrder, WhatIsMissingBeforeItCanCountIsNamed) {
  EXPECT_THAT(Written(OrderBuilder().Shipped("2026-03-02")).parts(0).missing(),
              ElementsAre("supplier", "origin", "destination", "paid", "promise"));
  EXPECT_THAT(Written(Promised()).parts(0).missing(), IsEmpty());
}

TEST(WriteOrder, AnEventIsRepeatedAsItWasSent) {
  v1::Event sent = test::SentPaid();
  sent.set_source("export");
  sent.set_shop("harbour");
  sent.set_part(2);
  sent.set_service("express");
  sent.set_promise_days(7);
  sent.set_item("lamp");
  sent.set_unit_count(3);
  sent.mutable_cost()->set_minor_units(1375);
  sent.mutable_cost()->set_currency_code("EUR");
  sent.set_replaces(1);
  sent.set_tracking("TRK1");
  const OrderEvent taken = test::MustRead(sent, At("2026-03-10"));
  OrderAnswer answer;
  answer.key = taken.order;
  answer.events = {taken.event};
  answer.ignored = {Ignored::kNo};
  answer.state = Fold(taken.order, answer.events, {}, {});
  v1::Order out;
  WriteOrder(answer, &out);
  EXPECT_EQ(out.parts(0).events(0).event().ShortDebugString(), sent.ShortDebugString());
}

}  // namespace
}  // namespace plumblane
