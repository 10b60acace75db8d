#include "service/write_answer.h"

namespace plumblane {
namespace {

constexpr double kSecondsPerDay = 86400;

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
