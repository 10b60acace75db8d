#include "service/score_watch.h"

#include <absl/strings/str_cat.h>

#include <cmath>
#include <utility>

#include "service/exporting.h"

namespace plumblane {
namespace {

constexpr int kMostSeen = 20'000;
constexpr double kUsualShareChange = .05, kUsualDaysChange = 1;
// Steps that a share of a few decimals does not meet by rounding alone are not held against it.
constexpr double kRounding = 1e-9;

double Days(const google::protobuf::Duration& duration) {
  return (static_cast<double>(duration.seconds()) + duration.nanos() / 1e9) / 86400;
}

bool Differs(bool had, double before, bool has, double now, double least) {
  if (had != has) return true;
  return has && std::abs(now - before) >= least - kRounding;
}

void NoteChanges(const WatchAsked& asked, const v1::ScoreFigures& before,
                 const v1::ScoreFigures& now, v1::ScoreChange& change) {
  if (Differs(before.has_on_time(), before.on_time(), now.has_on_time(), now.on_time(),
              asked.share_change)) {
    change.add_changed("on_time");
  }
  if (Differs(before.has_defect(), before.defect(), now.has_defect(), now.defect(),
              asked.share_change)) {
    change.add_changed("defect");
  }
  if (Differs(before.has_delivery_median(), Days(before.delivery_median()),
              now.has_delivery_median(), Days(now.delivery_median()), asked.delivery_days_change)) {
    change.add_changed("delivery_median");
  }
}

v1::ScoreFigures FiguresOf(const v1::Score& score) {
  v1::ScoreFigures figures;
  figures.set_name(score.name());
  if (score.on_time().has_estimate()) figures.set_on_time(score.on_time().estimate());
  if (score.defect().has_estimate()) figures.set_defect(score.defect().estimate());
  if (score.delivery().has_median()) {
    *figures.mutable_delivery_median() = score.delivery().median();
  }
  return figures;
}

}  // namespace

absl::StatusOr<ScoreTable> ReadScoreTable(const View& view, const std::set<v1::ScoreKind>& kinds,
                                          const std::function<bool()>& give_up) {
  ScoreTable table;
  table.as_of = view.now();
  for (const v1::ScoreKind kind : kinds) {
    ScoreExport scores(view, {}, {kind});
    while (true) {
      if (give_up()) return absl::CancelledError("stopped");
      v1::Score score;
      const absl::StatusOr<bool> more = scores.Next(score);
      if (!more.ok()) return more.status();
      if (!*more) break;
      table.lines.push_back({kind, FiguresOf(score), score.on_time().order_count()});
    }
  }
  return table;
}

absl::StatusOr<WatchAsked> ReadWatch(const v1::WatchScoresRequest& request) {
  WatchAsked asked;
  for (const int kind : request.kinds()) {
    if (kind <= v1::SCORE_KIND_UNSPECIFIED || kind > v1::SCORE_KIND_PAIR) {
      return absl::InvalidArgumentError("kinds: expected suppliers, lanes or pairs");
    }
    asked.kinds.insert(static_cast<v1::ScoreKind>(kind));
  }
  if (asked.kinds.empty()) asked.kinds = {v1::SCORE_KIND_SUPPLIER};
  const double share = request.share_change();
  if (!(share >= 0 && share <= 1)) {
    return absl::InvalidArgumentError("share_change: expected above 0, at most 1");
  }
  asked.share_change = share == 0 ? kUsualShareChange : share;
  asked.delivery_days_change =
      request.has_delivery_change() ? Days(request.delivery_change()) : kUsualDaysChange;
  if (!(asked.delivery_days_change > 0)) {
    return absl::InvalidArgumentError("delivery_change: expected more than no time");
  }
  if (request.seen_size() > kMostSeen) {
    return absl::InvalidArgumentError(absl::StrCat("seen: expected at most ", kMostSeen));
  }
  for (const v1::ScoreFigures& seen : request.seen()) asked.seen[seen.name()] = seen;
  return asked;
}

void ScoreTeller::Offer(std::shared_ptr<const ScoreTable> table) {
  if (table == table_) return;
  table_ = std::move(table);
  left_ = table_->lines.size();
}

bool ScoreTeller::Next(v1::ScoreChange& change) {
  while (left_ > 0) {
    --left_;
    if (at_ >= table_->lines.size()) at_ = 0;
    const ScoreTable::Line& line = table_->lines[at_++];
    if (!asked_.kinds.contains(line.kind)) continue;
    const auto [seen, is_new] = asked_.seen.try_emplace(line.figures.name(), line.figures);
    change.Clear();
    if (!is_new) {
      NoteChanges(asked_, seen->second, line.figures, change);
      if (change.changed().empty()) continue;
      *change.mutable_before() = std::exchange(seen->second, line.figures);
    }
    *change.mutable_now() = line.figures;
    change.mutable_as_of_time()->set_seconds(table_->as_of.millis / kMillisPerSecond);
    change.set_order_count(line.order_count);
    return true;
  }
  return false;
}

}  // namespace plumblane
