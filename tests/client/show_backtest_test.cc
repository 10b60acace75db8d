// The screen of a backtest, whole and in its advice.
#include "client/show_backtest.h"

#include <gmock/gmock.h>

#include <sstream>

#include "client/table.h"

namespace plumblane::client {
namespace {

using testing::HasSubstr;
using testing::Not;

v1::Forecaster Forecaster(v1::Forecaster::Kind kind, double loss, double difference, double error) {
  v1::Forecaster forecaster;
  forecaster.set_kind(kind);
  forecaster.set_log_loss(loss);
  forecaster.set_setting_difference(difference);
  forecaster.set_setting_standard_error(error);
  return forecaster;
}

v1::Forecaster HalfLife(double days, double loss, double difference, double error) {
  v1::Forecaster forecaster = Forecaster(v1::Forecaster::KIND_HALF_LIFE, loss, difference, error);
  forecaster.mutable_half_life()->set_seconds(static_cast<int64_t>(days * 86'400));
  return forecaster;
}

v1::Forecaster Setting(double loss) {
  v1::Forecaster forecaster = HalfLife(45, loss, 0, 0);
  forecaster.set_is_setting(true);
  return forecaster;
}

v1::BacktestResponse Answer(const std::vector<v1::Forecaster>& forecasters) {
  v1::BacktestResponse answer;
  for (const v1::Forecaster& forecaster : forecasters) *answer.add_forecasters() = forecaster;
  answer.set_order_count(3328);
  answer.set_late_count(324);
  answer.set_days_ahead(10);
  answer.set_first_due_date("2026-02-05");
  answer.set_last_due_date("2026-09-27");
  return answer;
}

TEST(ShowBacktestTest, WholeScreen) {
  v1::BacktestResponse answer = Answer(
      {HalfLife(30, .30991, -.00003, .001), Setting(.31141), HalfLife(180, .3143, .0029, .0019),
       Forecaster(v1::Forecaster::KIND_LIFETIME, .3151, .0037, .0025),
       Forecaster(v1::Forecaster::KIND_LIFETIME_ALONE, .3198, .0084, .0034),
       Forecaster(v1::Forecaster::KIND_ALL_PAIRS, .321, .0095, .0045),
       Forecaster(v1::Forecaster::KIND_LAST_30_DAYS, .322, .0105, .0055),
       Forecaster(v1::Forecaster::KIND_LAST_30_DAYS_ALONE, .3258, .0143, .0063)});
  answer.mutable_as_of_time()->set_seconds(1'790'812'800);  // 2026-10-01
  EXPECT_EQ(ShowBacktest(answer, 80),
            R"(forecast by                          loss  against your setting
half-life 30 days                  0.3099   0.0000 ± 0.0010
half-life 45 days (your setting)   0.3114
half-life 180 days                 0.3143  +0.0029 ± 0.0019
all orders alike                   0.3151  +0.0037 ± 0.0025
all orders alike, ignoring others  0.3198  +0.0084 ± 0.0034
one rate for everybody             0.3210  +0.0095 ± 0.0045
last 30 days                       0.3220  +0.0105 ± 0.0055
last 30 days, ignoring others      0.3258  +0.0143 ± 0.0063

Leave the half-life at 45 days: 30 days would have done a little better, but no
more than chance would have it.
Forecast: 3,328 orders due from 2026-02-05 to 2026-09-27, of which 324 came
late; each from what was known 10 days before its promised day.
Loss: how far forecasts were from what happened, per order (log loss); less is
better. A difference is more than chance when it exceeds twice the figure behind
±.
as of 2026-10-01
)");
}

TEST(ShowBacktestTest, TheDayItselfIsNotZeroDaysBefore) {
  v1::BacktestResponse answer = Answer({Setting(.31)});
  answer.set_days_ahead(0);
  EXPECT_THAT(ShowBacktest(answer, 200), HasSubstr("known on its promised day."));
  answer.set_days_ahead(1);
  EXPECT_THAT(ShowBacktest(answer, 200), HasSubstr("known 1 day before its promised day."));
}

TEST(BacktestAdviceTest, SaysWhetherAndHowToChangeTheSetting) {
  v1::Forecaster unknown = HalfLife(20, .30, 0, 0);
  unknown.clear_setting_difference();
  unknown.clear_setting_standard_error();
  const std::pair<std::vector<v1::Forecaster>, std::string> cases[] = {
      {{Setting(.31), HalfLife(20, .32, .01, .001)},
       "Leave the half-life at 45 days: none of the others would have foretold late orders "
       "better."},
      {{HalfLife(20, .30, -.01, .0049), Setting(.31)},
       "Consider a half-life of 20 days: it would have done better than 45 days by more than "
       "chance. Set half_life_days = 20 under [scores] in the daemon's settings file and start it "
       "again."},
      {{HalfLife(20, .30, -.01, .0051), Setting(.31)},
       "Leave the half-life at 45 days: 20 days would have done a little better, but no more than "
       "chance would have it."},
      {{unknown, Setting(.31)},
       "Leave the half-life at 45 days: 20 days did better on these few days, which is too little "
       "to judge by."},
      // Other ways of forecasting cannot be set.
      {{Forecaster(v1::Forecaster::KIND_LIFETIME, .29, -.02, .001), Setting(.31)},
       "Leave the half-life at 45 days: none of the others would have foretold late orders "
       "better."},
  };
  for (const auto& [forecasters, advice] : cases) {
    EXPECT_EQ(BacktestAdvice(Answer(forecasters)), advice);
  }
}

TEST(BacktestAdviceTest, HalvesOfDaysAreSetAsDays) {
  EXPECT_THAT(BacktestAdvice(Answer({HalfLife(.5, .30, -.01, .001), Setting(.31)})),
              HasSubstr("Set half_life_days = 0.5 under"));
}

TEST(ShowBacktestTest, SaysWhenNobodyCanBeToldApart) {
  const auto screen = [](double error) {
    return ShowBacktest(
        Answer({Forecaster(v1::Forecaster::KIND_ALL_PAIRS, .29, -.02, error), Setting(.31)}), 200);
  };
  EXPECT_THAT(screen(.009), HasSubstr("\nOne rate for everybody did better than any half-life"));
  EXPECT_THAT(screen(.011), Not(HasSubstr("did better than any half-life")));
}

}  // namespace
}  // namespace plumblane::client
