// The backtest's question in, its answer out.
#include <absl/strings/str_cat.h>

#include "service/read_question.h"
#include "service/write_answer.h"

namespace plumblane {
namespace {

constexpr double kUsualHalfLives[] = {7, 14, 30, 45, 60, 90, 180};
constexpr int kMostHalfLives = 20, kMostDaysAhead = 365, kMostFirstDays = 3650;
constexpr double kSecondsPerDay = 86400, kShortestDays = 1.0 / 24, kLongestDays = 36525;

v1::Forecaster::Kind KindOf(ForecastKind kind) {
  switch (kind) {
    case ForecastKind::kHalfLife:
      return v1::Forecaster::KIND_HALF_LIFE;
    case ForecastKind::kLifetime:
      return v1::Forecaster::KIND_LIFETIME;
    case ForecastKind::kLastDays:
      return v1::Forecaster::KIND_LAST_30_DAYS;
    case ForecastKind::kLifetimeAlone:
      return v1::Forecaster::KIND_LIFETIME_ALONE;
    case ForecastKind::kLastDaysAlone:
      return v1::Forecaster::KIND_LAST_30_DAYS_ALONE;
    case ForecastKind::kAllPairs:
      return v1::Forecaster::KIND_ALL_PAIRS;
  }
  return v1::Forecaster::KIND_UNSPECIFIED;
}

void WriteForecaster(const ForecasterResult& result, v1::Forecaster* out) {
  out->set_kind(KindOf(result.kind));
  if (result.kind == ForecastKind::kHalfLife) {
    WriteDuration(result.half_life_days * kSecondsPerDay, out->mutable_half_life());
  }
  out->set_is_setting(result.is_setting);
  out->set_log_loss(result.log_loss);
  out->set_brier(result.brier);
  if (result.from_lifetime) {
    out->set_difference(result.from_lifetime->mean);
    out->set_standard_error(result.from_lifetime->standard_error);
  }
  if (result.from_setting) {
    out->set_setting_difference(result.from_setting->mean);
    out->set_setting_standard_error(result.from_setting->standard_error);
  }
}

}  // namespace

absl::StatusOr<BacktestAsked> ReadBacktest(const v1::BacktestRequest& request, Instant latest) {
  BacktestAsked asked;
  if (request.has_as_of_time()) {
    const auto time = ReadTime("as_of_time", request.as_of_time(), latest);
    if (!time.ok()) return time.status();
    asked.as_of = *time;
  }
  if (request.half_lives_size() > kMostHalfLives) {
    return absl::InvalidArgumentError(
        absl::StrCat("half_lives: expected at most ", kMostHalfLives));
  }
  for (const auto& half_life : request.half_lives()) {
    const double days =
        (static_cast<double>(half_life.seconds()) + half_life.nanos() * 1e-9) / kSecondsPerDay;
    if (!(days >= kShortestDays && days <= kLongestDays)) {
      return absl::InvalidArgumentError("half_lives: expected 1 hour to 100 years");
    }
    asked.half_lives_days.push_back(days);
  }
  if (request.half_lives().empty()) {
    asked.half_lives_days.assign(std::begin(kUsualHalfLives), std::end(kUsualHalfLives));
  }
  if (request.has_days_ahead()) asked.days_ahead = request.days_ahead();
  if (asked.days_ahead < 0 || asked.days_ahead > kMostDaysAhead) {
    return absl::InvalidArgumentError("days_ahead: expected 0 to 365");
  }
  if (request.has_first_days()) asked.first_days = request.first_days();
  if (asked.first_days < 1 || asked.first_days > kMostFirstDays) {
    return absl::InvalidArgumentError("first_days: expected 1 to 3,650");
  }
  return asked;
}

void WriteBacktest(const BacktestAsked& asked, const BacktestAnswer& answer,
                   v1::BacktestResponse* out) {
  for (const ForecasterResult& result : answer.result.forecasters) {
    WriteForecaster(result, out->add_forecasters());
  }
  WriteTime(answer.as_of, out->mutable_as_of_time());
  if (answer.news) WriteTime(*answer.news, out->mutable_news_time());
  out->set_days_ahead(asked.days_ahead);
  out->set_order_count(answer.result.order_count);
  out->set_late_count(answer.result.late_count);
  out->set_first_due_date(FormatDay(answer.result.first_due));
  out->set_last_due_date(FormatDay(answer.result.last_due));
}

}  // namespace plumblane
