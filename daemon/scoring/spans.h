// Sums over spans of 32 days and over all that is older, and the memory of them.
//
// A score needs of old cohorts only sums: how many orders, how much weight, and how much of it
// leaves in each bucket. They are added up span by span, the oldest first. What was added so far is
// relative to the last day of its last span; that of the next is so many days later, which is one
// factor for all of it (decay.h). So the sums of one span, or of all up to one, serve every later
// moment once all in them is known: a score goes through one sum of all that is older than two
// whole spans, as far as that holds, and through what is younger, however many days there are.
//
// Sums kept and sums made anew are equal bit by bit: they add up the same outcomes by the same
// weights in the same order. So does an earlier moment to which some of a span's outcomes are not
// known: it adds up those that are.
#pragma once

#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <mutex>
#include <optional>
#include <span>
#include <utility>
#include <vector>

#include "cohorts/cell.h"
#include "cohorts/measure.h"

namespace plumblane {

inline constexpr int32_t kSpanDays = 32;
// So many whole spans are kept each by itself, as what comes in still changes them.
inline constexpr int32_t kYoungSpans = 2;

// Spans are whole multiples of their days since 1970, so that they do not depend on where a series
// begins.
constexpr int32_t SpanOf(Day day) { return day.number / kSpanDays; }
constexpr Day LastDayOf(int32_t span) { return {(span + 1) * kSpanDays - 1}; }

// What the cohorts of one span, or all up to one, come to; weights are relative to its last day.
// Each measure has a kind of its own.
struct KeptSums {
  int32_t span = 0;
  virtual ~KeptSums() = default;
  virtual size_t bytes() const = 0;
};

// The sums of whole spans of one pair, in Scope::kCounted unless they tell scopes apart, of each
// measure by the rules asked last and of as much as was asked about. Belongs to one state of
// the pair's cells: who changes them, copies it first when somebody else may be reading, and
// forgets the days changed.
//
// Thread-safe, but for Forget.
class KeptSpans {
 public:
  // What sums depend on besides cells; 0 where they do not.
  struct Rules {
    double half_life_days = 0;
    int window_days = 0;
    bool operator==(const Rules&) const = default;
  };
  struct Sums {
    std::shared_ptr<const KeptSums> before;              // of all up to its span; null: not kept
    std::vector<std::shared_ptr<const KeptSums>> spans;  // of later ones, ascending, none null
    size_t bytes() const;
  };

  KeptSpans() = default;
  KeptSpans(const KeptSpans& other);
  KeptSpans& operator=(const KeptSpans&) = delete;

  std::shared_ptr<const Sums> Of(Measure measure, const Rules& rules) const;  // not null
  // REQUIRES: all of the measure's kind.
  void Keep(Measure measure, const Rules& rules, Sums sums);
  void Forget(Measure measure, Day day);

  size_t bytes() const;

 private:
  struct Kept {
    Rules rules;
    std::shared_ptr<Sums> sums;  // null: none
    int32_t last_span = 0;       // of the latest of them, or later
  };

  mutable std::mutex mutex_;
  size_t bytes_ = sizeof(KeptSpans);
  std::array<Kept, kMeasureCount> kept_;
};

// Adds up `cohorts`, all of a series up to `newest` or an earlier day, with the help of `kept` and
// to its benefit; null: by itself. Afterwards weights in `sum`, which was empty, are relative to
// `newest`. A Sum, which knows moment and rules, has
//   Sums                            a KeptSums
//   void Count(cohorts, anchor)     adds what is known of one span; weights are, like those added
//                                   before, relative to `anchor`
//   Sums Make(cohorts, anchor)      the same by itself
//   bool Holds(sums)                whether Make of those cohorts, whole spans, comes to `sums` at
//                                   this moment; what holds then, holds at every later one
//   bool MayHold(last)              false: no sums of a span that ends then do
//   void Add(sums)                  of the same anchor
//   void Decay(days)                makes all relative to a day so much later
//   Sums Total()                    what was added
// REQUIRES: `cohorts` ascending, none after `newest`.
template <typename Sum>
void AddUp(std::span<const Cohort> cohorts, Day newest, Measure measure,
           const KeptSpans::Rules& rules, KeptSpans* kept, Sum& sum) {
  using Sums = typename Sum::Sums;
  std::shared_ptr<const KeptSpans::Sums> known;
  if (kept) known = kept->Of(measure, rules);
  std::optional<KeptSpans::Sums> more;  // to be kept instead
  const auto change = [&]() -> KeptSpans::Sums& {
    if (!more) more = *known;
    return *more;
  };
  std::optional<Day> reached;
  if (known && known->before && LastDayOf(known->before->span) <= newest) {
    const auto& before = static_cast<const Sums&>(*known->before);
    if (sum.Holds(before)) {
      sum.Add(before);
      reached = LastDayOf(before.span);
      const auto later = static_cast<size_t>(newest - *reached);
      const auto most = cohorts.last(std::min(cohorts.size(), later));
      const auto first = std::partition_point(
          most.begin(), most.end(), [&](const Cohort& one) { return one.day <= *reached; });
      cohorts = most.last(static_cast<size_t>(most.end() - first));
    }
  }
  const auto keep_before = [&] {
    const int32_t last = SpanOf(*reached);
    if (!kept || (known->before && last <= known->before->span)) return;
    auto total = std::make_shared<Sums>(sum.Total());
    total->span = last;
    KeptSpans::Sums& now = change();
    now.before = std::move(total);
    std::erase_if(now.spans, [last](const auto& one) { return one->span <= last; });
  };
  const int32_t old = SpanOf(newest) - kYoungSpans - 1;
  bool lasts = true;  // what was added so far is old and holds
  while (!cohorts.empty()) {
    const int32_t span = SpanOf(cohorts.front().day);
    const auto most = cohorts.first(std::min<size_t>(cohorts.size(), kSpanDays));
    const auto end = std::partition_point(
        most.begin(), most.end(), [&](const Cohort& one) { return SpanOf(one.day) == span; });
    const auto own = most.first(static_cast<size_t>(end - most.begin()));
    cohorts = cohorts.subspan(own.size());
    const Day anchor = std::min(LastDayOf(span), newest);
    const auto at = [span](const auto& sums) {
      return std::partition_point(sums.begin(), sums.end(),
                                  [span](const auto& one) { return one->span < span; });
    };
    const Sums* found = nullptr;
    std::optional<Sums> made;  // what can not be kept needs no sum of its own
    bool holds = anchor == LastDayOf(span) && sum.MayHold(anchor);
    if (holds) {
      if (known) {
        const auto place = at(known->spans);
        if (place != known->spans.end() && (*place)->span == span) {
          found = static_cast<const Sums*>(place->get());
        }
      }
      if (!found || !sum.Holds(*found)) {
        made = sum.Make(own, anchor);
        made->span = span;
        holds = sum.Holds(*made);
      }
    }
    if (lasts && reached && (!holds || span > old)) keep_before();
    lasts = lasts && holds && span <= old;
    if (reached) sum.Decay(anchor - *reached);
    reached = anchor;
    if (!made && !holds) {
      sum.Count(own, anchor);
    } else {
      sum.Add(made ? *made : *found);
    }
    if (!kept || !made || !holds || (known->before && span <= known->before->span)) continue;
    auto& spans = change().spans;
    spans.insert(at(spans), std::make_shared<const Sums>(*std::move(made)));
  }
  if (lasts && reached) keep_before();
  if (reached) sum.Decay(newest - *reached);
  if (more) kept->Keep(measure, rules, *std::move(more));
}

}  // namespace plumblane
