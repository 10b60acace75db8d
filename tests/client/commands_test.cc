// Whole commands against a fake daemon: what is asked, what is answered, with which exit code.

#include <gmock/gmock.h>

#include <nlohmann/json.hpp>

#include "client/exit_codes.h"
#include "client/fake_daemon.h"
#include "client/support.h"
#include "client/text.h"

namespace plumblane::client {
namespace {

using testing::AllOf;
using testing::HasSubstr;
using testing::StartsWith;

class CommandsTest : public testing::Test {
 protected:
  Result Run(const std::vector<std::string>& arguments) {
    return RunProgram(arguments, daemon_.address());
  }

  static v1::Score SupplierNamed(const std::string& id) {
    v1::Score score;
    score.set_name("suppliers/" + id);
    score.set_supplier_id(id);
    *score.mutable_on_time() = RateOf(92, 88, 95, 412);
    return score;
  }

  static v1::Candidate CandidateNamed(const std::string& id) {
    v1::Candidate candidate;
    candidate.set_rank(1);
    candidate.set_expected_bad(.08);
    *candidate.mutable_score() = SupplierNamed(id);
    candidate.mutable_score()->mutable_lane()->set_origin("TR");
    return candidate;
  }

  FakeDaemon daemon_;
  TemporaryFolder folder_;
};

TEST_F(CommandsTest, SuppliersFollowsEveryPage) {
  daemon_.state.page_size = 2;
  for (const char* id : {"a", "b", "c", "d", "e"}) {
    daemon_.state.suppliers.push_back(SupplierNamed(id));
  }
  const Result table = Run({"suppliers"});
  EXPECT_EQ(table.code, kDone);
  EXPECT_THAT(table.out, AllOf(HasSubstr("\na "), HasSubstr("\ne ")));
  const auto json = nlohmann::json::parse(Run({"suppliers", "--json"}).out);
  EXPECT_EQ(json["scores"].size(), 5u);
  EXPECT_EQ(json["nextPageToken"], "");
}

TEST_F(CommandsTest, LanesAreNamedByTheirEnds) {
  v1::Score score;
  score.mutable_lane()->set_origin("VN");
  score.mutable_lane()->set_destination("DE");
  daemon_.state.lanes.push_back(score);
  EXPECT_THAT(Run({"lanes"}).out, HasSubstr("\nVN-DE  no orders yet"));
}

TEST_F(CommandsTest, QuestionsCarryTheMomentAndTheHalfLife) {
  daemon_.state.scores["suppliers/a"] = SupplierNamed("a");
  EXPECT_EQ(Run({"supplier", "a", "--as-of", "2026-07-01", "--half-life", "20"}).code, kDone);
  const v1::GetScoreRequest& request = daemon_.state.score_request;
  EXPECT_EQ(TimeText(request.as_of_time()), "2026-07-01");
  EXPECT_EQ(request.half_life().seconds(), 20 * 86'400);
  Run({"--half-life", "0.5", "supplier", "a"});
  EXPECT_EQ(daemon_.state.score_request.half_life().seconds(), 43'200);
  EXPECT_FALSE(daemon_.state.score_request.has_as_of_time());
}

TEST_F(CommandsTest, QuestionsCarryTheModeAndTheDaysOfArrival) {
  daemon_.state.scores["suppliers/a"] = SupplierNamed("a");
  EXPECT_EQ(Run({"supplier", "a", "--within", "10", "--within", "14.5", "--average"}).code, kDone);
  EXPECT_EQ(daemon_.state.score_request.ShortDebugString(),
            "name: \"suppliers/a\" within_days: 10 within_days: 14.5 rate_mode: RATE_MODE_AVERAGE");
  Run({"supplier", "a"});
  EXPECT_EQ(daemon_.state.score_request.ShortDebugString(), "name: \"suppliers/a\"");
  daemon_.state.suppliers.push_back(SupplierNamed("a"));
  for (const char* command : {"suppliers", "lanes"}) {
    Run({command, "--average"});
    EXPECT_EQ(daemon_.state.list_request.rate_mode(), v1::RATE_MODE_AVERAGE);
    Run({command});
    EXPECT_EQ(daemon_.state.list_request.rate_mode(), v1::RATE_MODE_UNSPECIFIED);
  }
}

TEST_F(CommandsTest, LaneIsAskedForAsWritten) {
  Run({"lane", "vn-de/express"});
  EXPECT_EQ(daemon_.state.score_request.name(), "lanes/VN-DE/express");
  Run({"lane", "VN-DE/-"});
  EXPECT_EQ(daemon_.state.score_request.name(), "lanes/VN-DE/-");
}

TEST_F(CommandsTest, UnknownSupplierIsAnsweredWithTheNearest) {
  daemon_.state.suppliers.push_back(SupplierNamed("lotus-works"));
  const Result result = Run({"supplier", "lotus-work"});
  EXPECT_EQ(result.code, kFailed);
  EXPECT_EQ(result.out, "");
  EXPECT_EQ(result.err,
            "no order names supplier \"lotus-work\", did you mean \"lotus-works\"? See "
            "plumblane suppliers.\n");
}

TEST_F(CommandsTest, JsonIsTheAnswerItself) {
  daemon_.state.scores["suppliers/a"] = SupplierNamed("a");
  const auto json = nlohmann::json::parse(Run({"--json", "supplier", "a"}).out);
  EXPECT_EQ(json["supplierId"], "a");
  EXPECT_EQ(json["onTime"]["orderCount"], "412");
  EXPECT_EQ(json["overdueCount"], "0");   // written although it is 0
  EXPECT_FALSE(json.contains("defect"));  // no data is not zero
}

TEST_F(CommandsTest, OrderIsFoundByShop) {
  v1::Order order;
  order.set_shop("harbour");
  order.set_order_id("1042");
  daemon_.state.orders.push_back(order);
  EXPECT_THAT(Run({"order", "1042", "--shop", "harbour"}).out, StartsWith("Order harbour/1042"));
  EXPECT_THAT(Run({"order", "harbour/1042"}).out, StartsWith("Order harbour/1042"));
  const Result unknown = Run({"order", "1042"});
  EXPECT_EQ(unknown.code, kFailed);
  EXPECT_EQ(unknown.err, "there is none of that name; name another shop with --shop\n");
}

TEST_F(CommandsTest, RankAsksForEndsAndService) {
  *daemon_.state.ranking.add_candidates() = CandidateNamed("copper-ferry");
  const Result result = Run({"rank", "--to", "de", "--from", "tr", "--service", "-"});
  EXPECT_EQ(result.code, kDone);
  EXPECT_THAT(result.out, HasSubstr("Next order to DE: copper-ferry from TR."));
  EXPECT_EQ(daemon_.state.rank_request.ShortDebugString(),
            "destination: \"DE\" origin: \"TR\" service: \"\"");
  Run({"rank", "--to", "DE"});
  EXPECT_EQ(daemon_.state.rank_request.ShortDebugString(), "destination: \"DE\"");
  Run({"rank", "--to", "DE", "--limit", "3"});
  EXPECT_EQ(daemon_.state.rank_request.ShortDebugString(), "destination: \"DE\" limit: 3");
}

TEST_F(CommandsTest, RankWithoutCandidateHasItsOwnExitCode) {
  const Result result = Run({"rank", "--to", "JP", "--service", "express"});
  EXPECT_EQ(result.code, kNoSupplier);
  EXPECT_EQ(result.out, "");
  EXPECT_EQ(result.err,
            "no supplier has had an order to JP by service express yet; see plumblane "
            "lanes for where there have been some\n");
  const Result json = Run({"rank", "--to", "JP", "--json"});
  EXPECT_EQ(json.code, kNoSupplier);
  EXPECT_TRUE(nlohmann::json::parse(json.out)["candidates"].empty());
}

TEST_F(CommandsTest, StatusNamesTheDaemon) {
  daemon_.state.status.set_version("0.1.0");
  EXPECT_THAT(Run({"status"}).out, StartsWith("plumblaned 0.1.0 at " + daemon_.address()));
}

TEST_F(CommandsTest, RecordSendsOneEvent) {
  const Result result = Run({"record", "harbour/1042", "disputed", "--reason", "damaged", "--claim",
                             "13.75", "--currency", "EUR", "--time", "2026-03-05T14:00:00Z"});
  EXPECT_EQ(result.code, kDone);
  EXPECT_EQ(result.out, "taken\n");
  ASSERT_EQ(daemon_.state.events.size(), 1u);
  const v1::Event& event = daemon_.state.events[0];
  EXPECT_EQ(event.shop() + " " + event.order_id() + " " + event.source(), "harbour 1042 hand");
  EXPECT_THAT(event.event_id(), testing::MatchesRegex("hand-[0-9a-f]{16}"));
  EXPECT_EQ(event.claim().minor_units(), 1375);
}

TEST_F(CommandsTest, SameWordsAndTimeMakeTheSameId) {
  const std::vector<std::string> words = {"record", "1", "answered", "--time", "2026-03-05"};
  std::vector<std::string> other = words;
  other.insert(other.end(), {"--shop", "harbour"});
  Run(words);
  Run(words);
  Run(other);
  ASSERT_EQ(daemon_.state.events.size(), 3u);
  EXPECT_EQ(daemon_.state.events[0].event_id(), daemon_.state.events[1].event_id());
  EXPECT_NE(daemon_.state.events[0].event_id(), daemon_.state.events[2].event_id());
}

TEST_F(CommandsTest, RecordPlacesBareDatesAtTheDestination) {
  daemon_.state.destinations["default/1"] = "JP";
  Run({"record", "1", "delivered", "--time", "2026-07-05"});
  ASSERT_EQ(daemon_.state.events.size(), 1u);
  EXPECT_EQ(TimeText(daemon_.state.events[0].event_time()), "2026-07-04 15:00 UTC");
}

TEST_F(CommandsTest, RecordSplitsALane) {
  Run({"record", "1", "paid", "--supplier", "a", "--lane", "vn-de/express", "--promise-days", "3"});
  ASSERT_EQ(daemon_.state.events.size(), 1u);
  const v1::Event& event = daemon_.state.events[0];
  EXPECT_EQ(event.origin() + event.destination() + event.service(), "VNDEexpress");
}

TEST_F(CommandsTest, RecordNamesTheOptionAtFault) {
  const Result result = Run({"record", "1", "refunded", "--refund", "5"});
  EXPECT_EQ(result.code, kUsage);
  EXPECT_EQ(result.err, "--currency: expected the currency of `refund`, such as EUR\n");
}

TEST_F(CommandsTest, RecordAsksWhetherAnUnknownOrderIsRight) {
  daemon_.state.receive = [](const v1::EventBatch&, v1::BatchReceipt* receipt) {
    receipt->set_accepted_count(1);
    receipt->set_order_delta(1);
    receipt->set_waiting_delta(1);
  };
  EXPECT_EQ(Run({"record", "1042", "answered"}).out,
            "taken\norder default/1042 was not known before: is the number right? It waits for its "
            "supplier and lane\n");
}

TEST_F(CommandsTest, RecordThatIsRefusedSaysWhy) {
  daemon_.state.receive = [](const v1::EventBatch&, v1::BatchReceipt* receipt) {
    receipt->set_rejected_count(1);
    v1::EventResult& result = *receipt->add_results();
    result.set_outcome(v1::EventResult::OUTCOME_REJECTED);
    result.set_field("event_time");
    result.set_message("expected a time not more than a day ahead");
  };
  const Result result = Run({"record", "1042", "answered", "--time", "2036-01-01"});
  EXPECT_EQ(result.code, kSomeRejected);
  EXPECT_EQ(result.err, "not taken: --time: expected a time not more than a day ahead\n");
}

TEST_F(CommandsTest, ExcusesComeAndGo) {
  EXPECT_EQ(Run({"excuse", "add", "--lane", "PL-IE", "--due", "2026-08-17..2026-08-23", "--reason",
                 "dock strike"})
                .out,
            "forgiven: PL-IE, due 2026-08-17 to 2026-08-23 (dock strike), as excuse-1\n");
  EXPECT_EQ(
      Run({"excuse", "add", "--order", "7", "--shop", "meadow", "--part", "2", "--reason", "label"})
          .out,
      "forgiven: order meadow/7#2 (label), as excuse-2\n");
  EXPECT_EQ(Run({"excuse", "withdraw", "excuse-1"}).code, kDone);
  EXPECT_THAT(Run({"excuse", "list"}).out, HasSubstr("dock strike (withdrawn)\n"));
  const Result unknown = Run({"excuse", "withdraw", "nothing"});
  EXPECT_EQ(unknown.code, kFailed);
  EXPECT_EQ(unknown.err, "there is none of that name\n");
}

TEST_F(CommandsTest, ExcusesAreLoadedRowByRow) {
  const std::string file = folder_.Write("x.csv",
                                         "lane,first_due,last_due,order_id,shop,part,reason\n"
                                         "PL-IE,2026-08-17,2026-08-23,,,,dock strike\n"
                                         "PLIE,2026-08-17,2026-08-23,,,,dock strike\n"
                                         ",,,7,meadow,,label\n"
                                         ",,,8,,,taken\n"
                                         "PL-IE,2026-08-17,,,,,x\n"
                                         ",,,,,,x\n");
  const Result result = Run({"excuse", "load", file});
  EXPECT_EQ(result.code, kSomeRejected);
  EXPECT_EQ(result.out,
            "forgiven: PL-IE, due 2026-08-17 to 2026-08-23 (dock strike), as excuse-1\n"
            "forgiven: order meadow/7 (label), as excuse-2\n"
            "4 rows rejected (" +
                file + ".rejected)\n");
  EXPECT_THAT(result.err,
              AllOf(HasSubstr("line 3: lane: expected a lane such as VN-DE"),
                    HasSubstr("line 5: is taken"), HasSubstr("line 6: last_due: expected a date"),
                    HasSubstr("line 7: lane: expected either a lane or an order_id")));
}

TEST_F(CommandsTest, ExcuseFileOfOtherColumnsIsRefused) {
  const std::string file = folder_.Write("x.csv", "lane,first_day,reason\nPL-IE,2026-08-17,x\n");
  const Result result = Run({"excuse", "load", file});
  EXPECT_EQ(result.code, kUsage);
  EXPECT_THAT(result.err, HasSubstr("unknown column \"first_day\", did you mean \"first_due\"?"));
  EXPECT_TRUE(daemon_.state.excuses.empty());
}

TEST_F(CommandsTest, BacktestAsksForWhatItIsTold) {
  v1::Forecaster& setting = *daemon_.state.backtest.add_forecasters();
  setting.set_kind(v1::Forecaster::KIND_HALF_LIFE);
  setting.mutable_half_life()->set_seconds(45 * 86'400);
  setting.set_is_setting(true);
  EXPECT_THAT(Run({"backtest"}).out, HasSubstr("\nhalf-life 45 days (your setting)"));
  const v1::BacktestRequest& request = daemon_.state.backtest_request;
  EXPECT_EQ(request.half_lives_size(), 0);
  EXPECT_FALSE(request.has_as_of_time() || request.has_days_ahead() || request.has_first_days());
  const Result result = Run({"backtest", "--half-life", "20", "--half-life", "0.5", "--days-ahead",
                             "0", "--first-days", "60", "--as-of", "2026-07-01", "--json"});
  EXPECT_EQ(result.code, kDone);
  EXPECT_EQ(nlohmann::json::parse(result.out)["forecasters"][0]["halfLife"], "3888000s");
  ASSERT_EQ(request.half_lives_size(), 2);
  EXPECT_EQ(request.half_lives(0).seconds(), 20 * 86'400);
  EXPECT_EQ(request.half_lives(1).seconds(), 43'200);
  EXPECT_TRUE(request.has_days_ahead());
  EXPECT_EQ(request.days_ahead(), 0);
  EXPECT_EQ(request.first_days(), 60);
  EXPECT_EQ(TimeText(request.as_of_time()), "2026-07-01");
}

TEST_F(CommandsTest, BacktestOfTooLittleHistorySaysSo) {
  const Result result = Run({"backtest"});
  EXPECT_EQ(result.code, kFailed);
  EXPECT_EQ(result.out, "");
  EXPECT_EQ(result.err, "too little history: 3 days\n");
}

TEST_F(CommandsTest, DaemonOutOfReach) {
  const Result result = RunProgram({"suppliers"}, "unix:/nowhere/socket");
  EXPECT_EQ(result.code, kOutOfReach);
  EXPECT_EQ(result.out, "");
  EXPECT_EQ(result.err,
            "the daemon at unix:/nowhere/socket cannot be reached: No such file or directory\n"
            "Is plumblaned running there? Name another with --server or PLUMBLANE_SERVER.\n");
}

}  // namespace
}  // namespace plumblane::client
