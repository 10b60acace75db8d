// What exports send, message by message, of one view.
//
// Each call fills an empty message and says true, or says false: there are no more. Errors: those
// of the store. Each object belongs to one export, and to one thread at a time.
//
// Cells and orders are those of the view to the end. The priors of scores, which are fitted to all
// pairs, may follow later events of days that have ended already, while an export goes on.
#pragma once

#include <absl/status/statusor.h>
#include <plumblane/v1/exports.pb.h>

#include <deque>
#include <optional>
#include <set>
#include <string>
#include <utility>
#include <vector>

#include "engine/export.h"
#include "engine/view.h"

namespace plumblane {

// Suppliers, lanes and pairs, by name within each kind. Takes as long for one as the score of it
// does; the first waits for the priors.
class ScoreExport {
 public:
  // `kinds` none = all.
  ScoreExport(View view, Asked asked, std::set<v1::ScoreKind> kinds = {});
  absl::StatusOr<bool> Next(v1::Score& score);

 private:
  absl::Status Fill();

  const View view_;
  const Asked asked_;
  std::vector<v1::ScoreKind> kinds_;  // still to come, the next one last
  std::string after_;                 // within the kind, name of the last one read
  std::optional<Pair> last_pair_;
  std::deque<std::pair<Basis, ScoreAnswer>> waiting_;
};

class CohortExport {
 public:
  explicit CohortExport(View view) : view_(std::move(view)) {}
  absl::StatusOr<bool> Next(v1::CohortBatch& batch);

 private:
  const View view_;
  std::string place_;
};

// A promise that was implied by a quote or terms is written as a moment where it counts: where no
// event in effect of the same part states one.
class EventExport {
 public:
  explicit EventExport(View view) : view_(std::move(view)) {}
  absl::StatusOr<bool> Next(v1::EventBatch& batch);

 private:
  const View view_;
  std::string place_;
  std::deque<StoredOrder> waiting_;
  int64_t batches_ = 0;
};

class AssignmentExport {
 public:
  explicit AssignmentExport(View view) : view_(std::move(view)) {}
  absl::StatusOr<bool> Next(v1::Assignment& assignment);

 private:
  const View view_;
  std::string place_;
  std::deque<StoredAssignment> waiting_;
};

}  // namespace plumblane
