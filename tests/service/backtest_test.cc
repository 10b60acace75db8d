// The backtest over the API: what may be asked, and what a small history answers.
#include <absl/strings/str_cat.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <map>

#include "service/read_question.h"
#include "service/service_support.h"
#include "service/write_answer.h"

namespace plumblane {
namespace {

using test::At;
using test::OrderBuilder;
using test::RunningEngine;
using test::Stamp;
using ::testing::ElementsAre;
using ::testing::HasSubstr;

const Instant kLatest = At("2026-06-01T12:00");

v1::BacktestRequest Request(const std::vector<int64_t>& half_lives_seconds = {}) {
  v1::BacktestRequest request;
  for (const int64_t seconds : half_lives_seconds) request.add_half_lives()->set_seconds(seconds);
  return request;
}

std::string WhyNot(const v1::BacktestRequest& request) {
  const auto read = ReadBacktest(request, kLatest);
  EXPECT_TRUE(absl::IsInvalidArgument(read.status())) << read.status();
  return std::string(read.status().message());
}

TEST(ReadBacktest, WhatIsNotSaidIsUsual) {
  const BacktestAsked asked = ReadBacktest(Request(), kLatest).value();
  EXPECT_THAT(asked.half_lives_days, ElementsAre(7, 14, 30, 45, 60, 90, 180));
  EXPECT_EQ(asked.days_ahead, 10);
  EXPECT_EQ(asked.first_days, 30);
  EXPECT_EQ(asked.as_of, std::nullopt);
}

TEST(ReadBacktest, WhatIsSaidIsTaken) {
  v1::BacktestRequest request = Request({3600, 36525LL * 86400});
  request.set_days_ahead(0);
  request.set_first_days(3650);
  Stamp("2026-03-10", request.mutable_as_of_time());
  const BacktestAsked asked = ReadBacktest(request, kLatest).value();
  EXPECT_THAT(asked.half_lives_days, ElementsAre(1 / 24.0, 36525));
  EXPECT_EQ(asked.days_ahead, 0);
  EXPECT_EQ(asked.first_days, 3650);
  EXPECT_EQ(asked.as_of, At("2026-03-10"));
}

TEST(ReadBacktest, BoundsNameTheirField) {
  EXPECT_THAT(WhyNot(Request({86400, 3599})), HasSubstr("half_lives: expected 1 hour"));
  EXPECT_THAT(WhyNot(Request({36525LL * 86400 + 1})), HasSubstr("half_lives: expected 1 hour"));
  EXPECT_THAT(WhyNot(Request(std::vector<int64_t>(21, 86400))),
              HasSubstr("half_lives: expected at"));
  EXPECT_TRUE(ReadBacktest(Request(std::vector<int64_t>(20, 86400)), kLatest).ok());
  for (const int days : {-1, 366}) {
    v1::BacktestRequest request;
    request.set_days_ahead(days);
    EXPECT_EQ(WhyNot(request), "days_ahead: expected 0 to 365");
  }
  for (const int days : {0, 3651}) {
    v1::BacktestRequest request;
    request.set_first_days(days);
    EXPECT_EQ(WhyNot(request), "first_days: expected 1 to 3,650");
  }
  v1::BacktestRequest request;
  Stamp("2026-07-01", request.mutable_as_of_time());
  EXPECT_THAT(WhyNot(request), HasSubstr("as_of_time: "));
}

// One supplier late on every order, one on none; an order each was due on each of twenty days.
class Backtests : public ::testing::Test {
 protected:
  Backtests() {
    for (int day = 10; day < 30; ++day) {
      const std::string due = absl::StrCat("2026-03-", day);
      Send("slow", absl::StrCat("s", day), due, "2026-04-02");
      Send("swift", absl::StrCat("q", day), due, "2026-03-09");
    }
  }
  void Send(const std::string& supplier, const std::string& id, const std::string& due,
            const std::string& delivered) {
    OrderBuilder order({"default", id});
    order.Paid("2026-03-01").With([&](Event& e) { e.supplier = supplier; });
    engine_.Submit(order.Promised(due).Shipped("2026-03-02").Delivered(delivered));
  }
  absl::StatusOr<v1::BacktestResponse> Ask(const v1::BacktestRequest& request) {
    const BacktestAsked asked = ReadBacktest(request, kLatest).value();
    const auto answer = engine_->Look().Backtest(asked);
    if (!answer.ok()) return answer.status();
    v1::BacktestResponse response;
    WriteBacktest(asked, *answer, &response);
    return response;
  }
  static v1::BacktestRequest Short() {
    v1::BacktestRequest request = Request({20 * 86400, 45 * 86400});
    request.set_days_ahead(1);
    request.set_first_days(5);
    return request;
  }

  RunningEngine engine_;
};

TEST_F(Backtests, AnswersWithEveryWayBestFirst) {
  const v1::BacktestResponse response = Ask(Short()).value();
  EXPECT_EQ(response.days_ahead(), 1);
  EXPECT_EQ(response.order_count(), 30);
  EXPECT_EQ(response.late_count(), 15);
  EXPECT_EQ(response.first_due_date(), "2026-03-15");
  EXPECT_EQ(response.last_due_date(), "2026-03-29");
  std::map<v1::Forecaster::Kind, int> kinds;
  double before = 0;
  for (const v1::Forecaster& forecaster : response.forecasters()) {
    ++kinds[forecaster.kind()];
    EXPECT_GE(forecaster.log_loss(), before);
    before = forecaster.log_loss();
    EXPECT_EQ(forecaster.is_setting(), forecaster.half_life().seconds() == 45 * 86400);
    EXPECT_EQ(forecaster.has_half_life(), forecaster.kind() == v1::Forecaster::KIND_HALF_LIFE);
    if (forecaster.is_setting()) EXPECT_EQ(forecaster.setting_difference(), 0);
    if (forecaster.kind() == v1::Forecaster::KIND_LIFETIME) EXPECT_EQ(forecaster.difference(), 0);
    EXPECT_TRUE(forecaster.has_standard_error() && forecaster.has_setting_standard_error());
  }
  EXPECT_EQ(kinds.size(), 6u);
  EXPECT_EQ(kinds[v1::Forecaster::KIND_HALF_LIFE], 2);
  // Half of all orders are late: one rate for both says 1/2 of each order.
  const v1::Forecaster& last = *response.forecasters().rbegin();
  EXPECT_EQ(last.kind(), v1::Forecaster::KIND_ALL_PAIRS);
  EXPECT_NEAR(last.log_loss(), std::log(2), 1e-12);
  EXPECT_NEAR(last.brier(), .25, 1e-12);
}

TEST_F(Backtests, AsOfEarlierReadsNoMoreThanHadSettled) {
  v1::BacktestRequest request = Short();
  Stamp("2026-03-18", request.mutable_as_of_time());
  const v1::BacktestResponse response = Ask(request).value();
  EXPECT_EQ(response.last_due_date(), "2026-03-16");
  EXPECT_EQ(response.order_count(), 4);
  EXPECT_EQ(response.as_of_time().seconds(), request.as_of_time().seconds());
  // A single block of days.
  EXPECT_FALSE(response.forecasters(0).has_difference());
  EXPECT_FALSE(response.forecasters(0).has_setting_standard_error());
}

TEST_F(Backtests, TooLittleHistorySaysWhatThereIsAndWhatIsNeeded) {
  EXPECT_EQ(Ask(Request()).status(),
            absl::FailedPreconditionError(
                "too little history: orders settled so far were due from 2026-03-10 to 2026-03-29, "
                "20 days; a backtest learns from the first 30 days of settled orders and forecasts "
                "those after"));
  v1::BacktestRequest request = Short();
  Stamp("2026-03-11", request.mutable_as_of_time());
  EXPECT_THAT(std::string(Ask(request).status().message()),
              HasSubstr("no order with a promise has settled yet; a backtest learns from the first "
                        "5 days"));
}

}  // namespace
}  // namespace plumblane
