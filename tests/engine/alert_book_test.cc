// The book of watches on cells made by hand: slow lanes are watched together, and stepping day by
// day shows what watching all days anew shows.
#include "engine/alert_book.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "alerting/draws.h"

namespace plumblane {
namespace {

using ::testing::IsEmpty;
using ::testing::SizeIs;

constexpr Day kStart{20'000};

// A fleet of slow lanes to Sweden, one order a fortnight each, and a busy one to Germany; from
// `worse` on half of the Swedish orders are late.
class Fleet {
 public:
  Fleet(int days, int worse) {
    for (int lane = 0; lane < 8; ++lane) {
      Add({"lotus", {"O" + std::to_string(lane), "SE", ""}}, days, 0, worse,
          static_cast<uint64_t>(lane));
    }
    Add({"amber", {"VN", "DE", ""}}, days, 3, days, 99);
    for (const auto& [pair, cells] : cells_) {
      AddSeries((*total_)[Measure::kOnTime], (*cells)[Measure::kOnTime]);
    }
  }
  // What is known on the day; settled up to the day before.
  AlertBook::Source On(int day) const {
    AlertBook::Source source;
    source.sequence = 1;
    source.pairs = pairs_;
    source.told = told_;
    source.read = [this](const Pair& pair, bool) -> absl::StatusOr<Measures> {
      return pair == Pair{} ? total_ : cells_.at(pair);
    };
    source.now = StartOf(kStart + day) + kMillisPerDay;
    source.horizon = StartOf(kStart + day);
    return source;
  }

 private:
  // `a_day` 0: one order a fortnight.
  void Add(const Pair& pair, int days, double a_day, int worse, uint64_t stream) {
    Draws draws(5, stream);
    auto cells = std::make_shared<MeasureSet>();
    for (int day = 0; day < days; ++day) {
      Cohort cohort;
      cohort.day = kStart + day;
      const bool fortnightly = day % 14 == static_cast<int>(stream);
      cohort.cell.counted.entered = a_day > 0 ? draws.Count(a_day) : fortnightly;
      const int64_t late = draws.Hits(cohort.cell.counted.entered, day < worse ? .08 : .5);
      if (cohort.cell.counted.entered == 0) continue;
      (*cells)[Measure::kUnderway].push_back(cohort);
      if (late > 0) cohort.cell.counted.Add(Code::kDeliveredLate, 2, late);
      (*cells)[Measure::kOnTime].push_back(cohort);
      Tally& tally = (*cells)[Measure::kOnTime].back().cell.counted;
      if (tally.entered > late) tally.Add(Code::kDelivered, 0, tally.entered - late);
    }
    cells_[pair] = cells;
    pairs_->Insert(pair);
  }

  std::map<Pair, std::shared_ptr<MeasureSet>> cells_;
  std::shared_ptr<MeasureSet> total_ = std::make_shared<MeasureSet>();
  std::shared_ptr<PairDirectory> pairs_ = std::make_shared<PairDirectory>();
  std::shared_ptr<AlertsTold> told_ = std::make_shared<AlertsTold>();
};

TEST(AlertBook, SlowLanesAreHeardOfTogether) {
  const Fleet fleet(500, 400);
  AlertBook book;
  ASSERT_TRUE(book.Update(fleet.On(499)).ok());
  const WatchKey pool{"", "", "SE", AlertMeasure::kOnTime};
  const AlertNotice* raised = nullptr;
  const auto news = book.News({}, StartOf(kStart + 500));
  for (const AlertNotice& one : news) {
    if (one.key == pool && one.facts.opened > kStart + 400) raised = &one;
  }
  ASSERT_NE(raised, nullptr);
  EXPECT_THAT(raised->pooled, SizeIs(8));
  int shown = 0;
  for (const AlertBook::Shown& one : book.Watches()) {
    if (one.key != pool) continue;
    ++shown;
    EXPECT_THAT(one.pooled, SizeIs(8));
  }
  EXPECT_EQ(shown, 1);
}

TEST(AlertBook, SteppingShowsWhatWatchingAnewShows) {
  const Fleet fleet(500, 400);
  AlertBook stepped;
  for (int day = 1; day < 500; ++day) {
    ASSERT_TRUE(stepped.Update(fleet.On(day)).ok());
    if (day % 83 != 0 && day != 499) continue;
    AlertBook anew;
    ASSERT_TRUE(anew.Update(fleet.On(day)).ok());
    const Instant now = StartOf(kStart + day);
    EXPECT_EQ(stepped.News({}, now), anew.News({}, now)) << "on day " << day;
    const auto ours = stepped.Watches(), theirs = anew.Watches();
    ASSERT_EQ(ours.size(), theirs.size());
    for (size_t i = 0; i < ours.size(); ++i) {
      EXPECT_EQ(ours[i].key, theirs[i].key);
      EXPECT_TRUE(ours[i].plan == theirs[i].plan) << "on day " << day;
      EXPECT_EQ(ours[i].warning, theirs[i].warning);
    }
  }
}

// A clock or a feed's news that go back take nothing back.
TEST(AlertBook, TheHorizonNeverFalls) {
  const Fleet fleet(500, 400);
  AlertBook book;
  ASSERT_TRUE(book.Update(fleet.On(499)).ok());
  const Instant now = StartOf(kStart + 500);
  const auto news = book.News({}, now);
  ASSERT_FALSE(news.empty());
  AlertBook::Source back = fleet.On(300);
  back.now = fleet.On(499).now;
  ASSERT_TRUE(book.Update(back).ok());
  EXPECT_EQ(book.News({}, now), news);
}

// Nothing is told in between, and nothing is lost.
TEST(AlertBook, AnUpdateThatFailsIsMadeUpFor) {
  const Fleet fleet(500, 400);
  const Instant now = StartOf(kStart + 500);
  AlertBook anew;
  ASSERT_TRUE(anew.Update(fleet.On(499)).ok());
  const auto expected = anew.News({}, now);
  ASSERT_FALSE(expected.empty());
  for (const int reads : {0, 1, 5, 12}) {
    AlertBook book;
    ASSERT_TRUE(book.Update(fleet.On(390)).ok());
    AlertBook::Source source = fleet.On(499);
    int left = reads;
    const ReadMeasures read = source.read;
    source.read = [&](const Pair& pair, bool again) -> absl::StatusOr<Measures> {
      if (left-- == 0) return absl::UnavailableError("no disk");
      return read(pair, again);
    };
    ASSERT_TRUE(absl::IsUnavailable(book.Update(source))) << reads;
    EXPECT_THAT(book.News({}, now), IsEmpty());
    ASSERT_TRUE(book.Update(fleet.On(499)).ok());
    EXPECT_EQ(book.News({}, now), expected) << "failed after " << reads;
  }
}

TEST(AlertBook, AnUpdateMayBeGivenUp) {
  const Fleet fleet(500, 400);
  const Instant now = StartOf(kStart + 500);
  AlertBook book, anew;
  AlertBook::Source source = fleet.On(499);
  int asked = 0;
  source.give_up = [&asked] { return ++asked == 4; };
  ASSERT_TRUE(absl::IsCancelled(book.Update(source)));
  EXPECT_EQ(asked, 4);
  EXPECT_THAT(book.News({}, now), IsEmpty());
  ASSERT_TRUE(book.Update(fleet.On(499)).ok());
  ASSERT_TRUE(anew.Update(fleet.On(499)).ok());
  EXPECT_EQ(book.News({}, now), anew.News({}, now));
}

// As after a restart with a clock that has gone back.
TEST(AlertBook, ADayAcceptedAheadOfTheNewsHoldsOnceTheyCome) {
  const Fleet fleet(500, 400);
  AlertsTold told;
  ToldAlert accepted;
  accepted.key = {"", "", "SE", AlertMeasure::kOnTime};
  accepted.accepted = kStart + 440;
  told.by_id["a"] = accepted;
  told.by_key[accepted.key].insert("a");
  const auto shared = std::make_shared<const AlertsTold>(told);
  const auto on = [&](int day) {
    AlertBook::Source source = fleet.On(day);
    source.told = shared;
    return source;
  };
  AlertBook stepped, anew;
  for (int day = 430; day < 450; ++day) ASSERT_TRUE(stepped.Update(on(day)).ok());
  ASSERT_TRUE(anew.Update(on(449)).ok());
  const Instant now = StartOf(kStart + 450);
  const auto news = anew.News({}, now);
  EXPECT_TRUE(std::any_of(news.begin(), news.end(), [](const AlertNotice& one) {
    return one.facts.ending == Ending::kAccepted;
  }));
  EXPECT_EQ(stepped.News({}, now), news);
}

}  // namespace
}  // namespace plumblane
