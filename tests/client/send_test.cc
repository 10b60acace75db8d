// `send` against a fake daemon: what is sent, what is said, what is left behind.

#include <gmock/gmock.h>
#include <grpcpp/create_channel.h>
#include <grpcpp/security/credentials.h>

#include <nlohmann/json.hpp>
#include <sstream>

#include "client/exit_codes.h"
#include "client/fake_daemon.h"
#include "client/sender.h"
#include "client/servers.h"
#include "client/support.h"
#include "client/text.h"

namespace plumblane::client {
namespace {

using testing::ElementsAre;
using testing::HasSubstr;
using testing::StartsWith;

class SendTest : public testing::Test {
 protected:
  Result Send(std::vector<std::string> arguments, const std::string& input = "") {
    arguments.insert(arguments.begin(), "send");
    return RunProgram(arguments, daemon_.address(), input);
  }

  // A `shipped` line with a time in the given minute of 2026-03-05.
  static std::string Shipped(int number, const std::string& more = "") {
    const std::string minute = std::to_string(10 + number % 50);
    return "{\"event_id\":\"e" + std::to_string(number) + "\",\"order_id\":\"" +
           std::to_string(number) + "\",\"type\":\"shipped\",\"time\":\"2026-03-05T14:" + minute +
           ":00Z\"" + more + "}\n";
  }

  static std::string Lines(int count) {
    std::string text;
    for (int i = 1; i <= count; ++i) text += Shipped(i);
    return text;
  }

  // Answers every batch with this result for its event at `index`.
  void Say(int index, v1::EventResult::Outcome outcome, const std::string& code,
           const std::string& message) {
    daemon_.state.receive = [=](const v1::EventBatch& batch, v1::BatchReceipt* receipt) {
      const bool refused = outcome == v1::EventResult::OUTCOME_REJECTED;
      const bool conflict = outcome == v1::EventResult::OUTCOME_CONFLICT;
      receipt->set_accepted_count(batch.events_size() - (refused || conflict ? 1 : 0));
      receipt->set_rejected_count(refused ? 1 : 0);
      receipt->set_conflict_count(conflict ? 1 : 0);
      v1::EventResult& result = *receipt->add_results();
      result.set_index(index);
      result.set_outcome(outcome);
      result.set_code(code);
      result.set_message(message);
    };
  }

  std::vector<std::string> EventIds() {
    std::vector<std::string> ids;
    for (const v1::Event& event : daemon_.state.events) ids.push_back(event.event_id());
    return ids;
  }

  FakeDaemon daemon_;
  TemporaryFolder folder_;
};

TEST_F(SendTest, HistoryIsSaidWithEveryBatchAndOnlyWhenAskedFor) {
  EXPECT_EQ(Send({"-", "--history"}, Lines(1200)).code, kDone);
  EXPECT_EQ(daemon_.state.batches, 3);
  EXPECT_EQ(daemon_.state.history_batches, 3);
  EXPECT_EQ(Send({"-"}, Lines(3)).code, kDone);
  EXPECT_EQ(daemon_.state.history_batches, 3);
}

TEST_F(SendTest, TellsWhatBecameOfAFile) {
  const std::string file = folder_.Write("a.ndjson", Lines(1203));
  daemon_.state.receive = [](const v1::EventBatch& batch, v1::BatchReceipt* receipt) {
    receipt->set_accepted_count(batch.events_size() - 1);
    receipt->set_duplicate_count(1);
    receipt->set_order_delta(400);
    receipt->set_waiting_delta(2);
    receipt->set_unpromised_delta(10);
  };
  const Result result = Send({file});
  EXPECT_EQ(result.code, kDone);
  EXPECT_EQ(result.err, "");
  EXPECT_EQ(result.out,
            "1,203 events: 1,200 taken, 3 repeats\n"
            "1,200 new orders: 30 have no promise, so no on-time or defect score. From now on\n"
            "  give promises with --promise-days N or a promise column; for these, send their\n"
            "  paid lines again under new event ids, with a promise\n"
            "6 orders wait for their supplier or lane (send their paid events)\n");
  EXPECT_EQ(daemon_.state.batches, 3);
  EXPECT_EQ(daemon_.state.events.size(), 1203u);
  EXPECT_FALSE(Exists(file + ".rejected"));
}

TEST_F(SendTest, RejectedLinesAreLeftInAFileWithTheirNumbers) {
  const std::string file =
      folder_.Write("a.ndjson", Shipped(1) + "oops\n" + Shipped(3) + Shipped(4, ",\"foo\":1"));
  Say(1, v1::EventResult::OUTCOME_REJECTED, "TIME_AHEAD", "expected a time not in the future");
  const Result result = Send({file});
  EXPECT_EQ(result.code, kSomeRejected);
  EXPECT_EQ(result.out, "4 events: 1 taken, 3 rejected (" + file + ".rejected)\n");
  EXPECT_THAT(result.err, HasSubstr(file + ": line 3: expected a time not in the future\n"));
  std::vector<std::string> lines;
  std::istringstream rejected(ReadFile(file + ".rejected"));
  for (std::string line; std::getline(rejected, line);) {
    const auto json = nlohmann::json::parse(line);
    lines.push_back(std::to_string(json["line"].get<int>()) + " " +
                    json["code"].get<std::string>() + " " +
                    json["text"].get<std::string>().substr(0, 4));
  }
  EXPECT_THAT(lines, ElementsAre("2 NOT_JSON oops", "4 UNKNOWN_FIELD {\"ev", "3 TIME_AHEAD {\"ev"));
}

TEST_F(SendTest, ConflictsCountAsRejected) {
  const std::string file = folder_.Write("a.ndjson", Lines(2));
  Say(0, v1::EventResult::OUTCOME_CONFLICT, "ID_CONFLICT", "known with another time");
  const Result result = Send({file});
  EXPECT_EQ(result.code, kSomeRejected);
  EXPECT_EQ(result.out, "2 events: 1 taken, 1 conflict (" + file + ".rejected)\n" +
                            "1 conflict: line 1: known with another time\n");
}

TEST_F(SendTest, ContradictionsAreSaid) {
  const std::string file = folder_.Write("a.ndjson", Lines(600));
  Say(16, v1::EventResult::OUTCOME_CONTRADICTION, "CONTRADICTION", "shipped before it was paid");
  const Result result = Send({file});
  EXPECT_EQ(result.code, kDone);
  EXPECT_EQ(result.out,
            "600 events: 600 taken\n"
            "2 contradictions, the first: line 17: shipped before it was paid\n");
}

TEST_F(SendTest, RetractionsThatWaitAreSaid) {
  const std::string file = folder_.Write("a.ndjson", Lines(600));
  Say(3, v1::EventResult::OUTCOME_WAITING, "UNKNOWN_RETRACTED", "no such event yet");
  EXPECT_EQ(Send({file}).out,
            "600 events: 600 taken\n"
            "2 retractions that find nothing yet, the first: line 4: no such event yet\n");
}

TEST_F(SendTest, DoubtsAreSaid) {
  const std::string file = folder_.Write("a.ndjson", Lines(600));
  Say(3, v1::EventResult::OUTCOME_REMARK, "AMBIGUOUS_ITEM", "counts as our item bowl");
  const Result result = Send({file});
  EXPECT_EQ(result.code, kDone);
  EXPECT_EQ(result.out,
            "600 events: 600 taken\n"
            "2 events with a doubt, the first: line 4: counts as our item bowl\n");
}

TEST_F(SendTest, OldRejectedFileGoesWhenNothingIsRejected) {
  const std::string file = folder_.Write("a.ndjson", Lines(1));
  folder_.Write("a.ndjson.rejected", "{}\n");
  const Result result = Send({file});
  EXPECT_EQ(result.err, "removed " + file + ".rejected: this time nothing was rejected\n");
  EXPECT_FALSE(Exists(file + ".rejected"));
}

TEST_F(SendTest, ReportsUpToTheLatestEventOfEachSource) {
  const std::string file = folder_.Write("a.csv",
                                         "event_id,source,order_id,type,time\n"
                                         "e1,carriers,1,delivered,2026-03-07T10:00:00Z\n"
                                         "e2,carriers,2,delivered,2026-03-06T10:00:00Z\n"
                                         "e3,export,3,shipped,2026-03-09T10:00:00Z\n");
  const Result result = Send({file});
  EXPECT_EQ(result.out,
            "3 events: 3 taken\n"
            "delivery news is complete up to 2026-03-07 10:00 UTC from carriers\n");
  ASSERT_EQ(daemon_.state.news.size(), 2u);
  EXPECT_EQ(daemon_.state.news[0].source(), "carriers");
  EXPECT_EQ(TimeText(daemon_.state.news[1].complete_through_time()), "2026-03-09 10:00 UTC");
}

TEST_F(SendTest, CompleteThroughGoesBeforeTheLatestEvent) {
  const std::string file = folder_.Write("a.ndjson", Lines(1));
  Send({"--complete-through", "2026-03-28", "--source", "mondays", file});
  ASSERT_EQ(daemon_.state.news.size(), 1u);
  EXPECT_EQ(daemon_.state.news[0].source(), "mondays");
  EXPECT_EQ(TimeText(daemon_.state.news[0].complete_through_time()), "2026-03-28");
}

TEST_F(SendTest, EventsNotTakenDoNotMoveTheNews) {
  const std::string file = folder_.Write("a.ndjson", Shipped(1) + Shipped(9));
  Say(1, v1::EventResult::OUTCOME_REJECTED, "TIME_AHEAD", "too far ahead");
  Send({file});
  ASSERT_EQ(daemon_.state.news.size(), 1u);
  EXPECT_EQ(TimeText(daemon_.state.news[0].complete_through_time()), "2026-03-05 14:11 UTC");
}

TEST_F(SendTest, StandardInputIsLive) {
  const Result result = Send({"-"}, Lines(2));
  EXPECT_EQ(result.out, "2 events: 2 taken\n");
  EXPECT_TRUE(daemon_.state.news.empty());
  EXPECT_FALSE(Exists("stdin.rejected"));
}

TEST_F(SendTest, FilesAreCheckedBeforeAnythingIsSent) {
  const std::string good = folder_.Write("good.ndjson", Lines(1));
  const std::string bad = folder_.Write("bad.csv", "event_id,order,type,time\n");
  const Result missing = Send({good, folder_.Path("missing.csv")});
  EXPECT_EQ(missing.code, kFailed);
  EXPECT_EQ(missing.err,
            folder_.Path("missing.csv") + ": No such file or directory\nnothing was sent\n");
  const Result header = Send({good, bad});
  EXPECT_EQ(header.code, kUsage);
  EXPECT_EQ(header.err, bad +
                            ": column 2 of the first line: unknown field \"order\", did you mean "
                            "\"order_id\"?\nnothing was sent\n");
  EXPECT_EQ(daemon_.state.batches, 0);
}

TEST_F(SendTest, EmptyFilesAreSaid) {
  const std::string empty = folder_.Write("empty.csv", "\n");
  const std::string good = folder_.Write("good.ndjson", Lines(1));
  const Result result = Send({empty, good});
  EXPECT_EQ(result.code, kSomeRejected);
  EXPECT_EQ(result.err, empty + ": nothing in it\n");
  EXPECT_THAT(result.out, HasSubstr(good + ": 1 event: 1 taken\n"));
}

TEST_F(SendTest, HeaderAloneIsNoMistake) {
  const std::string file = folder_.Write("a.csv", "event_id,order_id,type,time\n");
  const Result result = Send({"--source", "mondays", "--complete-through", "2026-03-28", file});
  EXPECT_EQ(result.code, kDone);
  EXPECT_EQ(result.out, "0 events: 0 taken\n");
  EXPECT_EQ(daemon_.state.news.size(), 1u);
}

TEST_F(SendTest, DefaultsOfTheCommandLineFillTheEvents) {
  Send({"--shop", "harbour", "--source", "export", "--promise-days", "9", "-"},
       "event_id,order_id,type,time\ne1,1,paid,2026-03-05T14:00:00Z\n");
  ASSERT_EQ(daemon_.state.events.size(), 1u);
  const v1::Event& event = daemon_.state.events[0];
  EXPECT_EQ(event.shop() + " " + event.source(), "harbour export");
  EXPECT_EQ(event.promise_days(), 9);
}

TEST_F(SendTest, TrackingIsLookedUp) {
  auto& answer = daemon_.state.by_tracking["AG2"];
  answer.set_shop("meadow");
  answer.set_order_id("88");
  answer.set_part(1);
  const std::string file = folder_.Write("a.csv",
                                         "event_id,order_id,type,time,tracking\n"
                                         "e1,7,shipped,2026-03-05T10:00:00Z,AG1\n"
                                         "e2,,delivered,2026-03-07,AG1\n"
                                         "e3,,delivered,2026-03-07T10:00:00Z,AG2\n"
                                         "e4,,delivered,2026-03-07T10:00:00Z,AG3\n");
  const Result result = Send({file});
  EXPECT_EQ(result.code, kSomeRejected);
  EXPECT_THAT(result.out, StartsWith("4 events: 3 taken, 1 rejected"));
  EXPECT_THAT(EventIds(), ElementsAre("e1", "e2", "e3"));
  EXPECT_EQ(daemon_.state.events[1].order_id(), "7");
  EXPECT_EQ(daemon_.state.events[2].shop(), "meadow");
  EXPECT_EQ(daemon_.state.look_ups.size(), 1u);
  EXPECT_THAT(result.err, HasSubstr("line 5: tracking: no `shipped` has named \"AG3\" yet"));
}

TEST_F(SendTest, AtMostEightBatchesAreInFlight) {
  daemon_.state.hold_until = 8;
  const std::string file = folder_.Write("a.ndjson", Lines(20 * 500));
  EXPECT_EQ(Send({file}).code, kDone);
  EXPECT_EQ(daemon_.state.batches, 20);
  EXPECT_EQ(daemon_.state.most_unanswered, 8);
}

TEST_F(SendTest, BatchesStayBelowOneMebibyte) {
  const std::string padding(5000, ' ');
  std::string text;
  for (int i = 1; i <= 400; ++i) text += Shipped(i, padding);
  EXPECT_EQ(Send({folder_.Write("a.ndjson", text)}).code, kDone);
  EXPECT_GE(daemon_.state.batches, 4);
}

TEST_F(SendTest, BrokenConnectionSaysHowFarItCame) {
  daemon_.state.break_after = 2;
  const std::string file = folder_.Write("a.ndjson", Lines(3000));
  const std::string other = folder_.Write("b.ndjson", Lines(1));
  const Result result = Send({"--retry-for", "0", file, other});
  EXPECT_EQ(result.code, kOutOfReach);
  EXPECT_THAT(result.err, HasSubstr("cannot be reached: the daemon is stopping"));
  EXPECT_THAT(result.err, HasSubstr(file +
                                    ": sent up to line 1,000; send the same file again, "
                                    "repeats change nothing\n" +
                                    other + ": not sent\n"));
  EXPECT_THAT(result.out, StartsWith("broken off after "));
  EXPECT_THAT(result.out, HasSubstr(" events: 1,000 taken\n"));
  EXPECT_TRUE(daemon_.state.news.empty());
}

TEST_F(SendTest, ABrokenStreamIsGoneOnWithAtTheFirstLineWithoutReceipt) {
  daemon_.state.break_after = 2;  // every stream, so it takes some
  const std::string file = folder_.Write("a.ndjson", Lines(3000));
  const Result result = Send({file});
  EXPECT_EQ(result.code, kDone) << result.err;
  EXPECT_THAT(result.err,
              HasSubstr(file + ": the daemon is stopping; goes on from line 1,001 when it "
                               "can, for up to 30 s\n"));
  EXPECT_THAT(result.out, HasSubstr("3,000"));
}

TEST_F(SendTest, WhereADaemonFollowsItGoesToTheOneThatTakesEvents) {
  FakeDaemon owner;
  daemon_.state.owner = owner.address();
  const Result result = Send({folder_.Write("a.ndjson", Lines(3))});
  EXPECT_EQ(result.code, kDone) << result.err;
  EXPECT_EQ(result.err, "") << "what answered does not follow";
  EXPECT_EQ(owner.state.events.size(), 3u);
  EXPECT_EQ(owner.state.sends_begun.size(), 1u);
  EXPECT_TRUE(daemon_.state.events.empty());
}

TEST_F(SendTest, WhoTakesEventsMayChangeInTheMiddleOfAFile) {
  FakeDaemon next;
  daemon_.state.break_after = 2;
  daemon_.state.receive = [&](const v1::EventBatch& batch, v1::BatchReceipt* receipt) {
    receipt->set_accepted_count(batch.events_size());
    const std::lock_guard lock(daemon_.state.mutex);
    daemon_.state.owner = next.address();
  };
  const Result result = Send({folder_.Write("a.ndjson", Lines(3000))});
  EXPECT_EQ(result.code, kDone) << result.err;
  EXPECT_EQ(daemon_.state.events.size(), 1000u);
  EXPECT_EQ(next.state.events.size(), 2000u);
  EXPECT_THAT(result.out, HasSubstr("3,000"));
}

TEST_F(SendTest, NoDaemonIsSaidBeforeAnythingElse) {
  const std::string file = folder_.Write("a.ndjson", Lines(1));
  const Result result = RunProgram({"send", file}, "unix:/nowhere/socket");
  EXPECT_EQ(result.code, kOutOfReach);
  EXPECT_THAT(result.err, HasSubstr("the daemon at unix:/nowhere/socket cannot be reached"));
  EXPECT_THAT(result.err, HasSubstr("nothing was sent"));
}

TEST_F(SendTest, JsonHoldsTheSameNumbers) {
  const std::string file = folder_.Write("a.ndjson", Shipped(1) + "oops\n");
  const Result result = Send({"--json", file});
  EXPECT_EQ(result.code, kSomeRejected);
  const auto json = nlohmann::json::parse(result.out);
  ASSERT_EQ(json["files"].size(), 1u);
  const auto& report = json["files"][0];
  EXPECT_EQ(report["eventCount"], 2);
  EXPECT_EQ(report["takenCount"], 1);
  EXPECT_EQ(report["rejectedFile"], file + ".rejected");
  EXPECT_EQ(report["complete"], true);
  EXPECT_EQ(report["news"][0]["completeThroughTime"], "2026-03-05T14:11:00Z");
}

TEST_F(SendTest, UnknownTimeZoneIsAMistakeOfUse) {
  const Result result = Send({"--time-zone", "Mars/North", "-"});
  EXPECT_EQ(result.code, kUsage);
  EXPECT_THAT(result.err, HasSubstr("unknown time zone \"Mars/North\""));
}

TEST(SenderTest, DaemonThatGivesNoReceiptIsGivenUp) {
  FakeDaemon daemon;
  daemon.state.is_mute = true;
  const auto channel = grpc::CreateChannel(daemon.address(), grpc::InsecureChannelCredentials());
  const auto intake = v1::Intake::NewStub(channel);
  Sender::Options options;
  options.patience = absl::Milliseconds(50);
  Sender sender(intake.get(), options, [](const auto&, const auto&) {});
  Outgoing event{12, "text", {}};
  EXPECT_TRUE(sender.Add(event).ok());
  const grpc::Status status = sender.Flush();
  EXPECT_EQ(status.error_code(), grpc::StatusCode::DEADLINE_EXCEEDED);
  EXPECT_EQ(sender.first_open_line(), 12);
  EXPECT_EQ(sender.Finish().error_code(), grpc::StatusCode::DEADLINE_EXCEEDED);
}

// As a daemon whose writer stands still: it answers, but gives no receipts.
TEST(SenderTest, WhatADaemonGivesNoReceiptForIsSentToAnother) {
  FakeDaemon mute, daemon;
  mute.state.is_mute = true;
  Servers servers({mute.address(), daemon.address()}, {});
  Sender::Options options;
  options.batch_events = 2;
  options.patience = absl::Milliseconds(50);
  options.retry_for = absl::Seconds(30);
  options.reroute = [&](const grpc::Status& why) {
    EXPECT_EQ(why.error_code(), grpc::StatusCode::DEADLINE_EXCEEDED);
    return servers.GoOn(/*is_silent=*/true) ? servers.at().intake() : nullptr;
  };
  std::vector<int64_t> known;
  Sender sender(servers.at().intake(), options, [&](const auto& batch, const auto&) {
    for (const Outgoing& event : batch) known.push_back(event.line);
  });
  for (int64_t line = 1; line <= 5; ++line) {
    v1::Event event;
    event.set_event_id("e" + std::to_string(line));
    EXPECT_TRUE(sender.Add({line, "text", event}).ok());
  }
  EXPECT_TRUE(sender.Finish().ok());
  EXPECT_THAT(known, ElementsAre(1, 2, 3, 4, 5)) << "each once, in order";
  ASSERT_EQ(daemon.state.events.size(), 5u);
  EXPECT_EQ(daemon.state.events.front().event_id(), "e1");
  EXPECT_TRUE(mute.state.events.empty());
}

TEST(SenderTest, NothingSentEndsWell) {
  FakeDaemon daemon;
  const auto channel = grpc::CreateChannel(daemon.address(), grpc::InsecureChannelCredentials());
  const auto intake = v1::Intake::NewStub(channel);
  Sender sender(intake.get(), {}, [](const auto&, const auto&) {});
  EXPECT_TRUE(sender.Finish().ok());
  EXPECT_EQ(sender.first_open_line(), 0);
}

}  // namespace
}  // namespace plumblane::client
