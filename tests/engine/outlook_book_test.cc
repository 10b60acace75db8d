// What is kept of outlooks changes none: those asked of several states, in any order and between
// random entries, are those of a book without a past.
#include "engine/outlook_book.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <utility>
#include <vector>

#include "engine/series_cache.h"
#include "support/applied_state.h"

namespace plumblane {
namespace {

using test::AppliedState;
using test::KeyedEvent;
using test::RandomOrders;

// What is asked of it, with a fleet that knows nothing.
OutlookBook::Source SourceOf(const AppliedState& state, const std::shared_ptr<const Fleet>& fleet) {
  const std::shared_ptr<const Snapshot> snapshot = state.store().TakeSnapshot();
  return {state.catalog().log_sequence, state.catalog().pairs, fleet,
          [snapshot](const Pair& pair) -> absl::StatusOr<std::shared_ptr<const MeasureSet>> {
            auto measures = ReadPair(*snapshot, pair, kLastMeasure);
            if (!measures.ok()) return measures.status();
            return std::make_shared<const MeasureSet>(*std::move(measures));
          }};
}

void ExpectSame(const Outlooks& ours, const Outlooks& expected) {
  ASSERT_EQ(ours.pairs.size(), expected.pairs.size());
  for (size_t i = 0; i < ours.pairs.size(); ++i) {
    ASSERT_EQ(ours.pairs[i].pair, expected.pairs[i].pair);
    ASSERT_TRUE(*ours.pairs[i].own == *expected.pairs[i].own);
    ASSERT_TRUE(*ours.pairs[i].lane == *expected.pairs[i].lane);
    ASSERT_TRUE(*ours.pairs[i].supplier == *expected.pairs[i].supplier);
  }
  EXPECT_TRUE(ours.all == expected.all);
}

TEST(OutlookBook, AskedOfStatesInAnyOrderSaysWhatOneWithoutAPastSays) {
  const auto fleet = std::make_shared<const Fleet>();
  int shared = 0;
  for (uint64_t seed = 1; seed <= 40; ++seed) {
    RandomOrders random(seed);
    AppliedState state;
    OutlookBook book;
    std::vector<OutlookBook::Source> sources;
    const std::vector<KeyedEvent> events = random.Make(100);
    for (size_t at = 0; at < events.size();) {
      Submission content;
      for (int i = random.Below(12); i >= 0 && at < events.size(); --i, ++at) {
        content.events.push_back({events[at].order, events[at].event});
      }
      const Applied applied = state.Apply(content);
      book.Note(state.catalog().log_sequence, applied.cells);
      sources.push_back(SourceOf(state, fleet));
      for (int more = random.Below(4); more > 0; --more) {
        const auto latest = static_cast<int>(std::min<size_t>(sources.size(), 3));
        const OutlookBook::Source& source =
            sources[sources.size() - 1 - static_cast<size_t>(random.Below(latest))];
        const Instant now = StartOf(Day{20'000 + 60 + 30 * (random.Below(8) / 7)});
        const OutlookBook::Question question{
            EndedDays({now, now, DayOf(now)}), {}, random.Below(2) == 0 ? "DE" : "SE"};
        OutlookBook without_past;
        const auto ours = book.Ask(question, source);
        const auto again = book.Ask(question, source);
        const auto expected = without_past.Ask(question, source);
        ASSERT_TRUE(ours.ok() && again.ok() && expected.ok());
        ASSERT_NO_FATAL_FAILURE(ExpectSame(**ours, **expected)) << "seed " << seed;
        shared += *ours == *again && !(*ours)->pairs.empty();
      }
    }
  }
  EXPECT_GT(shared, 100) << "nothing is kept";
}

}  // namespace
}  // namespace plumblane
