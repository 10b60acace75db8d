#include <absl/strings/str_cat.h>

#include <algorithm>
#include <utility>

#include "engine/view.h"

namespace plumblane {
namespace {

absl::Status TooLittle(const std::vector<OnTimeHistory>& histories, const Moment& moment,
                       const BacktestRules& rules) {
  std::optional<Day> first, last;
  for (const OnTimeHistory& history : histories) {
    for (const Cohort& cohort : Watched(history.on_time, moment)) {
      if (cohort.cell.counted.entered == 0) continue;
      first = std::min(first.value_or(cohort.day), cohort.day);
      last = std::max(last.value_or(cohort.day), cohort.day);
    }
  }
  const int learnt = LearntDays(rules);
  const std::string needed =
      absl::StrCat("a backtest learns from the first ", learnt, learnt == 1 ? " day" : " days",
                   " of settled orders and forecasts those after");
  if (!first) {
    return absl::FailedPreconditionError(
        absl::StrCat("too little history: no order with a promise has settled yet; ", needed));
  }
  return absl::FailedPreconditionError(absl::StrCat(
      "too little history: orders settled so far were due from ", FormatDay(*first), " to ",
      FormatDay(*last), ", ", *last - *first + 1, *last == *first ? " day; " : " days; ", needed));
}

}  // namespace

absl::StatusOr<BacktestAnswer> View::Backtest(const BacktestAsked& asked,
                                              const std::function<bool()>& give_up) const {
  std::vector<OnTimeHistory> histories;
  const Snapshot::Scanner cells = snapshot_->ScannerOf(Space::kCells);
  for (const Pair& pair : catalog_->pairs->by_supplier) {
    if (give_up && give_up()) return absl::CancelledError("given up");
    auto measures = ReadPair(cells, pair, Measure::kOnTime);
    if (!measures.ok()) return measures.status();
    histories.push_back({pair, std::move((*measures)[Measure::kOnTime])});
  }
  const BacktestRules rules{.setting_days = rules_.half_life_days,
                            .half_lives_days = asked.half_lives_days,
                            .days_ahead = asked.days_ahead,
                            .first_days = asked.first_days,
                            .settle_delay_millis = rules_.settle_delay_millis};
  const Moment moment = MomentOf(asked.as_of);
  auto result = plumblane::Backtest(histories, moment, rules, give_up);
  if (!result && give_up && give_up()) return absl::CancelledError("given up");
  if (!result) return TooLittle(histories, moment, rules);
  return BacktestAnswer{asked.as_of.value_or(now_), catalog_->NewsHorizon(), *std::move(result)};
}

}  // namespace plumblane
