// Scores as the API tells them, from the engine's own answers and from ones laid out by hand.
#include <absl/strings/str_cat.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <string>
#include <vector>

#include "service/query_services.h"
#include "service/read_question.h"
#include "service/service_support.h"
#include "service/write_answer.h"

namespace plumblane {
namespace {

using test::At;
using test::OrderBuilder;
using test::RunningEngine;
using test::Stamp;
using ::testing::ElementsAre;
using ::testing::IsEmpty;
using ::testing::SizeIs;

// Orders of one supplier on VN-DE, paid on 1 March, and asked about on 1 June.
class WrittenScore : public ::testing::Test {
 protected:
  OrderBuilder Order() {
    OrderBuilder order({"default", absl::StrCat(++count_)});
    order.Paid("2026-03-01").Promised("2026-03-10");
    return order;
  }
  void Deliver(int orders, const std::string& day = "2026-03-05") {
    for (int i = 0; i < orders; ++i) engine_.Submit(Order().Shipped("2026-03-02").Delivered(day));
  }
  v1::Score Ask(v1::GetScoreRequest request = {}, const std::string& name = "suppliers/S") {
    const View view = engine_->Look();
    const auto answer = view.Score(ReadSubject(name).value(),
                                   ReadAsked(request, LatestAskable(*engine_, view)).value());
    EXPECT_TRUE(answer.ok()) << answer.status();
    v1::Score score;
    WriteScore(answer->basis, answer->answer, &score);
    return score;
  }

  RunningEngine engine_;

 private:
  int count_ = 0;
};

TEST_F(WrittenScore, EchoesTheModeAndItsRates) {
  Deliver(9);
  Deliver(1, "2026-03-12");
  v1::GetScoreRequest request;
  const v1::Score current = Ask(request);
  EXPECT_EQ(current.rate_mode(), v1::RATE_MODE_CURRENT);
  request.set_rate_mode(v1::RATE_MODE_AVERAGE);
  const v1::Score average = Ask(request);
  EXPECT_EQ(average.rate_mode(), v1::RATE_MODE_AVERAGE);
  EXPECT_EQ(average.pairs(0).rate_mode(), v1::RATE_MODE_AVERAGE);
  // All of one day: as many as they are, however long ago.
  EXPECT_NEAR(average.on_time().weight(), 10, 1e-9);
  EXPECT_LT(current.on_time().weight(), 4);
  EXPECT_DOUBLE_EQ(average.on_time().observed(), current.on_time().observed());
}

TEST_F(WrittenScore, TellsKindsOfDefectsInTheOrderOfTheirNumbers) {
  Deliver(7);
  engine_.Submit(Order().Delivered("2026-03-05").Disputed("2026-03-12", Reason::kUnsafe));
  engine_.Submit(Order().Delivered("2026-03-05").Disputed("2026-03-14", Reason::kDamaged));
  engine_.Submit(Order().Delivered("2026-03-05").Disputed("2026-03-13", Reason::kDamaged));
  const v1::Score score = Ask();
  ASSERT_THAT(score.defect_kinds(), SizeIs(2));
  EXPECT_EQ(score.defect_kinds(0).kind(), v1::REASON_DAMAGED);
  EXPECT_NEAR(score.defect_kinds(0).share(), .2, 1e-12);
  EXPECT_EQ(score.defect_kinds(1).kind(), v1::REASON_UNSAFE);
  EXPECT_NEAR(score.defect_kinds(1).share(), .1, 1e-12);
  EXPECT_NEAR(score.defect().observed(), .3, 1e-12);
  EXPECT_THAT(score.pairs(0).defect_kinds(), SizeIs(2));
}

TEST_F(WrittenScore, AnswersEachOfTheDaysAskedInTheirOrder) {
  Deliver(5);
  Deliver(5, "2026-03-12");
  v1::GetScoreRequest request;
  for (const double days : {7.5, 60.0, 0.0}) request.add_within_days(days);
  const v1::Score score = Ask(request);
  ASSERT_THAT(score.arrivals(), SizeIs(3));
  EXPECT_EQ(score.arrivals(0).days(), 7.5);
  EXPECT_NEAR(score.arrivals(0).share(), .5, 1e-12);
  EXPECT_LT(score.arrivals(0).low(), .5);
  EXPECT_GT(score.arrivals(0).high(), .5);
  EXPECT_NEAR(score.arrivals(0).late_days(), .5 * (11 - 7.5), .1);
  EXPECT_EQ(score.arrivals(1).share(), 1);
  EXPECT_FALSE(score.arrivals(1).has_low() || score.arrivals(1).has_high());
  EXPECT_EQ(score.arrivals(2).share(), 0);
  EXPECT_THAT(score.pairs(0).arrivals(), SizeIs(3));
  EXPECT_THAT(Ask().arrivals(), IsEmpty());
}

TEST_F(WrittenScore, AnArrivalThatNobodyCanKnowHasNothingButItsDays) {
  engine_.Submit(Order());
  v1::GetScoreRequest request;
  request.add_within_days(119);
  EXPECT_EQ(Ask(request).arrivals(0).ShortDebugString(), "days: 119");
}

TEST_F(WrittenScore, APercentileOfFewerThanFiveOrdersIsMarkedInsteadOfShown) {
  Deliver(4);
  v1::Times times = Ask().delivery();
  EXPECT_FALSE(times.has_median() || times.has_p90());
  EXPECT_TRUE(times.median_too_few() && times.p90_too_few());
  EXPECT_TRUE(times.median_reached());
  Deliver(1);
  times = Ask().delivery();
  EXPECT_TRUE(times.has_median() && times.has_p90());
  EXPECT_FALSE(times.median_too_few() || times.p90_too_few());
}

TEST_F(WrittenScore, WhatIsNotReachedIsLongerThanTheLongestWatch) {
  for (int i = 0; i < 5; ++i) engine_.Submit(Order());
  const v1::Times times = Ask().delivery();
  EXPECT_FALSE(times.has_median() || times.median_too_few() || times.median_reached());
  // From the end of 1 March to a day before noon of 1 June.
  EXPECT_EQ(times.longest_watch().seconds(),
            (At("2026-05-31T12:00").millis - At("2026-03-02").millis) / 1000);
  EXPECT_FALSE(Ask().response().has_longest_watch());
}

TEST_F(WrittenScore, BeforeTheFirstEventThereAreNoOrdersYet) {
  Deliver(6);
  v1::GetScoreRequest request;
  Stamp("2025-01-01", request.mutable_as_of_time());
  request.add_within_days(10);
  v1::ListScoresRequest list;
  *list.mutable_as_of_time() = request.as_of_time();
  std::vector<v1::Score> scores = {Ask(request), Ask(request, "lanes/VN-DE"),
                                   Ask(request, "suppliers/S/lanes/VN-DE")};
  const View view = engine_->Look();
  for (const auto collection :
       {v1::ListScoresRequest::COLLECTION_SUPPLIERS, v1::ListScoresRequest::COLLECTION_LANES}) {
    list.set_collection(collection);
    v1::ListScoresResponse all;
    ASSERT_TRUE(ListScores(view, list, LatestAskable(*engine_, view), &all).ok());
    ASSERT_THAT(all.scores(), SizeIs(1));
    scores.push_back(all.scores(0));
  }
  OrderToSource order;
  order.destination = "DE";
  const auto ranking = view.Source(order, {At("2025-01-01"), {}}, 10);
  ASSERT_TRUE(ranking.ok()) << ranking.status();
  v1::RankSuppliersResponse ranked;
  WriteSourcing(*ranking, 10, &ranked);
  ASSERT_THAT(ranked.candidates(), SizeIs(1));
  EXPECT_FALSE(ranked.candidates(0).has_expected_bad());
  EXPECT_FALSE(ranked.candidates(0).has_low() || ranked.candidates(0).has_high());
  EXPECT_TRUE(ranked.candidates(0).assumed());
  scores.push_back(ranked.candidates(0).score());
  for (const v1::Score& score : scores) {
    SCOPED_TRACE(score.name());
    for (const v1::Rate& rate : {score.on_time(), score.defect()}) {
      EXPECT_EQ(rate.ShortDebugString(), "");  // neither a share nor a count
    }
    EXPECT_EQ(score.delivery().ShortDebugString(), "");
    EXPECT_THAT(score.defect_kinds(), IsEmpty());
    EXPECT_EQ(score.underway_count() + score.overdue_count(), 0);
    for (const v1::Arrival& arrival : score.arrivals()) EXPECT_FALSE(arrival.has_share());
  }
}

TEST_F(WrittenScore, AnOddHalfLifeIsRefused) {
  Deliver(1);
  const double wrong[] = {0, -3, 1e9, 0.04, std::nan(""), HUGE_VAL, -HUGE_VAL};
  for (const double days : wrong) {
    const auto answer = engine_->Look().Score({"S", {}}, {{}, days});
    EXPECT_TRUE(absl::IsInvalidArgument(answer.status())) << days;
    EXPECT_EQ(std::string(answer.status().message()), "half_life: expected 1 hour to 100 years");
  }
}

v1::Score WithFleets() {
  FleetEvidence late;
  late.mean = .1;
  late.suppliers = {.likeliest = 40, .expected = 35, .no_difference = false};
  late.lanes = {.likeliest = 1000, .expected = 200, .no_difference = true};
  late.pairs = {.likeliest = 70, .expected = 60, .no_difference = false};
  late.supplier_count = 7;
  late.lane_count = 8;
  late.pair_count = 17;
  Basis basis;
  basis.late_fleet = late;
  ScoreAnswer answer;
  answer.subject.supplier = "S";
  answer.pairs.emplace_back(Pair{"S", {"VN", "DE", ""}}, ScoreEstimate{});
  v1::Score score;
  WriteScore(basis, answer, &score);
  return score;
}

TEST(WriteFleet, SaysHowAlikeTheyAreOnTheScoreItselfOnly) {
  const v1::Score score = WithFleets();
  EXPECT_EQ(score.late_fleet().ShortDebugString(),
            "mean: 0.1 suppliers { strength: 35 likeliest_strength: 40 } "
            "lanes { strength: 200 likeliest_strength: 1000 undetectable: true } "
            "pairs { strength: 60 likeliest_strength: 70 } "
            "supplier_count: 7 lane_count: 8 pair_count: 17");
  EXPECT_FALSE(score.has_defect_fleet());
  EXPECT_FALSE(score.pairs(0).has_late_fleet() || score.pairs(0).has_defect_fleet());
}

TEST(WriteScore, EveryKindOfDefectHasItsReason) {
  ScoreAnswer answer;
  answer.score.defect_kinds.emplace();
  answer.score.defect_kinds->share.fill(.01);
  v1::Score score;
  WriteScore({}, answer, &score);
  std::vector<v1::Reason> kinds;
  for (const v1::DefectShare& share : score.defect_kinds()) kinds.push_back(share.kind());
  EXPECT_THAT(kinds, ElementsAre(v1::REASON_DAMAGED, v1::REASON_QUALITY, v1::REASON_WRONG_ITEM,
                                 v1::REASON_MISSING_PART, v1::REASON_COUNTERFEIT, v1::REASON_UNSAFE,
                                 v1::REASON_LOST));
}

}  // namespace
}  // namespace plumblane
