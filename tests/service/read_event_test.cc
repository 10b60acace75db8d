// Reading events: each thing that can be wrong in one, with code, field and words; what is taken;
// and
// that the hash is of what was sent.
#include "service/read_event.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <functional>
#include <limits>
#include <map>
#include <optional>
#include <vector>

#include "service/service_support.h"

namespace plumblane {
namespace {

using test::At;
using test::MustRead;
using test::Sent;
using test::SentPaid;
using test::Stamp;
using test::SystemZones;
using ::testing::HasSubstr;

const Instant kReceived = At("2026-03-10T12:00");
using Change = std::function<void(v1::Event&)>;

std::optional<Rejection> Rejected(const v1::Event& event) {
  OrderEvent read;
  return ReadEvent(event, SystemZones(), kReceived, read);
}

OrderEvent Taken(const v1::Event& event) { return MustRead(event, kReceived); }

struct Wrong {
  const char* name;
  v1::EventType type;
  Change change;
  const char* code;
  const char* field;
  const char* message;
};

class RejectedEvent : public ::testing::TestWithParam<Wrong> {};

TEST_P(RejectedEvent, SaysCodeFieldAndWhatWasExpected) {
  const Wrong& wrong = GetParam();
  v1::Event event = Sent(wrong.type);
  if (wrong.type == v1::EVENT_TYPE_RETRACTED) event.set_retracts("e0");
  EXPECT_FALSE(Rejected(event)) << "wrong before the change";
  wrong.change(event);
  const auto rejection = Rejected(event);
  ASSERT_TRUE(rejection);
  EXPECT_EQ(rejection->code, wrong.code);
  EXPECT_EQ(rejection->field, wrong.field);
  EXPECT_THAT(rejection->message, HasSubstr(wrong.message));
}

constexpr auto kPaid = v1::EVENT_TYPE_PAID;
constexpr auto kDisputed = v1::EVENT_TYPE_DISPUTED;
constexpr auto kRefunded = v1::EVENT_TYPE_REFUNDED;
constexpr auto kRetracted = v1::EVENT_TYPE_RETRACTED;
constexpr char kBad[] = "BAD_VALUE", kMissing[] = "MISSING_FIELD";
constexpr char kYears[] = "in the years 1970 to 9999";

std::string NameOf(const ::testing::TestParamInfo<Wrong>& info) { return info.param.name; }

void SetMoney(int64_t units, const char* currency, v1::Money* out) {
  out->set_minor_units(units);
  out->set_currency_code(currency);
}

INSTANTIATE_TEST_SUITE_P(
    Identity, RejectedEvent,
    ::testing::Values(
        Wrong{"EventIdMissing", kPaid, [](v1::Event& e) { e.clear_event_id(); }, kMissing,
              "event_id", "1 to 128 printable"},
        Wrong{"EventIdLong", kPaid, [](v1::Event& e) { e.set_event_id(std::string(129, 'x')); },
              kBad, "event_id", "1 to 128 printable"},
        Wrong{"EventIdControl", kPaid, [](v1::Event& e) { e.set_event_id("a\nb"); }, kBad,
              "event_id", "printable"},
        Wrong{"Source", kPaid, [](v1::Event& e) { e.set_source("a/b"); }, kBad, "source", "no '/'"},
        Wrong{"Shop", kPaid, [](v1::Event& e) { e.set_shop(" a"); }, kBad, "shop", "no blank"},
        Wrong{"OrderMissing", kPaid, [](v1::Event& e) { e.clear_order_id(); }, kMissing, "order_id",
              "expected the order"},
        Wrong{"OrderLong", kPaid, [](v1::Event& e) { e.set_order_id(std::string(65, 'x')); }, kBad,
              "order_id", "1 to 64"},
        Wrong{"PartNegative", kPaid, [](v1::Event& e) { e.set_part(-1); }, kBad, "part",
              "1 to 999"},
        Wrong{"PartLarge", kPaid, [](v1::Event& e) { e.set_part(1000); }, kBad, "part", "1 to 999"},
        Wrong{"TypeMissing", kPaid, [](v1::Event& e) { e.clear_type(); }, kMissing, "type",
              "expected what happened"},
        Wrong{"TypeUnknown", kPaid, [](v1::Event& e) { e.set_type(static_cast<v1::EventType>(9)); },
              kBad, "type", "one of the eight"},
        Wrong{"TypeNegative", kPaid,
              [](v1::Event& e) { e.set_type(static_cast<v1::EventType>(-1)); }, kBad, "type",
              "one of the eight"}),
    NameOf);

INSTANTIATE_TEST_SUITE_P(
    Times, RejectedEvent,
    ::testing::Values(
        Wrong{"Missing", kPaid, [](v1::Event& e) { e.clear_event_time(); }, kMissing, "event_time",
              "expected when it happened"},
        Wrong{"Before1970", kPaid, [](v1::Event& e) { e.mutable_event_time()->set_seconds(-1); },
              kBad, "event_time", kYears},
        Wrong{"After9999", kPaid,
              [](v1::Event& e) { e.mutable_event_time()->set_seconds(253'402'300'800); }, kBad,
              "event_time", kYears},
        Wrong{"FarBeyondCounting", kPaid,
              [](v1::Event& e) {
                e.mutable_event_time()->set_seconds(std::numeric_limits<int64_t>::max());
              },
              kBad, "event_time", kYears},
        Wrong{"NanosNegative", kPaid, [](v1::Event& e) { e.mutable_event_time()->set_nanos(-1); },
              kBad, "event_time", kYears},
        Wrong{"NanosLarge", kPaid,
              [](v1::Event& e) { e.mutable_event_time()->set_nanos(1'000'000'000); }, kBad,
              "event_time", kYears},
        Wrong{"MoreThanADayAhead", kPaid,
              [](v1::Event& e) {
                Stamp("2026-03-11T12:00", e.mutable_event_time());
                e.mutable_event_time()->set_nanos(1'000'000);
              },
              "TIME_AHEAD", "event_time",
              "2026-03-11T12:00:00.001Z lies more than a day ahead of now, 2026-03-10T12:00:00Z"},
        Wrong{"Revision", kPaid, [](v1::Event& e) { e.mutable_revision_time()->set_seconds(-1); },
              kBad, "revision_time", kYears},
        Wrong{"RevisionAhead", kPaid,
              [](v1::Event& e) { Stamp("2026-03-11T12:00:01", e.mutable_revision_time()); },
              "TIME_AHEAD", "revision_time",
              "2026-03-11T12:00:01Z lies more than a day ahead of now, 2026-03-10T12:00:00Z"},
        Wrong{"Promise", kPaid, [](v1::Event& e) { e.mutable_promise_time()->set_seconds(-1); },
              kBad, "promise_time", kYears},
        Wrong{"EventDate", kPaid, [](v1::Event& e) { e.set_event_date("5 March"); }, kBad,
              "event_date", "expected a date"},
        Wrong{"PromiseDate", kPaid,
              [](v1::Event& e) {
                Stamp("2026-03-12", e.mutable_promise_time());
                e.set_promise_date("2026-02-30");
              },
              kBad, "promise_date", "expected a date"},
        Wrong{"PromiseDateAlone", kPaid, [](v1::Event& e) { e.set_promise_date("2026-03-12"); },
              kMissing, "promise_time", "the moment that promise_date stands for"},
        Wrong{"PromiseTwice", kPaid,
              [](v1::Event& e) {
                Stamp("2026-03-12", e.mutable_promise_time());
                e.set_promise_days(7);
              },
              "FIELD_CONFLICT", "promise_days", "promise_time or promise_days, not both"},
        Wrong{"PromiseFarAhead", kPaid,
              [](v1::Event& e) {
                Stamp("2028-03-06T14:00", e.mutable_promise_time());  // 732 days
                e.mutable_promise_time()->set_nanos(1'000'000);
              },
              kBad, "promise_time", "at most two years after the event"},
        Wrong{"PromiseDaysNegative", kPaid, [](v1::Event& e) { e.set_promise_days(-1); }, kBad,
              "promise_days", "0 to 365 days"},
        Wrong{"PromiseDaysMany", kPaid, [](v1::Event& e) { e.set_promise_days(366); }, kBad,
              "promise_days", "0 to 365 days"}),
    NameOf);

INSTANTIATE_TEST_SUITE_P(
    Facts, RejectedEvent,
    ::testing::Values(
        Wrong{"Supplier", kPaid, [](v1::Event& e) { e.set_supplier("a/b"); }, kBad, "supplier",
              "no '/'"},
        Wrong{"SupplierLong", kPaid, [](v1::Event& e) { e.set_supplier(std::string(65, 'x')); },
              kBad, "supplier", "1 to 64"},
        Wrong{"Origin", kPaid, [](v1::Event& e) { e.set_origin("V"); }, kBad, "origin",
              "2 to 16 letters or digits"},
        Wrong{"Destination", kPaid, [](v1::Event& e) { e.set_destination("D-E"); }, kBad,
              "destination", "2 to 16 letters or digits"},
        Wrong{"Service", kPaid, [](v1::Event& e) { e.set_service("Express"); }, kBad, "service",
              "a-z, 0-9 and hyphen"},
        Wrong{"Item", kPaid, [](v1::Event& e) { e.set_item(std::string(129, 'x')); }, kBad, "item",
              "1 to 128"},
        Wrong{"NoUnits", kPaid, [](v1::Event& e) { e.set_unit_count(0); }, kBad, "unit_count",
              "1 to 1000000"},
        Wrong{"ManyUnits", kPaid, [](v1::Event& e) { e.set_unit_count(1'000'001); }, kBad,
              "unit_count", "1 to 1000000"},
        Wrong{"CostCurrency", kPaid, [](v1::Event& e) { SetMoney(1, "EURO", e.mutable_cost()); },
              kBad, "cost.currency_code", "ISO 4217"},
        Wrong{"CostWithoutCurrency", kPaid,
              [](v1::Event& e) { e.mutable_cost()->set_minor_units(1); }, kBad,
              "cost.currency_code", "ISO 4217"},
        Wrong{"CostNegative", kPaid, [](v1::Event& e) { SetMoney(-1, "EUR", e.mutable_cost()); },
              kBad, "cost.minor_units", "0 to 10000000000"},
        Wrong{"SaleLarge", kPaid,
              [](v1::Event& e) { SetMoney(10'000'000'001, "EUR", e.mutable_sale()); }, kBad,
              "sale.minor_units", "0 to 10000000000"},
        Wrong{"ReplacesItself", kPaid,
              [](v1::Event& e) {
                e.set_part(2);
                e.set_replaces(2);
              },
              kBad, "replaces", "below this one's"},
        Wrong{"FirstPartReplaces", kPaid, [](v1::Event& e) { e.set_replaces(1); }, kBad, "replaces",
              "below this one's"},
        Wrong{"ReplacesNegative", kPaid, [](v1::Event& e) { e.set_replaces(-1); }, kBad, "replaces",
              "below this one's"},
        Wrong{"Tracking", kPaid, [](v1::Event& e) { e.set_tracking("a\tb"); }, kBad, "tracking",
              "1 to 128"}),
    NameOf);

INSTANTIATE_TEST_SUITE_P(
    Outcomes, RejectedEvent,
    ::testing::Values(Wrong{"ReasonOnPaid", kPaid,
                            [](v1::Event& e) { e.set_reason(v1::REASON_LATE); }, kBad, "reason",
                            "on disputed, refunded and cancelled only, not on paid"},
                      Wrong{"ReasonUnknown", kDisputed,
                            [](v1::Event& e) { e.set_reason(static_cast<v1::Reason>(16)); }, kBad,
                            "reason", "one of the known reasons"},
                      Wrong{"ReasonNegative", kDisputed,
                            [](v1::Event& e) { e.set_reason(static_cast<v1::Reason>(-1)); }, kBad,
                            "reason", "one of the known reasons"},
                      Wrong{"ClaimOnRefunded", kRefunded,
                            [](v1::Event& e) { SetMoney(1, "EUR", e.mutable_claim()); }, kBad,
                            "claim", "on disputed only, not on refunded"},
                      Wrong{"ClaimCurrency", kDisputed,
                            [](v1::Event& e) { SetMoney(1, "XXX", e.mutable_claim()); }, kBad,
                            "claim.currency_code", "ISO 4217"},
                      Wrong{"RefundOnDisputed", kDisputed,
                            [](v1::Event& e) { SetMoney(1, "EUR", e.mutable_refund()); }, kBad,
                            "refund", "on refunded only, not on disputed"},
                      Wrong{"RefundNegative", kRefunded,
                            [](v1::Event& e) { SetMoney(-1, "EUR", e.mutable_refund()); }, kBad,
                            "refund.minor_units", "0 to 10000000000"},
                      Wrong{"SideOnPaid", kPaid,
                            [](v1::Event& e) { e.set_refund_side(v1::REFUND_SIDE_SUPPLIER); }, kBad,
                            "refund_side", "on refunded only"},
                      Wrong{"SideUnknown", kRefunded,
                            [](v1::Event& e) { e.set_refund_side(static_cast<v1::RefundSide>(3)); },
                            kBad, "refund_side", "supplier or shop"},
                      Wrong{"RetractsOnPaid", kPaid, [](v1::Event& e) { e.set_retracts("e0"); },
                            kBad, "retracts", "on retracted only, not on paid"},
                      Wrong{"RetractsMissing", kRetracted, [](v1::Event& e) { e.clear_retracts(); },
                            kMissing, "retracts", "the event_id taken back"},
                      Wrong{"RetractsLong", kRetracted,
                            [](v1::Event& e) { e.set_retracts(std::string(129, 'x')); }, kBad,
                            "retracts", "1 to 128"},
                      Wrong{"RetractsItself", kRetracted,
                            [](v1::Event& e) { e.set_retracts(e.event_id()); }, kBad, "retracts",
                            "another event's id"}),
    NameOf);

TEST(ReadEvent, OfAnUnknownTypeNothingElseIsChecked) {
  v1::Event event = Sent(static_cast<v1::EventType>(9));
  event.set_reason(v1::REASON_LATE);
  EXPECT_EQ(Rejected(event)->field, "type");
}

TEST(ReadEvent, OfSeveralThingsWrongTheFirstIsSaid) {
  v1::Event event = SentPaid();
  event.set_promise_days(-1);
  event.set_supplier("a/b");
  event.set_part(-1);
  EXPECT_EQ(Rejected(event)->field, "part");
  EXPECT_EQ(Rejected(v1::Event())->field, "event_id");
}

TEST(ReadEvent, EveryTypeIsTakenWithTheLeastItNeeds) {
  for (int type = v1::EVENT_TYPE_PAID; type <= v1::EVENT_TYPE_RETRACTED; ++type) {
    v1::Event event = Sent(static_cast<v1::EventType>(type));
    if (type == v1::EVENT_TYPE_RETRACTED) event.set_retracts("e0");
    const OrderEvent taken = Taken(event);
    EXPECT_EQ(static_cast<int>(taken.event.type), type);
    EXPECT_EQ(taken.event.time, At("2026-03-05T14:00"));
    EXPECT_EQ(taken.order, (OrderKey{"default", "1042"}));
    EXPECT_EQ(taken.event.source, "default");
    EXPECT_EQ(taken.event.event_id, "e1");
    EXPECT_EQ(taken.event.part, 1);
    EXPECT_EQ(taken.event.promise, std::nullopt);
  }
}

TEST(ReadEvent, TheNumbersOfTheApiMeanTheSameInside) {
  for (int i = 1; i <= 8; ++i) {
    std::string name = v1::EventType_Name(i).substr(std::string("EVENT_TYPE_").size());
    for (char& c : name) c = static_cast<char>(std::tolower(c));
    EXPECT_EQ(NameOf(static_cast<EventType>(i)), name);
  }
  for (int i = 1; i <= 15; ++i) {
    std::string name = v1::Reason_Name(i).substr(std::string("REASON_").size());
    for (char& c : name) c = static_cast<char>(std::tolower(c));
    EXPECT_EQ(NameOf(static_cast<Reason>(i)), name);
  }
}

TEST(ReadEvent, AllFactsOfAPaidOrderAreTaken) {
  v1::Event event = SentPaid();
  event.set_source("export");
  event.set_shop("harbour");
  event.set_part(2);
  event.set_origin("vn");
  event.set_destination("deHam");
  event.set_service("express");
  Stamp("2026-03-12T20:00", event.mutable_promise_time());
  event.mutable_promise_time()->set_nanos(1'999'999);
  event.set_item("lamp/red");
  event.set_unit_count(3);
  SetMoney(1375, "eur", event.mutable_cost());
  SetMoney(0, "JPY", event.mutable_sale());
  event.set_replaces(1);
  event.set_tracking("TRK 1/2");
  Stamp("2026-03-06", event.mutable_revision_time());
  const auto [order, taken] = Taken(event);
  EXPECT_EQ(order, (OrderKey{"harbour", "1042"}));
  EXPECT_EQ(taken.source, "export");
  EXPECT_EQ(taken.part, 2);
  EXPECT_EQ(taken.supplier, "lotus");
  EXPECT_EQ(taken.origin, "VN");
  EXPECT_EQ(taken.destination, "DEHAM");
  EXPECT_EQ(taken.service, "express");
  EXPECT_EQ(taken.promise, At("2026-03-12T20:00") + 1);  // finer than a millisecond is cut off
  EXPECT_EQ(taken.promise_days, std::nullopt);
  EXPECT_FALSE(taken.promise_implied);
  EXPECT_EQ(taken.item, "lamp/red");
  EXPECT_EQ(taken.units, 3);
  EXPECT_EQ(taken.cost, (Money{1375, "EUR"}));
  EXPECT_EQ(taken.sale, (Money{0, "JPY"}));
  EXPECT_EQ(taken.replaces, 1);
  EXPECT_EQ(taken.tracking, "TRK 1/2");
  EXPECT_EQ(taken.revision, At("2026-03-06"));
}

TEST(ReadEvent, AllOfADisputeARefundAndARetractionIsTaken) {
  v1::Event dispute = Sent(kDisputed);
  dispute.set_reason(v1::REASON_OTHER);
  SetMoney(kMaxMinorUnits, "EUR", dispute.mutable_claim());
  EXPECT_EQ(Taken(dispute).event.reason, Reason::kOther);
  EXPECT_EQ(Taken(dispute).event.claim, (Money{kMaxMinorUnits, "EUR"}));

  v1::Event refund = Sent(kRefunded);
  SetMoney(250, "USD", refund.mutable_refund());
  EXPECT_EQ(Taken(refund).event.refund, (Money{250, "USD"}));
  EXPECT_FALSE(Taken(refund).event.refund_by_shop);
  refund.set_refund_side(v1::REFUND_SIDE_SUPPLIER);
  EXPECT_FALSE(Taken(refund).event.refund_by_shop);
  refund.set_refund_side(v1::REFUND_SIDE_SHOP);
  EXPECT_TRUE(Taken(refund).event.refund_by_shop);

  v1::Event retraction = Sent(kRetracted);
  retraction.set_retracts("e0");
  EXPECT_EQ(Taken(retraction).event.retracts, "e0");
}

TEST(ReadEvent, TheEndsOfWhatIsAllowedAreAllowed) {
  v1::Event event = SentPaid(std::string(128, 'x'), std::string(64, 'x'));
  event.set_part(999);
  event.set_replaces(998);
  event.set_unit_count(1'000'000);
  event.set_promise_days(365);
  Stamp("2026-03-11T12:00", event.mutable_event_time());  // a day ahead, no more
  EXPECT_EQ(Taken(event).event.part, 999);
  event.set_promise_days(0);
  event.set_unit_count(1);
  event.mutable_event_time()->set_seconds(0);
  EXPECT_EQ(Taken(event).event.time, kEarliestInstant);
}

TEST(ReadEvent, APromiseMayLieTwoYearsAhead) {
  v1::Event event = SentPaid();
  Stamp("2028-03-06T14:00", event.mutable_promise_time());
  EXPECT_EQ(Taken(event).event.promise, At("2028-03-06T14:00"));
}

TEST(ReadEvent, AServiceOfNoneIsWrittenAsNothingOrAHyphen) {
  v1::Event event = SentPaid();
  event.set_service("-");
  EXPECT_EQ(Taken(event).event.service, "");
}

TEST(ReadEvent, APromiseInDaysEndsWithThatDayAtTheDestination) {
  const auto promise = [](const char* destination, int days) {
    v1::Event event = Sent(kPaid);
    event.set_destination(destination);
    event.set_promise_days(days);
    return FormatInstant(*Taken(event).event.promise + 1);
  };
  EXPECT_EQ(promise("DE", 7), "2026-03-12T23:00:00Z");
  EXPECT_EQ(promise("de", 0), "2026-03-05T23:00:00Z");
  EXPECT_EQ(promise("IE", 7), "2026-03-13T00:00:00Z");
  // 14:00 UTC is the next morning in New Zealand.
  EXPECT_EQ(promise("NZ", 7), "2026-03-13T11:00:00Z");
  EXPECT_EQ(promise("", 7), "2026-03-13T00:00:00Z");
  EXPECT_EQ(promise("DEHAM", 24), "2026-03-29T22:00:00Z");  // the clocks go forward that day
}

TEST(ReadEvent, TheHashIsOfWhatWasSentWhateverTheZonesSay) {
  v1::Event event = SentPaid();
  event.set_destination("DEPOT2");
  event.set_promise_days(7);
  const Zones elsewhere = Zones::Load("Pacific/Auckland").value();
  const auto here = Taken(event).event;
  const auto there = MustRead(event, kReceived, elsewhere).event;
  EXPECT_NE(here.promise, there.promise);
  EXPECT_EQ(here.content_hash, there.content_hash);
}

TEST(ReadEvent, TheHashDoesNotDependOnWhenItWasReceivedOrHowItWasSpelled) {
  v1::Event spelled = SentPaid();
  spelled.set_origin("vn");
  spelled.set_source("default");
  spelled.set_shop("default");
  spelled.set_part(1);
  spelled.set_service("-");
  const OrderEvent later = MustRead(SentPaid(), kReceived + kMillisPerDay);
  EXPECT_EQ(Taken(SentPaid()).event.content_hash, later.event.content_hash);
  EXPECT_EQ(Taken(SentPaid()).event.content_hash, Taken(spelled).event.content_hash);
}

TEST(ReadEvent, TheHashIsOfTheDateWhereADateWasGivenWhateverMomentItStandsFor) {
  const auto hash = [](const std::string& date, const std::string& time,
                       const std::string& promise_date, const std::string& promise) {
    v1::Event event = SentPaid();
    event.set_event_date(date);
    Stamp(time, event.mutable_event_time());
    event.set_promise_date(promise_date);
    Stamp(promise, event.mutable_promise_time());
    return Taken(event).event.content_hash;
  };
  // As sent while the destination was unknown, and again when it was known.
  const uint64_t first = hash("2026-03-05", "2026-03-05", "2026-03-12", "2026-03-12T23:59:59");
  EXPECT_EQ(hash("2026-03-05", "2026-03-04T23:00", "2026-03-12", "2026-03-12T22:59:59"), first);
  EXPECT_NE(hash("2026-03-06", "2026-03-05", "2026-03-12", "2026-03-12T23:59:59"), first);
  EXPECT_NE(hash("2026-03-05", "2026-03-05", "2026-03-13", "2026-03-12T23:59:59"), first);
  EXPECT_NE(hash("", "2026-03-05", "2026-03-12", "2026-03-12T23:59:59"), first);
  EXPECT_NE(hash("2026-03-05", "2026-03-05", "", "2026-03-12T23:59:59"), first);
}

// Stored hashes are compared with new ones for as long as an order lives: the function must not
// change. FNV-1a (draft-eastlake-fnv), worked out by another program over the same bytes.
TEST(ReadEvent, TheHashIsTheSameInEveryVersion) {
  v1::Event event = SentPaid();
  EXPECT_EQ(Taken(event).event.content_hash, 0xd1ed8dbea6a84c76u);
  event.set_promise_days(7);
  SetMoney(1375, "EUR", event.mutable_cost());
  EXPECT_EQ(Taken(event).event.content_hash, 0x263495a9f5e4f376u);
}

TEST(ReadEvent, AnyChangedFieldIsAnotherHash) {
  const std::vector<std::pair<v1::EventType, std::vector<Change>>> changes = {
      {kPaid,
       {[](v1::Event&) {}, [](v1::Event& e) { e.set_event_id("e2"); },
        [](v1::Event& e) { e.set_source("e"); }, [](v1::Event& e) { e.set_shop("e"); },
        [](v1::Event& e) { e.set_order_id("1043"); }, [](v1::Event& e) { e.set_part(2); },
        [](v1::Event& e) {
          e.set_part(2);
          e.set_replaces(1);
        },
        [](v1::Event& e) { e.set_type(v1::EVENT_TYPE_SHIPPED); },
        [](v1::Event& e) { e.mutable_event_time()->set_nanos(1'000'000); },
        [](v1::Event& e) { e.set_supplier("AA"); }, [](v1::Event& e) { e.set_origin("AA"); },
        [](v1::Event& e) { e.set_destination("AA"); }, [](v1::Event& e) { e.set_service("aa"); },
        [](v1::Event& e) { e.set_item("AA"); }, [](v1::Event& e) { e.set_tracking("AA"); },
        [](v1::Event& e) { e.set_unit_count(1); }, [](v1::Event& e) { e.set_unit_count(2); },
        [](v1::Event& e) { e.set_promise_days(0); }, [](v1::Event& e) { e.set_promise_days(1); },
        [](v1::Event& e) { Stamp("2026-03-12", e.mutable_promise_time()); },
        // The end of that day in DE: the same moment, but not what was sent.
        [](v1::Event& e) { Stamp("2026-03-05T22:59:59", e.mutable_promise_time()); },
        [](v1::Event& e) { SetMoney(0, "EUR", e.mutable_cost()); },
        [](v1::Event& e) { SetMoney(1, "EUR", e.mutable_cost()); },
        [](v1::Event& e) { SetMoney(1, "USD", e.mutable_cost()); },
        [](v1::Event& e) { SetMoney(1, "EUR", e.mutable_sale()); }}},
      {kDisputed,
       {[](v1::Event&) {}, [](v1::Event& e) { e.set_reason(v1::REASON_LATE); },
        [](v1::Event& e) { e.set_reason(v1::REASON_LOST); },
        [](v1::Event& e) { SetMoney(1, "EUR", e.mutable_claim()); }}},
      {kRefunded,
       {[](v1::Event&) {}, [](v1::Event& e) { SetMoney(1, "EUR", e.mutable_refund()); },
        [](v1::Event& e) { e.set_refund_side(v1::REFUND_SIDE_SHOP); }}},
      {kRetracted,
       {[](v1::Event& e) { e.set_retracts("e0"); }, [](v1::Event& e) { e.set_retracts("e9"); }}}};
  std::map<uint64_t, std::string> seen;
  for (const auto& [type, list] : changes) {
    for (const Change& change : list) {
      v1::Event event = Sent(type);
      change(event);
      const auto [before, fresh] =
          seen.emplace(Taken(event).event.content_hash, event.ShortDebugString());
      EXPECT_TRUE(fresh) << before->second << " and " << event.ShortDebugString();
    }
  }
}

TEST(ReadEvent, FieldsDoNotRunIntoEachOther) {
  v1::Event early = SentPaid(), late = SentPaid();
  early.set_source("ab");
  early.set_event_id("c");
  late.set_source("a");
  late.set_event_id("bc");
  EXPECT_NE(Taken(early).event.content_hash, Taken(late).event.content_hash);
}

}  // namespace
}  // namespace plumblane
