#include "client/show_backtest.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_format.h>

#include <algorithm>
#include <cmath>

#include "client/show.h"
#include "client/table.h"
#include "client/text.h"

namespace plumblane::client {
namespace {

using Align = Table::Align;

std::string NameOf(const v1::Forecaster& forecaster) {
  switch (forecaster.kind()) {
    case v1::Forecaster::KIND_HALF_LIFE:
      return absl::StrCat("half-life ", HalfLifeText(forecaster.half_life()),
                          forecaster.is_setting() ? " (your setting)" : "");
    case v1::Forecaster::KIND_LIFETIME:
      return "all orders alike";
    case v1::Forecaster::KIND_LAST_30_DAYS:
      return "last 30 days";
    case v1::Forecaster::KIND_LIFETIME_ALONE:
      return "all orders alike, ignoring others";
    case v1::Forecaster::KIND_LAST_30_DAYS_ALONE:
      return "last 30 days, ignoring others";
    case v1::Forecaster::KIND_ALL_PAIRS:
      return "one rate for everybody";
    default:
      return "unknown";
  }
}

std::string DifferenceText(const v1::Forecaster& forecaster) {
  if (forecaster.is_setting()) return "";
  if (!forecaster.has_setting_difference()) return "-";
  std::string difference = absl::StrFormat("%+.4f", forecaster.setting_difference());
  if (difference.substr(1) == "0.0000") difference[0] = ' ';
  return absl::StrFormat("%s ± %.4f", difference, forecaster.setting_standard_error());
}

// By more than chance: -1 better than the setting, 1 worse, 0 not to be told.
int Against(const v1::Forecaster& forecaster) {
  if (!forecaster.has_setting_difference()) return 0;
  const double difference = forecaster.setting_difference();
  if (std::fabs(difference) <= 2 * forecaster.setting_standard_error()) return 0;
  return difference < 0 ? -1 : 1;
}

const v1::Forecaster* BestHalfLife(const v1::BacktestResponse& answer) {
  for (const v1::Forecaster& forecaster : answer.forecasters()) {
    if (forecaster.kind() == v1::Forecaster::KIND_HALF_LIFE) return &forecaster;
  }
  return nullptr;
}

const v1::Forecaster* Setting(const v1::BacktestResponse& answer) {
  for (const v1::Forecaster& forecaster : answer.forecasters()) {
    if (forecaster.is_setting()) return &forecaster;
  }
  return nullptr;
}

// "30" or "0.5", as the settings file takes it.
std::string Days(const google::protobuf::Duration& half_life) {
  return absl::StrFormat("%.6g", static_cast<double>(half_life.seconds()) / 86'400);
}

std::string OrdersText(const v1::BacktestResponse& answer) {
  return absl::StrCat(
      "Forecast: ", Counted(answer.order_count(), "order"), " due from ", answer.first_due_date(),
      " to ", answer.last_due_date(), ", of which ", Thousands(answer.late_count()),
      " came late; each from what was known ",
      answer.days_ahead() == 0 ? "on" : Counted(answer.days_ahead(), "day") + " before",
      " its promised day.");
}

}  // namespace

std::string BacktestAdvice(const v1::BacktestResponse& answer) {
  const v1::Forecaster &best = *BestHalfLife(answer), &setting = *Setting(answer);
  const std::string own = HalfLifeText(setting.half_life());
  if (&best == &setting) {
    return absl::StrCat("Leave the half-life at ", own,
                        ": none of the others would have foretold late orders better.");
  }
  const std::string other = HalfLifeText(best.half_life());
  if (!best.has_setting_difference()) {
    return absl::StrCat("Leave the half-life at ", own, ": ", other,
                        " did better on these few days, which is too little to judge by.");
  }
  if (Against(best) == 0) {
    return absl::StrCat("Leave the half-life at ", own, ": ", other,
                        " would have done a little better, but no more than chance would have it.");
  }
  return absl::StrCat("Consider a half-life of ", other, ": it would have done better than ", own,
                      " by more than chance. Set half_life_days = ", Days(best.half_life()),
                      " under [scores] in the daemon's settings file and start it again.");
}

std::string ShowBacktest(const v1::BacktestResponse& answer, int width) {
  Table table({{"forecast by"}, {"loss", Align::kRight}, {"against your setting"}});
  for (const v1::Forecaster& forecaster : answer.forecasters()) {
    table.Add({NameOf(forecaster), absl::StrFormat("%.4f", forecaster.log_loss()),
               DifferenceText(forecaster)});
  }
  std::string text = absl::StrCat(table.Render(width), "\n");
  if (BestHalfLife(answer) != nullptr && Setting(answer) != nullptr) {
    text += Wrapped(BacktestAdvice(answer), width);
  }
  const v1::Forecaster& first = answer.forecasters(0);
  if (first.kind() == v1::Forecaster::KIND_ALL_PAIRS && Against(first) < 0) {
    text += Wrapped(
        "One rate for everybody did better than any half-life: so far your suppliers and lanes "
        "cannot be told apart by their late orders.",
        width);
  }
  text += Wrapped(OrdersText(answer), width);
  text += Wrapped(
      "Loss: how far forecasts were from what happened, per order (log loss); less is better. A "
      "difference is more than chance when it exceeds twice the figure behind ±.",
      width);
  const std::string holds = HoldsFor(answer);
  return holds.empty() ? text : text + Wrapped(holds, width);
}

}  // namespace plumblane::client
