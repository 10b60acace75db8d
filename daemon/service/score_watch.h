// Which changes of scores a reader is told.
//
// A change is one against what this reader was told or has seen before, so nothing that lasts is
// missed, however long it was away or however slow it is; exports.proto says what that promises.
#pragma once

#include <absl/status/statusor.h>
#include <plumblane/v1/exports.pb.h>

#include <functional>
#include <map>
#include <memory>
#include <set>
#include <string>
#include <vector>

#include "engine/view.h"

namespace plumblane {

// What is watched of all scores, at one state; by kind and name. Immutable.
struct ScoreTable {
  struct Line {
    v1::ScoreKind kind = v1::SCORE_KIND_UNSPECIFIED;
    v1::ScoreFigures figures;
    int64_t order_count = 0;
  };
  Instant as_of;
  std::vector<Line> lines;
};

// Takes as long as all those scores do. Error besides those of the store: CANCELLED once `give_up`,
// asked now and then, says so.
absl::StatusOr<ScoreTable> ReadScoreTable(const View& view, const std::set<v1::ScoreKind>& kinds,
                                          const std::function<bool()>& give_up);

struct WatchAsked {
  std::set<v1::ScoreKind> kinds;
  double share_change = 0, delivery_days_change = 0;
  std::map<std::string, v1::ScoreFigures> seen;
};
absl::StatusOr<WatchAsked> ReadWatch(const v1::WatchScoresRequest& request);

// Goes round the latest table, from where it stands: a reader that is slower than the tables change
// is told of all names in turn. Memory: what it was told last, one line a name. Belongs to one
// thread at a time.
class ScoreTeller {
 public:
  explicit ScoreTeller(WatchAsked asked) : asked_(std::move(asked)) {}

  const std::set<v1::ScoreKind>& kinds() const { return asked_.kinds; }
  void Offer(std::shared_ptr<const ScoreTable> table);
  // Fills the next change, or says false: all of the latest table is told.
  bool Next(v1::ScoreChange& change);

 private:
  WatchAsked asked_;
  std::shared_ptr<const ScoreTable> table_;
  size_t at_ = 0;    // the line to look at next
  size_t left_ = 0;  // lines not looked at since the table came
};

}  // namespace plumblane
