#include <absl/strings/str_cat.h>

#include <algorithm>
#include <iterator>

#include "engine/view.h"
#include "storage/cell_codec.h"
#include "storage/keys.h"

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

absl::StatusOr<Series> View::ReadOnTime(const Pair& pair) const {
  Series series;
  absl::Status bad;
  const absl::Status scanned = snapshot_->Scan(
      Space::kCells, CellPrefix(pair, Measure::kOnTime), "", [&](auto key, auto value) {
        const auto page = ParseCellPageKey(key);
        bad.Update(page.status());
        if (!page.ok()) return false;
        auto days = DecodePage(page->first_day, value);
        bad.Update(days.status());
        if (!days.ok()) return false;
        std::move(days->begin(), days->end(), std::back_inserter(series));
        return true;
      });
  bad.Update(scanned);
  if (!bad.ok()) return bad;
  return series;
}

absl::StatusOr<BacktestAnswer> View::Backtest(const BacktestAsked& asked) const {
  std::vector<OnTimeHistory> histories;
  for (const Pair& pair : catalog_->pairs->by_supplier) {
    auto on_time = ReadOnTime(pair);
    if (!on_time.ok()) return on_time.status();
    histories.push_back({pair, *std::move(on_time)});
  }
  const BacktestRules rules{.setting_days = rules_.half_life_days,
                            .half_lives_days = asked.half_lives_days,
                            .days_ahead = asked.days_ahead,
                            .first_days = asked.first_days,
                            .settle_delay_millis = rules_.settle_delay_millis};
  const Moment moment = MomentOf(asked.as_of);
  auto result = plumblane::Backtest(histories, moment, rules);
  if (!result) return TooLittle(histories, moment, rules);
  return BacktestAnswer{asked.as_of.value_or(now_), catalog_->NewsHorizon(), *std::move(result)};
}

}  // namespace plumblane
