// Screens from given answers: show_scores.h, show_order.h, show_rank.h, show_status.h.

#include <gmock/gmock.h>

#include <optional>

#include "client/show_order.h"
#include "client/show_rank.h"
#include "client/show_scores.h"
#include "client/show_status.h"
#include "client/support.h"
#include "client/text.h"

namespace plumblane::client {
namespace {

using testing::HasSubstr;
using testing::Not;

// The moment that all answers here hold for.
void SetMoment(v1::Score& score) {
  score.mutable_half_life()->set_seconds(45 * 86'400);
  *score.mutable_as_of_time() = ToTimestamp(*ParseInstant("2026-10-01T00:00:00Z"));
  *score.mutable_news_time() = ToTimestamp(*ParseInstant("2026-09-28T00:00:00Z"));
}

v1::Score SupplierScore(const std::string& id) {
  v1::Score score;
  score.set_name("suppliers/" + id);
  score.set_supplier_id(id);
  SetMoment(score);
  *score.mutable_on_time() = RateOf(92, 88, 95, 412);
  *score.mutable_defect() = RateOf(1.5, 0.2, 4.2, 531);
  *score.mutable_delivery() = TimesOf(67, 125, 551);
  score.set_underway_count(20);
  return score;
}

v1::Score PairScore(const std::string& id, const std::string& origin, const std::string& service) {
  v1::Score score = SupplierScore(id);
  score.mutable_lane()->set_origin(origin);
  score.mutable_lane()->set_destination("DE");
  score.mutable_lane()->set_service(service);
  return score;
}

v1::Candidate CandidateOf(const std::string& id, double expected, double low, double high) {
  v1::Candidate candidate;
  *candidate.mutable_score() = PairScore(id, "VN", "");
  candidate.set_expected_bad(expected / 100);
  candidate.set_low(low / 100);
  candidate.set_high(high / 100);
  return candidate;
}

// The advice on these candidates, to DE.
std::string AdviceOn(const std::vector<v1::Candidate>& candidates) {
  v1::RankSuppliersResponse answer;
  for (const v1::Candidate& candidate : candidates) {
    *answer.add_candidates() = candidate;
    answer.mutable_candidates()->rbegin()->set_rank(answer.candidates_size());
  }
  return Advice(answer, "DE");
}

constexpr char kHolds[] =
    "older orders count half after 45 days; delivery news up to 2026-09-28; as of\n2026-10-01\n";

TEST(ShowScoresTest, TableOfSuppliers) {
  v1::Score late = SupplierScore("lotus-works");
  late.set_overdue_count(3);
  EXPECT_EQ(ShowScoreTable({SupplierScore("copper-ferry"), late}, Naming::kSupplier, 80),
            std::string("                                                           delivered\n"
                        "supplier      on time              bad or lost             half / 90 %\n"
                        "copper-ferry  92 % (88-95) of 412  1.5 % (0.2-4.2) of 531  2.8 / 5.2 d\n"
                        "lotus-works   92 % (88-95) of 412  1.5 % (0.2-4.2) of 531  2.8 / 5.2 d\n"
                        "\n"
                        "Under way: 40 orders; past the promise: lotus-works 3.\n") +
                kHolds);
}

TEST(ShowScoresTest, NoDataIsSaidInWords) {
  v1::Score score;
  score.set_supplier_id("new");
  EXPECT_EQ(ShowScoreTable({score}, Naming::kSupplier, 80),
            "                                        delivered\n"
            "supplier  on time        bad or lost    half / 90 %\n"
            "new       no orders yet  no orders yet  no orders yet\n\n");
  EXPECT_EQ(ShowScoreTable({}, Naming::kSupplier, 80),
            "no orders yet; feed some with \"plumblane send\"\n");
}

TEST(ShowScoresTest, LittleEvidenceIsNamed) {
  v1::Score thin = SupplierScore("pomelo-yard");
  *thin.mutable_on_time() = RateOf(92, 60, 99, 7, 6.5);
  const std::string text = ShowScoreTable({SupplierScore("a"), thin}, Naming::kSupplier, 80);
  EXPECT_THAT(text, HasSubstr("Little evidence: pomelo-yard. With fewer than 10 recent orders"));
}

TEST(ShowScoresTest, WhatIsNotReachedIsExplained) {
  v1::Score score = SupplierScore("a");
  *score.mutable_delivery() = TimesOf(67, 0, 40);
  const std::string text = ShowScoreTable({score}, Naming::kSupplier, 80);
  EXPECT_THAT(text, HasSubstr("2.8 d / -\n"));
  EXPECT_THAT(text, HasSubstr("-: not that many have arrived yet, as far as news goes.\n"));
}

TEST(ShowScoresTest, SignsAmongTheTimesAreExplained) {
  v1::Score score = SupplierScore("a"), other = SupplierScore("b");
  *score.mutable_delivery() = TimesOf(67, 0, 40);
  score.mutable_delivery()->mutable_longest_watch()->set_seconds(41 * 86'400);
  *other.mutable_delivery() = TimesOf(67, 0, 9);
  other.mutable_delivery()->set_p90_too_few(true);
  const std::string text = ShowScoreTable({score, other}, Naming::kSupplier, 80);
  EXPECT_THAT(text, HasSubstr("2.8 d / >41 d\n"));
  EXPECT_THAT(
      text,
      HasSubstr("\n>: not that many have arrived yet, as far as news goes; it takes longer.\n"));
  EXPECT_THAT(text, HasSubstr("\n?: fewer than five orders to tell it by.\n"));
  EXPECT_THAT(text, Not(HasSubstr("\n-: ")));
  EXPECT_THAT(ShowScoreTable({SupplierScore("a-b?")}, Naming::kSupplier, 80),
              Not(HasSubstr("fewer than five")));
  EXPECT_LE(WidestLine(text), 80);
}

TEST(ShowScoresTest, AveragesAreMarkedEverywhere) {
  v1::Score score = SupplierScore("lotus-works");
  score.set_rate_mode(v1::RATE_MODE_AVERAGE);
  *score.add_pairs() = PairScore("lotus-works", "VN", "express");
  score.mutable_pairs(0)->set_rate_mode(v1::RATE_MODE_AVERAGE);
  const std::string table = ShowScoreTable({score}, Naming::kSupplier, 80);
  EXPECT_THAT(table,
              HasSubstr("             on average           on average              delivered\n"
                        "supplier     on time              bad or lost             half"));
  EXPECT_THAT(table, HasSubstr("\nRates are averages of the past, older orders counting less."));
  const std::string screen = ShowScore(score, /*explain=*/true, 80);
  EXPECT_THAT(screen,
              HasSubstr("  on time        on average 92 % (88-95) of 412 orders, 0 late\n"));
  EXPECT_THAT(screen, HasSubstr("lane           on time "));
  EXPECT_THAT(screen, HasSubstr("Weight is how many orders of one age would tell the average"));
  EXPECT_LE(WidestLine(screen), 80);
  EXPECT_THAT(ShowScore(SupplierScore("a"), /*explain=*/true, 80), Not(HasSubstr("average")));
}

TEST(ShowScoresTest, DefectsAreToldByKindTheMostFrequentFirst) {
  v1::Score score = SupplierScore("a");
  for (const auto& [kind, share] : {std::pair{v1::REASON_DAMAGED, .004},
                                    {v1::REASON_WRONG_ITEM, .012},
                                    {v1::REASON_LOST, .004}}) {
    v1::DefectShare* defect = score.add_defect_kinds();
    defect->set_kind(kind);
    defect->set_share(share);
  }
  EXPECT_THAT(ShowScore(score, /*explain=*/false, 80),
              HasSubstr("of 531 orders, 0 known\n"
                        "                 as seen: wrong item 1.2 %, damaged 0.4 %, lost 0.4 %\n"
                        "  ships "));
  EXPECT_THAT(ShowScore(score, false, 80), Not(HasSubstr("stop selling")));
  for (const v1::Reason kind : {v1::REASON_UNSAFE, v1::REASON_COUNTERFEIT}) {
    v1::Score worse = score;
    worse.mutable_defect_kinds(0)->set_kind(kind);
    EXPECT_THAT(ShowScore(worse, false, 80), HasSubstr("stop selling the item"));
  }
}

struct ArrivalCase {
  double days;
  std::optional<double> share, low, high;
  double late_days;
  const char* line;
};

TEST(ShowScoresTest, ArrivalsAreToldForEachNumberOfDays) {
  const ArrivalCase cases[] = {
      {10, .84, .78, .89, .42, "within 10 days: 84 % (78-89); on average 0.4 days later"},
      {1, 0, {}, {}, 8.5, "within 1 day: 0 % so far; on average 8.5 days later"},
      {30.5, 1, {}, {}, 0, "within 30.5 days: 100 % so far"},
      {12,
       .5,
       {},
       {},
       2,
       "within 12 days: 50 %, too few to tell how sure; on average 2.0 days later"},
      {120, {}, {}, {}, 0, "within 120 days: too early to tell, none on its way so long"}};
  for (const ArrivalCase& c : cases) {
    v1::Score score = SupplierScore("a");
    v1::Arrival* arrival = score.add_arrivals();
    arrival->set_days(c.days);
    if (c.share) arrival->set_share(*c.share);
    if (c.low) arrival->set_low(*c.low);
    if (c.high) arrival->set_high(*c.high);
    if (c.share) arrival->set_late_days(c.late_days);
    const std::string text = ShowScore(score, /*explain=*/false, 80);
    EXPECT_LE(WidestLine(text), 80);
    std::string unwrapped = text;
    for (size_t at; (at = unwrapped.find("\n                 ")) != std::string::npos;) {
      unwrapped.replace(at, 18, " ");
    }
    EXPECT_THAT(unwrapped, HasSubstr(std::string("\n  arrives        ") + c.line + "\n"));
    if (c.share == 0 || c.share == 1) {  // as much is said of few orders, and less
      score.mutable_delivery()->set_median_too_few(true);
      EXPECT_THAT(ShowScore(score, /*explain=*/false, 80), HasSubstr(" %, too few to tell how"));
    }
    score.clear_delivery();
    EXPECT_THAT(ShowScore(score, /*explain=*/false, 80),
                HasSubstr("arrives        no orders yet\n"));
  }
}

TEST(ShowScoresTest, TargetsAreToldInWords) {
  using Reading = v1::TargetReading;
  const std::tuple<const char*, double, Reading::Standing, const char*> cases[] = {
      {"on_time", .92, Reading::STANDING_MISSED_NOT_SURE,
       "on time at least 92 %: below target, not sure"},
      {"on_time", .925, Reading::STANDING_MISSED, "on time at least 92.5 %: below target"},
      {"defect", .02, Reading::STANDING_MISSED, "at most 2 % bad or lost: above target"},
      {"defect", .02, Reading::STANDING_MET, "at most 2 % bad or lost: kept"},
      {"delivery", 12, Reading::STANDING_MISSED, "9 in 10 delivered within 12 days: takes longer"},
      {"response", 1, Reading::STANDING_MET_NOT_SURE,
       "9 in 10 answered within 1 day: kept, not sure"},
      {"response", 2.5, Reading::STANDING_TOO_FEW,
       "9 in 10 answered within 2.5 days: too few orders to tell"}};
  v1::Score score = SupplierScore("a");
  EXPECT_THAT(ShowScore(score, /*explain=*/false, 80), Not(HasSubstr("targets")));
  std::string lines;
  for (const auto& [measure, target, standing, words] : cases) {
    v1::TargetReading& reading = *score.add_targets();
    reading.set_measure(measure);
    reading.set_target(target);
    reading.set_standing(standing);
    lines +=
        (lines.empty() ? "  targets        " : "                 ") + std::string(words) + "\n";
  }
  const std::string text = ShowScore(score, /*explain=*/false, 80);
  EXPECT_THAT(text, HasSubstr("past the promise\n" + lines + "\n"));
  EXPECT_LE(WidestLine(text), 80);
}

TEST(ShowScoresTest, WhoHasHowMuchUnderWayIsToldWhenAsked) {
  v1::Score idle = SupplierScore("b");
  idle.set_underway_count(0);
  EXPECT_THAT(ShowScoreTable({SupplierScore("a"), idle}, Naming::kSupplier, 80,
                             /*each_underway=*/true),
              HasSubstr("\nUnder way: 20 orders: a 20; past the promise: none.\n"));
}

TEST(ShowScoresTest, WhatCameLaterIsNotTheLastHeardOf) {
  v1::Score score = SupplierScore("a");
  *score.mutable_last_event_time() = ToTimestamp(*ParseInstant("2026-09-30T00:00:00Z"));
  EXPECT_THAT(ShowScore(score, false, 80), HasSubstr("last heard of  2026-09-30\n"));
  *score.mutable_last_event_time() = ToTimestamp(*ParseInstant("2026-10-02T00:00:00Z"));
  EXPECT_THAT(ShowScore(score, false, 80), Not(HasSubstr("last heard of")));
}

TEST(ShowScoresTest, TablesFitEightyColumns) {
  v1::Score score = PairScore("東京東京東京東京-express-parcels", "VN", "express");
  *score.mutable_on_time() = RateOf(99.4, 98.2, 99.9, 12'345);
  *score.mutable_defect() = RateOf(3.1, 1.3, 5.7, 12'999);
  const std::string text = ShowScoreTable({score}, Naming::kSupplierService, 80);
  EXPECT_LE(WidestLine(text), 80);
  EXPECT_THAT(text, HasSubstr("\n東…/express   99.4 % (98-99.9) of 12,345"));
}

TEST(ShowScoresTest, SupplierIsTwoStoreys) {
  v1::Score score = SupplierScore("lotus-works");
  *score.mutable_handling() = TimesOf(11, 50, 40);
  score.set_excused_count(3);
  score.set_fault_count(1);
  *score.add_pairs() = PairScore("lotus-works", "VN", "express");
  *score.add_pairs() = PairScore("lotus-works", "VN", "");
  EXPECT_EQ(
      ShowScore(score, /*explain=*/false, 80),
      std::string("lotus-works\n"
                  "  on time        92 % (88-95) of 412 orders, 0 late\n"
                  "  bad or lost    1.5 % (0.2-4.2) of 531 orders, 0 known\n"
                  "  ships          half within 11 h, 9 in 10 within 2.1 d; 20 of 40 done\n"
                  "  travels        no orders yet\n"
                  "  delivered      half within 2.8 d, 9 in 10 within 5.2 d; 275 of 551 done\n"
                  "  answers        no claims yet\n"
                  "  under way      20 orders, 0 past the promise\n"
                  "  left out       3 forgiven, 1 whose own dates contradict each other\n"
                  "\n"
                  "                                                            delivered\n"
                  "lane           on time              bad or lost             half / 90 %\n"
                  "VN-DE/express  92 % (88-95) of 412  1.5 % (0.2-4.2) of 531  2.8 / 5.2 d\n"
                  "VN-DE/-        92 % (88-95) of 412  1.5 % (0.2-4.2) of 531  2.8 / 5.2 d\n"
                  "\n"
                  "Under way: 40 orders; past the promise: none.\n") +
          kHolds);
}

TEST(ShowScoresTest, ExplainShowsWhatEstimatesAreMadeOf) {
  v1::Score score = SupplierScore("lotus-works");
  score.mutable_late_prior()->set_mean(0.1347);
  score.mutable_late_prior()->set_strength(4);
  EXPECT_THAT(ShowScore(score, /*explain=*/true, 80),
              HasSubstr("  on time        observed 0.9200, estimate 0.9200, weight 100.0\n"
                        "                 being late starts from 0.1347, worth 4 orders\n"));
  EXPECT_THAT(ShowScore(score, /*explain=*/true, 80),
              HasSubstr("starts from nothing: no order of anyone has settled\n"));
  EXPECT_THAT(ShowScore(score, /*explain=*/false, 80), Not(HasSubstr("starts from")));
}

TEST(ShowScoresTest, ExplainSaysHowAlikeSuppliersAndLanesAre) {
  v1::Score score = SupplierScore("lotus-works");
  score.mutable_late_prior()->set_mean(0.1347);
  score.mutable_late_prior()->set_strength(12.4);
  v1::Fleet& fleet = *score.mutable_late_fleet();
  fleet.set_mean(0.11);
  fleet.set_supplier_count(1);
  fleet.set_lane_count(8);
  fleet.set_pair_count(17);
  fleet.mutable_suppliers()->set_strength(9);
  fleet.mutable_lanes()->set_strength(400);
  fleet.mutable_lanes()->set_undetectable(true);
  fleet.mutable_pairs()->set_strength(40.2);
  const std::string text = ShowScore(score, /*explain=*/true, 80);
  EXPECT_THAT(
      text,
      HasSubstr("                 being late starts from 0.1347, worth 12 orders\n"
                "                 over all pairs 0.1100 being late: 1 supplier, 8 lanes, 17 pairs\n"
                "                 there are no two suppliers to compare\n"
                "                 no difference between lanes can be seen\n"
                "                 pairs differ about as much as 40 orders can tell\n"
                "  bad or lost    observed"));
  EXPECT_THAT(text, HasSubstr("\n  A supplier starts from what others do on its lanes, and"));
  EXPECT_LE(WidestLine(text), 80);
  v1::Score lane;
  lane.mutable_lane()->set_origin("VN");
  EXPECT_THAT(ShowScore(lane, /*explain=*/true, 80),
              HasSubstr("\n  A lane starts from what its suppliers do on other lanes, and"));
}

TEST(ShowScoresTest, AnswerWithoutAnythingIsShown) {
  EXPECT_THAT(ShowScore(v1::Score(), /*explain=*/true, 80), HasSubstr("no orders yet"));
}

TEST(ShowRankTest, TableAndAdvice) {
  v1::RankSuppliersResponse answer;
  *answer.add_candidates() = CandidateOf("copper-ferry", 8.2, 4.9, 13);
  *answer.add_candidates() = CandidateOf("lotus-works", 31, 24, 39);
  answer.mutable_candidates(0)->set_rank(1);
  answer.mutable_candidates(1)->set_rank(2);
  EXPECT_EQ(ShowRank(answer, "DE", /*explain=*/false, 80),
            "                       late or bad                               under\n"
            "supplier         from  in 100 orders  on time      bad or lost     way\n"
            "1  copper-ferry  VN    8.2 (4.9-13)   92 % of 412  1.5 % of 531     20\n"
            "2  lotus-works   VN    31 (24-39)     92 % of 412  1.5 % of 531     20\n"
            "\n"
            "Next order to DE: copper-ferry from VN. About 8.2 in 100 orders come late or bad\n"
            "(4.9 to 13). This rests on 412 orders. lotus-works from VN comes next, with 31\n"
            "in 100.\n");
}

TEST(ShowRankTest, ThatThereAreMoreIsSaid) {
  v1::RankSuppliersResponse answer;
  *answer.add_candidates() = CandidateOf("copper-ferry", 8.2, 4.9, 13);
  answer.set_candidate_count(1);
  EXPECT_THAT(ShowRank(answer, "DE", false, 80), Not(HasSubstr("The best")));
  answer.set_candidate_count(150);
  EXPECT_THAT(ShowRank(answer, "DE", false, 80),
              HasSubstr("\nThe best 1 of 150; --limit N tells more or fewer.\n"));
}

TEST(ShowRankTest, CloseOnesAreNotCalledWorse) {
  v1::Candidate second = CandidateOf("lotus-works", 12, 4, 25);
  second.set_close_to_first(true);
  EXPECT_THAT(AdviceOn({CandidateOf("copper-ferry", 8.2, 4.9, 13), second}),
              HasSubstr("lotus-works from VN is not clearly worse: the difference may be chance."));
}

TEST(ShowRankTest, ThinEvidenceIsSaid) {
  v1::Candidate thin = CandidateOf("new", 8.2, 0.9, 33);
  *thin.mutable_score()->mutable_on_time() = RateOf(92, 60, 99, 7, 6);
  EXPECT_THAT(AdviceOn({thin}), HasSubstr("This rests on little: 7 orders. There is no other"));
  *thin.mutable_score()->mutable_on_time() = RateOf(92, 60, 99, 70, 6);
  EXPECT_THAT(AdviceOn({thin}), HasSubstr("little: 70 orders, most of them long ago."));
}

TEST(ShowRankTest, WithNothingToJudgeByThereAreNoFigures) {
  v1::RankSuppliersResponse answer;
  for (const char* id : {"a", "b"}) {
    v1::Candidate& candidate = *answer.add_candidates();
    candidate.set_rank(answer.candidates_size());
    candidate.set_assumed(true);
    candidate.mutable_score()->set_supplier_id(id);
    candidate.mutable_score()->mutable_lane()->set_origin("VN");
  }
  EXPECT_EQ(ShowRank(answer, "DE", /*explain=*/false, 80),
            "                late or bad                                  under\n"
            "supplier  from  in 100 orders  on time        bad or lost      way\n"
            "1  a      VN    no orders yet  no orders yet  no orders yet      0\n"
            "2  b      VN    no orders yet  no orders yet  no orders yet      0\n"
            "\n"
            "Nothing to choose by: no order of any supplier has a promise whose day was over.\n");
}

TEST(ShowRankTest, ExplainSaysWhereEachStarts) {
  v1::RankSuppliersResponse answer;
  v1::Candidate& candidate = *answer.add_candidates();
  candidate = CandidateOf("copper-ferry-and-daughters", 8.2, 4.9, 13);
  candidate.set_reason("expect 1 in 12 late and 1 in 8 bad; 412 orders settled");
  candidate.mutable_score()->mutable_late_prior()->set_mean(.0861);
  candidate.mutable_score()->mutable_late_prior()->set_strength(12);
  const std::string text = ShowRank(answer, "DE", /*explain=*/true, 80);
  EXPECT_THAT(text, HasSubstr("   late starts from 0.0861, worth 12 orders; bad from nothing: no"));
  EXPECT_LE(WidestLine(text), 80);
}

TEST(ShowRankTest, AssumedFiguresAreSaid) {
  v1::Candidate first = CandidateOf("new", 21, 2, 55);
  first.set_assumed(true);
  *first.mutable_score() = PairScore("new", "VN", "express");
  first.mutable_score()->clear_on_time();
  v1::Candidate second = first;
  second.mutable_score()->set_supplier_id("newer");
  const std::string advice = AdviceOn({first, second});
  EXPECT_THAT(advice, HasSubstr("Next order to DE: new from VN by express."));
  EXPECT_THAT(advice, HasSubstr("no settled order there yet: the figure is what it does "
                                "elsewhere and others do on that lane, so this order is a trial."));
  EXPECT_THAT(advice, HasSubstr("Not known yet: newer from VN by express."));
}

TEST(ShowOrderTest, TheWholeStory) {
  const auto order = FromJson<v1::Order>(R"({"shop":"harbour","orderId":"1042","parts":[{
    "part":1,"supplier":"lotus-works","origin":"VN","destination":"DE","service":"express",
    "promiseTime":"2026-01-13T22:59:59.999Z","payTime":"2026-01-03T06:45:19Z",
    "cost":{"minorUnits":2744,"currencyCode":"EUR"},"unitCount":2,"item":"basket",
    "excuse":"dock strike","faults":["delivered before it was shipped"],
    "events":[{"event":{"eventId":"p","source":"export","type":"EVENT_TYPE_PAID",
      "eventTime":"2026-01-03T06:45:19Z"}},
      {"event":{"eventId":"d","source":"carriers","type":"EVENT_TYPE_DELIVERED",
      "eventTime":"2026-01-12T10:02:00Z"},"ignored":"retracted"}],
    "counts":[{"measure":"on_time","day":"2026-01-13","excused":true,"outcome":"not yet"}]}]})");
  EXPECT_EQ(ShowOrder(order, 80),
            "Order harbour/1042  (times are UTC)\n"
            "\n"
            "Part 1: lotus-works, VN-DE/express\n"
            "  promised   2026-01-13 22:59\n"
            "  paid       2026-01-03 06:45\n"
            "  goods      basket, 2 units, cost 27.44 EUR\n"
            "\n"
            "  Events\n"
            "  time (UTC)        event      from        says\n"
            "  2026-01-03 06:45  paid       export p\n"
            "  2026-01-12 10:02  delivered  carriers d  no effect: retracted\n"
            "\n"
            "  How it counts\n"
            "  measure  on day      outcome\n"
            "  on time  2026-01-13  not yet (forgiven)\n"
            "  Forgiven, out of the supplier's score: dock strike\n"
            "  Contradiction: delivered before it was shipped\n");
}

TEST(ShowOrderTest, PartOfWhichLittleIsKnown) {
  const auto order = FromJson<v1::Order>(R"({"shop":"s","orderId":"1","parts":[{
    "part":2,"replaces":1,"destination":"DE","promiseTime":"2026-01-13T22:59:59Z",
    "promiseIgnored":true,"missing":["its supplier and origin"]}]})");
  EXPECT_EQ(ShowOrder(order, 80),
            "Order s/1  (times are UTC)\n"
            "\n"
            "Part 2: supplier not known, ?-DE\n"
            "  promised   2026-01-13 22:59 (given too late: shown, not counted)\n"
            "  replaces   part 1\n"
            "\n"
            "  How it counts\n"
            "  not at all yet\n"
            "  Missing: its supplier and origin\n");
}

TEST(ShowOrderTest, Excuses) {
  const auto list = FromJson<v1::ListExcusesResponse>(R"({"excuses":[
    {"excuseId":"x1","laneDays":{"lane":{"origin":"PL","destination":"IE"},
     "firstDueDate":"2026-08-17","lastDueDate":"2026-08-23"},"reason":"dock strike"},
    {"excuseId":"x2","order":{"orderId":"7","part":2},"reason":"our label","withdrawn":true}]})");
  EXPECT_EQ(ShowExcuses({list.excuses().begin(), list.excuses().end()}, 80),
            "excuse  covers                               reason\n"
            "x1      PL-IE, due 2026-08-17 to 2026-08-23  dock strike\n"
            "x2      order default/7#2                    our label (withdrawn)\n");
  EXPECT_EQ(ShowExcuses({}, 80), "nothing is forgiven\n");
}

TEST(ShowStatusTest, DaemonAndFeeds) {
  const auto status = FromJson<v1::ServerStatus>(R"({"version":"0.1.0","clockMode":
    "CLOCK_MODE_EVENTS","nowTime":"2026-09-30T23:59:59Z","halfLife":"3888000s",
    "settleDelay":"86400s","newsTime":"2026-09-28T00:00:00Z","orderCount":"4014",
    "eventCount":"12325","supplierCount":"9","laneCount":"8","acceptingEvents":true,
    "sources":[{"source":"hand","kind":"KIND_LIVE"},{"source":"mondays","kind":"KIND_PERIODIC",
    "completeThroughTime":"2026-09-28T00:00:00Z","lastEventTime":"2026-09-27T16:44:00Z",
    "sendsDeliveries":true,"limitsNews":true}]})");
  EXPECT_EQ(ShowStatus(status, "unix:/x", 80),
            "plumblaned 0.1.0 at unix:/x\n"
            "  now          2026-09-30 23:59 UTC, the time of the latest event\n"
            "  orders       4,014, from 12,325 events\n"
            "  suppliers    9 on 8 lanes\n"
            "  half-life    older orders count half after 45 days\n"
            "  settling     an order is late no sooner than 1 day after its promised day\n"
            "  news         known up to 2026-09-28, for want of news from mondays\n"
            "\n"
            "                                                         tells\n"
            "source   kind      complete up to  last event            deliveries\n"
            "hand     live      now             none                  no\n"
            "mondays  periodic  2026-09-28      2026-09-27 16:44 UTC  yes\n");
}

TEST(ShowStatusTest, DaemonThatSharesItsLogSaysHowFarItIs) {
  auto status = FromJson<v1::ServerStatus>(R"({"logSequence":"40","sharedLog":{"follows":true,
    "ownerAddress":"one:7437","tailSequence":"43","asOfTime":"2026-09-30T10:00:00Z"}})");
  EXPECT_THAT(
      ShowStatus(status, "unix:/x", 200),
      HasSubstr("  shared log   followed; its owner is the one at one:7437; entry 40 of 43"));
  EXPECT_THAT(ShowStatus(status, "unix:/x", 200), HasSubstr("3 behind"));
  status = FromJson<v1::ServerStatus>(R"({"logSequence":"43","acceptingEvents":true,"sharedLog":{
    "ownerAddress":"one:7437","tailSequence":"43","asOfTime":"2026-09-30T10:00:00Z"}})");
  EXPECT_THAT(
      ShowStatus(status, "unix:/x", 80),
      HasSubstr("  shared log   owned; entry 43 of 43 is applied; complete up to 2026-09-30"));
  EXPECT_THAT(ShowStatus(v1::ServerStatus(), "unix:/x", 80), Not(HasSubstr("shared log")));
}

TEST(ShowStatusTest, DaemonThatCannotWriteSaysSoFirst) {
  EXPECT_THAT(ShowStatus(v1::ServerStatus(), "unix:/x", 80),
              HasSubstr("It answers questions but takes no events: a write failed."));
}

}  // namespace
}  // namespace plumblane::client
