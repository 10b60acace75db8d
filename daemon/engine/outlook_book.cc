#include "engine/outlook_book.h"

#include <algorithm>
#include <utility>

#include "cohorts/buckets.h"

namespace plumblane {
namespace {

bool IsTimed(Measure measure) {
  return measure == Measure::kDelivery || measure == Measure::kResponse;
}

// Whether an outlook as of `ended` would count any of the change.
bool Shows(const CellKey& key, const Cell& change, const Moment& ended) {
  if (!IsTimed(key.measure) && key.measure != Measure::kDefect && key.measure != Measure::kMoney) {
    return false;
  }
  if (EndOf(key.day) > ended.horizon) return false;
  if (!IsTimed(key.measure)) return true;
  const int64_t watch = WatchMillis(key.day, ended);
  bool shows = false;
  VisitTallies(change, Scope::kWithExcused, [&](const Tally& tally) {
    shows = shows || tally.entered != 0 ||
            std::any_of(tally.outcomes.begin(), tally.outcomes.end(), [&](const Outcome& outcome) {
              return BucketEndMillis(outcome.bucket) <= watch;
            });
  });
  return shows;
}

}  // namespace

bool OutlookBook::IsAsked(const Question& question) const {
  return question.ended.now == asked_.ended.now && question.ended.horizon == asked_.ended.horizon &&
         question.rules.half_life_days == asked_.rules.half_life_days &&
         question.rules.claim_window_days == asked_.rules.claim_window_days;
}

std::shared_ptr<const Outlook> OutlookBook::Find(const Question& question, uint64_t sequence,
                                                 const Pair& pair) {
  std::lock_guard lock(mutex_);
  if (!IsAsked(question) || sequence < since_) return nullptr;
  const auto kept = kept_.find(pair);
  if (kept == kept_.end()) return nullptr;
  const auto changed = changed_.find(pair);
  const bool same =
      changed == changed_.end() || changed->second <= std::min(sequence, kept->second.sequence);
  return same ? kept->second.outlook : nullptr;
}

void OutlookBook::Keep(const Question& question, uint64_t sequence, const Pair& pair,
                       std::shared_ptr<const Outlook> outlook) {
  std::lock_guard lock(mutex_);
  if (!IsAsked(question)) {
    asked_ = question;
    since_ = noted_;
    changed_.clear();
    kept_.clear();
  }
  if (sequence >= since_) kept_[pair] = {sequence, std::move(outlook)};
}

void OutlookBook::Note(uint64_t sequence, const Cells& changes) {
  std::lock_guard lock(mutex_);
  noted_ = sequence;
  for (const auto& [key, cell] : changes.map()) {
    if (Shows(key, cell, asked_.ended)) changed_[key.pair] = sequence;
  }
}

}  // namespace plumblane
