#include "scoring/spans.h"

#include <algorithm>
#include <utility>

namespace plumblane {

size_t KeptSpans::Sums::bytes() const {
  size_t bytes = before ? before->bytes() : 0;
  for (const auto& one : spans) bytes += one->bytes() + sizeof one;
  return bytes;
}

KeptSpans::KeptSpans(const KeptSpans& other) {
  std::lock_guard lock(other.mutex_);
  bytes_ = other.bytes_;
  kept_ = other.kept_;
  for (Kept& kept : kept_) {
    if (kept.sums) kept.sums = std::make_shared<Sums>(*kept.sums);
  }
}

std::shared_ptr<const KeptSpans::Sums> KeptSpans::Of(Measure measure, const Rules& rules) const {
  static const auto kNone = std::make_shared<const Sums>();
  std::lock_guard lock(mutex_);
  const Kept& kept = kept_[static_cast<size_t>(IndexOf(measure))];
  return kept.sums && kept.rules == rules ? kept.sums : kNone;
}

void KeptSpans::Keep(Measure measure, const Rules& rules, Sums sums) {
  std::lock_guard lock(mutex_);
  Kept& kept = kept_[static_cast<size_t>(IndexOf(measure))];
  if (kept.sums) bytes_ -= kept.sums->bytes();
  bytes_ += sums.bytes();
  // Somebody may still be going through those before.
  kept = {rules, std::make_shared<Sums>(std::move(sums))};
  if (kept.sums->before) kept.last_span = kept.sums->before->span;
  if (!kept.sums->spans.empty()) kept.last_span = kept.sums->spans.back()->span;
}

void KeptSpans::Forget(Measure measure, Day day) {
  const Kept& kept = kept_[static_cast<size_t>(IndexOf(measure))];
  const int32_t span = SpanOf(day);
  // Mostly what changes is later, and nothing need be looked at.
  if (!kept.sums || span > kept.last_span) return;
  Sums& sums = *kept.sums;
  if (sums.before && span <= sums.before->span) {
    bytes_ -= sums.before->bytes();
    sums.before.reset();
    return;
  }
  const auto found = std::find_if(sums.spans.begin(), sums.spans.end(),
                                  [&](const auto& one) { return one->span == span; });
  if (found == sums.spans.end()) return;
  bytes_ -= (*found)->bytes() + sizeof *found;
  sums.spans.erase(found);
}

size_t KeptSpans::bytes() const {
  std::lock_guard lock(mutex_);
  return bytes_;
}

}  // namespace plumblane
