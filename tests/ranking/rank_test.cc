// Ranking by the share of orders that come late or bad. A candidate is written as its two
// posteriors and the number of its settled orders; everything else of a score is not looked at.
#include "ranking/rank.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <random>

#include "base/philox.h"
#include "scoring/beta.h"

namespace plumblane {
namespace {

using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;

struct Posterior {
  double a = 0, b = 0;
  double mean() const { return a / (a + b); }
};

RankCandidate Candidate(const std::string& supplier, Posterior late, Posterior bad,
                        int64_t orders = 40) {
  RankCandidate candidate{{supplier, {"VN", "DE", ""}}, {}, {}, orders};
  if (late.a > 0) candidate.late = Beta{late.a, late.b};
  if (bad.a > 0) candidate.bad = Beta{bad.a, bad.b};
  return candidate;
}

// Late one order in `late`, hardly any bad, with about as many orders behind it.
RankCandidate OneIn(double late, const std::string& supplier, double orders = 100) {
  return Candidate(supplier, {orders / late, orders - orders / late},
                   {0.01 * orders, 0.99 * orders}, static_cast<int64_t>(orders));
}

std::vector<std::string> Order(const std::vector<RankCandidate>& candidates) {
  std::vector<std::string> names;
  for (const Ranked& ranked : RankByBadShare(candidates)) {
    names.push_back(candidates[ranked.candidate].pair.supplier);
  }
  return names;
}

TEST(Rank, TheSmallestShareOfLateAndBadComesFirst) {
  EXPECT_THAT(Order({OneIn(4, "amber"), OneIn(20, "lotus"), OneIn(8, "copper")}),
              ElementsAre("lotus", "copper", "amber"));
}

TEST(Rank, LateAndBadWeighTheSame) {
  EXPECT_THAT(Order({Candidate("late", {20, 80}, {5, 95}), Candidate("bad", {5, 95}, {21, 79}),
                     Candidate("neither", {10, 90}, {10, 90})}),
              ElementsAre("neither", "late", "bad"));
}

TEST(Rank, TheExpectedShareIsThatOfOrdersLateOrBad) {
  for (const auto& [late, bad] : {std::pair<Posterior, Posterior>{{6, 44}, {1.5, 48.5}},
                                  {{0.3, 3.7}, {0.05, 3.95}},
                                  {{90, 10}, {80, 20}}}) {
    const Ranked ranked = RankByBadShare({Candidate("S", late, bad)}).at(0);
    EXPECT_DOUBLE_EQ(ranked.expected_bad.value(), 1 - (1 - late.mean()) * (1 - bad.mean()));
  }
}

TEST(Rank, OnlyTheFirstAreToldInFull) {
  const std::vector<RankCandidate> candidates = {OneIn(4, "amber"), OneIn(20, "lotus"),
                                                 OneIn(8, "copper")};
  const std::vector<Ranked> all = RankByBadShare(candidates);
  const std::vector<Ranked> two = RankByBadShare(candidates, 2);
  ASSERT_EQ(two.size(), 3u);
  for (size_t i = 0; i < 3; ++i) {
    EXPECT_EQ(two[i].candidate, all[i].candidate);
    EXPECT_EQ(two[i].expected_bad, all[i].expected_bad);
    EXPECT_EQ(two[i].low.has_value(), i < 2);
    EXPECT_EQ(two[i].reason.empty(), i == 2);
  }
}

TEST(Rank, ACandidateHasThePosteriorsOfItsScore) {
  PairRates rates;
  rates.on_time = {.order_count = 9, .late_count = 2, .weight = 8, .late_weight = 1.5};
  rates.defect = {.reached = {{60, 6, 5}}, .hit_weight = 0.5, .order_count = 7, .window_days = 60};
  const Priors priors{Prior{.1, 10}, Prior{.05, 20}, {}};
  const Pair pair{"S", {"VN", "DE", ""}};
  const RankCandidate candidate = CandidateOf(pair, rates, priors);
  EXPECT_EQ(candidate.pair, pair);
  EXPECT_EQ(candidate.order_count, 9);
  EXPECT_DOUBLE_EQ(candidate.late->a, 1 + 1.5);
  EXPECT_DOUBLE_EQ(candidate.late->b, 9 + 6.5);
  EXPECT_DOUBLE_EQ(candidate.bad->a, 1 + 0.5);
  EXPECT_DOUBLE_EQ(candidate.bad->b, 19 + 5.5);
  EXPECT_FALSE(CandidateOf(pair, rates, {}).late);
}

TEST(Rank, AmongEqualsTheNameDecidesThenTheLane) {
  const auto on = [](const char* supplier, const char* origin, const char* service) {
    RankCandidate candidate = OneIn(10, supplier);
    candidate.pair.lane = {origin, "DE", service};
    return candidate;
  };
  const std::vector<RankCandidate> candidates = {on("lotus", "VN", ""), on("lotus", "TR", ""),
                                                 on("amber", "VN", "x"), on("amber", "VN", "")};
  std::vector<size_t> order;
  for (const Ranked& ranked : RankByBadShare(candidates)) order.push_back(ranked.candidate);
  EXPECT_THAT(order, ElementsAre(3, 2, 1, 0));
}

TEST(Rank, TheOrderOfTheCandidatesGivenDoesNotMatter) {
  std::vector<RankCandidate> candidates;
  for (int i = 0; i < 30; ++i) candidates.push_back(OneIn(2 + i / 3, "S" + std::to_string(i)));
  const std::vector<std::string> expected = Order(candidates);
  std::mt19937_64 random(1);
  for (int round = 0; round < 20; ++round) {
    std::shuffle(candidates.begin(), candidates.end(), random);
    EXPECT_EQ(Order(candidates), expected);
  }
}

TEST(Rank, NobodyIsNoRanking) { EXPECT_THAT(RankByBadShare({}), IsEmpty()); }

TEST(Rank, WithoutOrdersOfItsOwnACandidateIsWhatItsPriorSays) {
  // The prior alone: one in ten late, worth four orders.
  const std::vector<RankCandidate> candidates = {
      OneIn(4, "worse"), Candidate("new", {0.4, 3.6}, {0.08, 3.92}, 0), OneIn(20, "better")};
  EXPECT_THAT(Order(candidates), ElementsAre("better", "new", "worse"));
  const Ranked ranked = RankByBadShare(candidates).at(1);
  EXPECT_TRUE(ranked.assumed);
  EXPECT_EQ(
      ranked.reason,
      "no order settled yet: taken to do as it does elsewhere, and as others do on this lane");
  EXPECT_NEAR(ranked.expected_bad.value(), 1 - 0.9 * 0.98, 1e-12);
  EXPECT_FALSE(RankByBadShare(candidates).at(0).assumed);
}

TEST(Rank, WithNothingToJudgeByACandidateComesLastAndHasNoFigures) {
  const std::vector<RankCandidate> candidates = {
      Candidate("no defect prior", {1, 9}, {}, 0), Candidate("b", {}, {}, 0),
      OneIn(1.1, "dreadful"), Candidate("a", {}, {}, 0), Candidate("no late prior", {}, {1, 9}, 0)};
  EXPECT_THAT(Order(candidates),
              ElementsAre("dreadful", "a", "b", "no defect prior", "no late prior"));
  const std::vector<Ranked> ranking = RankByBadShare(candidates);
  for (size_t i = 1; i < ranking.size(); ++i) {
    EXPECT_EQ(ranking[i].expected_bad, std::nullopt);
    EXPECT_EQ(ranking[i].low, std::nullopt);
    EXPECT_EQ(ranking[i].high, std::nullopt);
    EXPECT_TRUE(ranking[i].assumed);
    EXPECT_FALSE(ranking[i].close_to_first);
    EXPECT_THAT(ranking[i].reason, HasSubstr("nothing to judge by"));
  }
  for (const Ranked& ranked : RankByBadShare({candidates[1], candidates[3]})) {
    EXPECT_FALSE(ranked.close_to_first);
  }
}

TEST(Rank, IsCloseToTheFirstWhileTheIntervalsOverlap) {
  const auto close = [](double orders) {
    const auto ranking = RankByBadShare({OneIn(4, "second", orders), OneIn(10, "first", orders)});
    EXPECT_FALSE(ranking[0].close_to_first);
    EXPECT_EQ(ranking[1].close_to_first, *ranking[1].low <= *ranking[0].high);
    return ranking[1].close_to_first;
  };
  EXPECT_TRUE(close(20));
  EXPECT_FALSE(close(2000));
}

// The interval against the share late or bad of two Beta variables drawn by chance, through their
// inverse functions.
TEST(Rank, TheIntervalHoldsTheShareIn95Of100Draws) {
  constexpr int kDraws = 20'000;
  const auto draw = [](Posterior p, uint64_t stream, int i) {
    return Beta{p.a, p.b}.Quantile(Uniform(20260305, stream, static_cast<uint64_t>(i)));
  };
  for (const auto& [late, bad] : {std::pair<Posterior, Posterior>{{6, 44}, {1.5, 48.5}},
                                  {{2, 18}, {2, 18}},
                                  {{0.8, 7.2}, {0.6, 7.4}},
                                  {{40, 60}, {10, 90}},
                                  {{900, 100}, {850, 150}},
                                  {{3, 1}, {1, 3}}}) {
    const Ranked ranked = RankByBadShare({Candidate("S", late, bad)}).at(0);
    std::vector<double> sums(kDraws);
    int below = 0, above = 0;
    for (int i = 0; i < kDraws; ++i) {
      const double sum = 1 - (1 - draw(late, 1, i)) * (1 - draw(bad, 2, i));
      sums[static_cast<size_t>(i)] = sum;
      below += sum < *ranked.low ? 1 : 0;
      above += sum > *ranked.high ? 1 : 0;
    }
    std::sort(sums.begin(), sums.end());
    const double low = sums[kDraws / 40], high = sums[kDraws - kDraws / 40];
    const double width = high - low;
    EXPECT_NEAR(*ranked.low, low, 0.05 * width) << late.a << ", " << bad.a;
    EXPECT_NEAR(*ranked.high, high, 0.05 * width) << late.a << ", " << bad.a;
    // Each side leaves out about 2.5 %; it is an approximation, so within one percent point.
    EXPECT_NEAR(1.0 * below / kDraws, 0.025, 0.01) << late.a << ", " << bad.a;
    EXPECT_NEAR(1.0 * above / kDraws, 0.025, 0.01) << late.a << ", " << bad.a;
  }
}

TEST(Rank, TheIntervalLiesAroundTheMeanWithinZeroAndOne) {
  for (const double strength : {0.2, 4.0, 100.0, 1e5}) {
    for (const double late : {0.01, 0.3, 0.99}) {
      for (const double bad : {0.01, 0.5, 0.99}) {
        const Ranked ranked =
            RankByBadShare({Candidate("S", {late * strength, (1 - late) * strength},
                                      {bad * strength, (1 - bad) * strength})})
                .at(0);
        EXPECT_GE(*ranked.low, 0) << strength << " " << late << " " << bad;
        EXPECT_LE(*ranked.low, *ranked.high);
        EXPECT_LE(*ranked.high, 1);
        // With a strength below one the mass lies at the ends, and either side may be all of it.
        if (strength > 1 && *ranked.expected_bad < 0.99) {
          EXPECT_LT(*ranked.low, *ranked.expected_bad);
          EXPECT_GT(*ranked.high, *ranked.expected_bad);
        }
      }
    }
  }
}

struct Wording {
  double late, bad;
  int64_t orders;
  const char* reason;
};

class Reasons : public ::testing::TestWithParam<Wording> {};

TEST_P(Reasons, AreOnePlainSentence) {
  const Wording& w = GetParam();
  const Ranked ranked = RankByBadShare({Candidate("S", {w.late * 1000, (1 - w.late) * 1000},
                                                  {w.bad * 1000, (1 - w.bad) * 1000}, w.orders)})
                            .at(0);
  EXPECT_EQ(ranked.reason, w.reason);
}

INSTANTIATE_TEST_SUITE_P(
    Rank, Reasons,
    ::testing::Values(
        Wording{0.125, 0.02, 40, "expect 1 in 8 late and 1 in 50 bad; 40 orders settled"},
        Wording{0.125, 0.02, 1, "expect 1 in 8 late and 1 in 50 bad; 1 order settled"},
        Wording{0.13, 0.0101, 40, "expect 1 in 8 late and 1 in 99 bad; 40 orders settled"},
        Wording{0.5, 0.55, 40, "expect 1 in 2 late and 1 in 2 bad; 40 orders settled"},
        // Above that "1 in ..." would say too little.
        Wording{0.56, 0.76, 40, "expect 56 in 100 late and 76 in 100 bad; 40 orders settled"},
        Wording{0.999, 0.9, 40, "expect 100 in 100 late and 90 in 100 bad; 40 orders settled"},
        Wording{0.0005, 0.0004, 40,
                "expect 1 in 2000 late and fewer than 1 in 2,000 bad; 40 orders settled"}));

}  // namespace
}  // namespace plumblane
