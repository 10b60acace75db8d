// Questions: names of what is asked about, moments, half-lives, and excuses to be logged.
#include "service/read_question.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <plumblane/v1/scores.pb.h>

#include <limits>

#include "service/service_support.h"

namespace plumblane {
namespace {

using test::At;
using test::On;
using test::Stamp;
using ::testing::HasSubstr;

const Instant kLatest = At("2026-03-10T12:00");

template <typename T>
std::string WhyNot(const absl::StatusOr<T>& read) {
  EXPECT_TRUE(absl::IsInvalidArgument(read.status())) << read.status();
  return std::string(read.status().message());
}

TEST(ReadSubject, NamesASupplierALaneOrAPair) {
  const auto named = [](const std::string& name) {
    const Subject subject = ReadSubject(name).value();
    return std::pair(subject.supplier, subject.lane);
  };
  using Names = std::pair<std::optional<std::string>, std::optional<LaneQuery>>;
  EXPECT_EQ(named("suppliers/lotus"), Names("lotus", std::nullopt));
  EXPECT_EQ(named("suppliers/Åsa & Söner"), Names("Åsa & Söner", std::nullopt));
  EXPECT_EQ(named("suppliers/lanes"), Names("lanes", std::nullopt));
  EXPECT_EQ(named("lanes/vn-de"), Names(std::nullopt, LaneQuery{"VN", "DE", std::nullopt}));
  EXPECT_EQ(named("lanes/VN-DE/express"), Names(std::nullopt, LaneQuery{"VN", "DE", "express"}));
  EXPECT_EQ(named("lanes/VN-DE/-"), Names(std::nullopt, LaneQuery{"VN", "DE", ""}));
  EXPECT_EQ(named("suppliers/lotus/lanes/VN-DE"),
            Names("lotus", LaneQuery{"VN", "DE", std::nullopt}));
  EXPECT_EQ(named("suppliers/lotus/lanes/VN-DE/-"), Names("lotus", LaneQuery{"VN", "DE", ""}));
}

TEST(ReadSubject, OtherNamesAreRefused) {
  constexpr char kForms[] = "name: expected suppliers/ID, lanes/VN-DE";
  for (const char* name : {"", "lotus", "supplier/lotus", "Suppliers/lotus", "orders/1",
                           "suppliers/lotus/VN-DE", "suppliers/lotus/", "suppliers/lotus/lanes"}) {
    EXPECT_THAT(WhyNot(ReadSubject(name)), HasSubstr(kForms)) << name;
  }
  EXPECT_THAT(WhyNot(ReadSubject("suppliers/")), HasSubstr("name: expected 1 to 64"));
  EXPECT_THAT(WhyNot(ReadSubject("suppliers/ lotus")), HasSubstr("name: expected 1 to 64"));
  EXPECT_THAT(WhyNot(ReadSubject("lanes/")), HasSubstr("name: expected a lane"));
  EXPECT_THAT(WhyNot(ReadSubject("lanes/VN-DE/")), HasSubstr("service is empty"));
  EXPECT_THAT(WhyNot(ReadSubject("suppliers/lotus/lanes/VNDE")), HasSubstr("no hyphen"));
}

TEST(ReadTime, IsUpToADayAheadAndNamesItsField) {
  google::protobuf::Timestamp time;
  EXPECT_EQ(ReadTime("as_of_time", time, kLatest).value(), kEarliestInstant);
  Stamp("2026-03-11T12:00", &time);
  EXPECT_EQ(ReadTime("as_of_time", time, kLatest).value(), At("2026-03-11T12:00"));
  time.set_nanos(1'000'000);
  EXPECT_EQ(WhyNot(ReadTime("as_of_time", time, kLatest)),
            "as_of_time: 2026-03-11T12:00:00.001Z lies more than a day ahead of "
            "2026-03-10T12:00:00Z");
}

TEST(ReadTime, IsNoTimeOutsideTheYearsThatCanBeWritten) {
  constexpr int64_t kLeast = std::numeric_limits<int64_t>::min();
  constexpr int64_t kMost = std::numeric_limits<int64_t>::max();
  for (const auto& [seconds, nanos] : std::initializer_list<std::pair<int64_t, int32_t>>{
           {-1, 0}, {kLeast, 0}, {kMost, 0}, {253'402'300'800, 0}, {0, -1}, {0, 1'000'000'000}}) {
    google::protobuf::Timestamp time;
    time.set_seconds(seconds);
    time.set_nanos(nanos);
    EXPECT_EQ(WhyNot(ReadTime("complete_through_time", time, kLatest)),
              "complete_through_time: expected a time in the years 1970 to 9999")
        << seconds << " " << nanos;
  }
}

TEST(ReadAsked, AbsentMeansNowAndTheSetting) {
  const Asked asked = ReadAsked(v1::GetScoreRequest(), kLatest).value();
  EXPECT_EQ(asked.as_of, std::nullopt);
  EXPECT_EQ(asked.half_life_days, std::nullopt);
}

TEST(ReadAsked, TakesMomentAndHalfLife) {
  v1::GetScoreRequest request;
  Stamp("2026-03-01T06:00", request.mutable_as_of_time());
  request.mutable_half_life()->set_seconds(3 * 86'400 + 43'200);
  EXPECT_EQ(ReadAsked(request, kLatest)->as_of, At("2026-03-01T06:00"));
  EXPECT_DOUBLE_EQ(ReadAsked(request, kLatest)->half_life_days.value(), 3.5);
  request.mutable_half_life()->set_seconds(0);
  request.mutable_half_life()->set_nanos(432'000'000);
  EXPECT_DOUBLE_EQ(ReadAsked(request, kLatest)->half_life_days.value(), 0.000005);
  Stamp("2026-04-01", request.mutable_as_of_time());
  EXPECT_THAT(WhyNot(ReadAsked(request, kLatest)), HasSubstr("as_of_time: "));
}

TEST(ReadAsked, AHalfLifeOfAnySizeIsReadAsItIs) {
  // Whether it makes sense is for the view to say; none becomes another.
  constexpr int64_t kMost = std::numeric_limits<int64_t>::max();
  for (const int64_t seconds : {-3 * 86'400L, kMost, -kMost}) {
    v1::GetScoreRequest request;
    request.mutable_half_life()->set_seconds(seconds);
    EXPECT_DOUBLE_EQ(ReadAsked(request, kLatest)->half_life_days.value(),
                     static_cast<double>(seconds) / 86'400);
  }
}

TEST(ReadAsked, TakesTheModeOfRates) {
  v1::GetScoreRequest request;
  EXPECT_EQ(ReadAsked(request, kLatest)->rate_mode, RateMode::kCurrent);
  request.set_rate_mode(v1::RATE_MODE_AVERAGE);
  EXPECT_EQ(ReadAsked(request, kLatest)->rate_mode, RateMode::kAverage);
  request.set_rate_mode(v1::RATE_MODE_CURRENT);
  EXPECT_EQ(ReadAsked(request, kLatest)->rate_mode, RateMode::kCurrent);
  request.set_rate_mode(static_cast<v1::RateMode>(3));
  EXPECT_EQ(WhyNot(ReadAsked(request, kLatest)), "rate_mode: expected current or average");
  v1::ListScoresRequest list;
  list.set_rate_mode(v1::RATE_MODE_AVERAGE);
  EXPECT_EQ(ReadAsked(list, kLatest)->rate_mode, RateMode::kAverage);
}

TEST(ReadAsked, TakesUpToTwentyNumbersOfDays) {
  v1::GetScoreRequest request;
  for (const double days : {10.5, 0.0, 120.0, 10.5}) request.add_within_days(days);
  EXPECT_THAT(ReadAsked(request, kLatest)->within_days, ::testing::ElementsAre(10.5, 0, 120, 10.5));
  while (request.within_days_size() < 20) request.add_within_days(1);
  EXPECT_TRUE(ReadAsked(request, kLatest).ok());
  request.add_within_days(1);
  EXPECT_EQ(WhyNot(ReadAsked(request, kLatest)), "within_days: expected at most 20");
  for (const double days : {-.001, 120.001, std::numeric_limits<double>::infinity(),
                            std::numeric_limits<double>::quiet_NaN()}) {
    v1::GetScoreRequest wrong;
    wrong.add_within_days(1);
    wrong.add_within_days(days);
    EXPECT_EQ(WhyNot(ReadAsked(wrong, kLatest)), "within_days: expected 0 to 120 days") << days;
  }
}

TEST(ReadOrderKey, FillsInTheShopAndChecksBoth) {
  EXPECT_EQ(ReadOrderKey("", "1042").value(), (OrderKey{"default", "1042"}));
  EXPECT_EQ(ReadOrderKey("harbour", "1042").value(), (OrderKey{"harbour", "1042"}));
  EXPECT_THAT(WhyNot(ReadOrderKey("a/b", "1042")), HasSubstr("shop: "));
  EXPECT_THAT(WhyNot(ReadOrderKey("", "")), HasSubstr("order_id: "));
}

v1::Excuse OfOrder(const std::string& order_id, const std::string& shop = "", int part = 0) {
  v1::Excuse excuse;
  excuse.mutable_order()->set_order_id(order_id);
  excuse.mutable_order()->set_shop(shop);
  excuse.mutable_order()->set_part(part);
  excuse.set_reason("our mistake");
  return excuse;
}

v1::Excuse OfLane(const std::string& origin = "VN", const std::string& destination = "DE") {
  v1::Excuse excuse;
  v1::LaneDays* days = excuse.mutable_lane_days();
  days->mutable_lane()->set_origin(origin);
  days->mutable_lane()->set_destination(destination);
  days->set_first_due_date("2026-03-05");
  days->set_last_due_date("2026-03-09");
  excuse.set_reason("port strike");
  return excuse;
}

TEST(ReadExcuse, OfAnOrderPart) {
  EXPECT_EQ(ReadExcuse(OfOrder("1042")).value(),
            (Excuse{"default.1042.1", ExcusedOrder{{"default", "1042"}, 1}, "our mistake"}));
  EXPECT_EQ(ReadExcuse(OfOrder("1042", "harbour", 2)).value(),
            (Excuse{"harbour.1042.2", ExcusedOrder{{"harbour", "1042"}, 2}, "our mistake"}));
}

TEST(ReadExcuse, OfDueDaysOnALane) {
  const auto read = [](const v1::Excuse& excuse) { return ReadExcuse(excuse).value(); };
  const auto days = [](std::optional<std::string> service) {
    return ExcusedDays{{"VN", "DE", std::move(service)}, On("2026-03-05"), On("2026-03-09")};
  };
  v1::Excuse excuse = OfLane("vn", "de");
  EXPECT_EQ(read(excuse),
            (Excuse{"VN-DE.2026-03-05.2026-03-09", days(std::nullopt), "port strike"}));
  excuse.mutable_lane_days()->mutable_lane()->set_service("express");
  EXPECT_EQ(read(excuse),
            (Excuse{"VN-DE.express.2026-03-05.2026-03-09", days("express"), "port strike"}));
  for (const char* none : {"", "-"}) {
    excuse.mutable_lane_days()->mutable_lane()->set_service(none);
    EXPECT_EQ(read(excuse), (Excuse{"VN-DE.-.2026-03-05.2026-03-09", days(""), "port strike"}));
  }
  excuse.mutable_lane_days()->set_last_due_date("2026-03-05");  // one day
  EXPECT_EQ(std::get<ExcusedDays>(read(excuse).subject).last_due, On("2026-03-05"));
}

TEST(ReadExcuse, AGivenIdIsKept) {
  v1::Excuse excuse = OfOrder("1042");
  excuse.set_excuse_id("strike 7");
  EXPECT_EQ(ReadExcuse(excuse)->excuse_id, "strike 7");
  excuse.set_withdrawn(true);  // output only
  EXPECT_FALSE(ReadExcuse(excuse)->withdrawn);
}

TEST(ReadExcuse, AMadeIdIsAnIdHoweverLongTheOrders) {
  const std::string longest(64, 'x');
  const std::string made = ReadExcuse(OfOrder(longest, longest, 999)).value().excuse_id;
  EXPECT_TRUE(CheckId(made).ok()) << made;
  EXPECT_EQ(ReadExcuse(OfOrder(longest, longest, 999))->excuse_id, made);
  EXPECT_NE(ReadExcuse(OfOrder(longest, longest, 998))->excuse_id, made);
  EXPECT_NE(ReadExcuse(OfOrder(longest, "x", 999))->excuse_id, made);
  v1::Excuse lane = OfLane("ABCDEFGHIJKLMNOP", "ABCDEFGHIJKLMNOP");
  lane.mutable_lane_days()->mutable_lane()->set_service(std::string(32, 'x'));
  EXPECT_TRUE(CheckId(ReadExcuse(lane).value().excuse_id).ok());
}

struct BadExcuse {
  const char* name;
  v1::Excuse excuse;
  const char* message;
};

template <typename Change>
v1::Excuse With(v1::Excuse excuse, const Change& change) {
  change(excuse);
  return excuse;
}

class RefusedExcuse : public ::testing::TestWithParam<BadExcuse> {};

TEST_P(RefusedExcuse, NamesTheFieldAndWhatWasExpected) {
  EXPECT_THAT(WhyNot(ReadExcuse(GetParam().excuse)), HasSubstr(GetParam().message));
}

std::string LongReason(int characters, const std::string& character) {
  std::string reason;
  for (int i = 0; i < characters; ++i) reason += character;
  return reason;
}

INSTANTIATE_TEST_SUITE_P(
    ReadExcuse, RefusedExcuse,
    ::testing::Values(
        BadExcuse{"Nothing", v1::Excuse(), "expected order or lane_days"},
        BadExcuse{"Order", OfOrder("a/b"), "order_id: expected"},
        BadExcuse{"Shop", OfOrder("1042", "a/b"), "shop: expected"},
        BadExcuse{"PartNegative", OfOrder("1042", "", -1), "order.part: expected 1 to 999"},
        BadExcuse{"PartLarge", OfOrder("1042", "", 1000), "order.part: expected 1 to 999"},
        BadExcuse{"Id", With(OfOrder("1042"), [](auto& e) { e.set_excuse_id("a/b"); }),
                  "excuse_id: expected"},
        BadExcuse{"NoReason", With(OfOrder("1042"), [](auto& e) { e.clear_reason(); }),
                  "reason: expected 1 to 200 printable characters"},
        BadExcuse{"ReasonOfTwoLines",
                  With(OfOrder("1042"), [](auto& e) { e.set_reason("port\nstrike"); }),
                  "reason: expected 1 to 200 printable characters"},
        BadExcuse{"LongReason",
                  With(OfOrder("1042"), [](auto& e) { e.set_reason(LongReason(201, "x")); }),
                  "reason: expected 1 to 200 printable characters"},
        BadExcuse{"Origin", OfLane("V", "DE"), "lane_days.lane.origin: expected 2 to 16"},
        BadExcuse{"NoLane", With(OfLane(), [](auto& e) { e.mutable_lane_days()->clear_lane(); }),
                  "lane_days.lane.origin: "},
        // Not a lane VN-DE with a service.
        BadExcuse{"ServiceInTheDestination", OfLane("VN", "DE/express"),
                  "lane_days.lane.destination: "},
        BadExcuse{"LaneInTheOrigin", OfLane("VN-DE/x", "y"), "lane_days.lane.origin: "},
        BadExcuse{
            "Service",
            With(OfLane(),
                 [](auto& e) { e.mutable_lane_days()->mutable_lane()->set_service("Express"); }),
            "lane_days.lane.service: "},
        BadExcuse{
            "FirstDay",
            With(OfLane(), [](auto& e) { e.mutable_lane_days()->set_first_due_date("5 March"); }),
            "lane_days.first_due_date: expected a date"},
        BadExcuse{"LastDay",
                  With(OfLane(), [](auto& e) { e.mutable_lane_days()->clear_last_due_date(); }),
                  "lane_days.last_due_date: expected a date"},
        BadExcuse{
            "LastBeforeFirst",
            With(OfLane(), [](auto& e) { e.mutable_lane_days()->set_last_due_date("2026-03-04"); }),
            "lane_days.last_due_date: expected a date not before the first"}),
    [](const auto& info) { return info.param.name; });

TEST(ReadExcuse, AReasonIsCountedInCharacters) {
  for (const char* character : {"x", "ö", "港"}) {
    v1::Excuse excuse = OfOrder("1042");
    excuse.set_reason(LongReason(200, character));
    EXPECT_TRUE(ReadExcuse(excuse).ok()) << character;
    excuse.set_reason(LongReason(201, character));
    EXPECT_FALSE(ReadExcuse(excuse).ok()) << character;
  }
}

}  // namespace
}  // namespace plumblane
