// `sends` and `sends undo` against a fake daemon: what is asked, what is shown, and that nothing is
// taken back unasked.
#include <gmock/gmock.h>

#include "client/exit_codes.h"
#include "client/fake_daemon.h"
#include "client/send_report.h"
#include "client/show_sends.h"
#include "client/support.h"

namespace plumblane::client {
namespace {

using testing::HasSubstr;

constexpr char kSends[] = R"({"sends":[
  {"sendNumber":"12","state":"STATE_OPEN","beginTime":"2026-10-01T08:00:00Z","files":["b.csv"]},
  {"sendNumber":"11","state":"STATE_UNDONE","beginTime":"2026-09-28T08:00:00Z",
   "files":["a.csv","b.csv","c.csv"],"acceptedCount":"8412","duplicateCount":"3",
   "conflictCount":"1","rejectedCount":"2","firstEventTime":"2026-09-01T00:00:00Z",
   "lastEventTime":"2026-09-27T10:00:00Z","firstLogSequence":"3","lastLogSequence":"19"}]})";

class SendsTest : public testing::Test {
 protected:
  Result Run(const std::vector<std::string>& arguments, const std::string& input = "") {
    return RunProgram(arguments, daemon_.address(), input);
  }
  FakeDaemon daemon_;
  TemporaryFolder folder_;
};

TEST_F(SendsTest, ListsWhatWasSentWhen) {
  EXPECT_EQ(Run({"sends"}).out, "nothing was sent yet\n");
  daemon_.state.sends = FromJson<v1::ListSendsResponse>(kSends);
  EXPECT_EQ(Run({"sends"}).out,
            "                                                              not\n"
            "files             send  begun                   new  known  taken  state\n"
            "b.csv               12  2026-10-01 08:00 UTC      0      0      0  open\n"
            "a.csv and 2 more    11  2026-09-28 08:00 UTC  8,412      3      3  taken back\n");
  EXPECT_EQ(Run({"--plain", "sends"}).out,
            "files\tsend\tbegun\tnew\tknown\tnot taken\tfrom\tto\tlog\tstate\n"
            "b.csv\t12\t2026-10-01 08:00 UTC\t0\t0\t0\t-\t-\t-\topen\n"
            "a.csv and 2 more\t11\t2026-09-28 08:00 UTC\t8412\t3\t3\t2026-09-01\t2026-09-27\t"
            "3-19\ttaken back\n");
  EXPECT_THAT(ShowSends(daemon_.state.sends, 120),
              HasSubstr("2026-09-01  2026-09-27  3-19  taken"));
}

TEST_F(SendsTest, WhatIsSentBelongsToOneSend) {
  daemon_.state.send_number = 7;
  const std::string a = folder_.Write(
      "a.csv", "event_id,order_id,type,time\ne,1,delivered,2026-03-05T14:00:00Z\nf,1,oops,\n");
  const std::string b =
      folder_.Write("b.csv", "event_id,order_id,type,time\ng,1,shipped,2026-03-05T14:00:00Z\n");
  const Result sent = Run({"send", a, b, "--source", "s"});
  EXPECT_THAT(sent.out, HasSubstr("this is send 7; \"plumblane sends undo 7\" takes it back\n"));
  ASSERT_EQ(daemon_.state.sends_begun.size(), 1);
  EXPECT_EQ(daemon_.state.sends_begun[0].files_size(), 2);
  EXPECT_EQ(daemon_.state.sends_begun[0].source(), "s");
  EXPECT_EQ(daemon_.state.news[0].send_number(), 7);
  ASSERT_EQ(daemon_.state.sends_finished.size(), 1);
  EXPECT_EQ(daemon_.state.sends_finished[0].ShortDebugString(), "send_number: 7 rejected_count: 1");
  EXPECT_THAT(Run({"send", b, "--json"}).out, HasSubstr("\"sendNumber\": 7"));
}

TEST_F(SendsTest, WhereNobodyCanBeAskedTheEffectIsShownAndNothingTakenBack) {
  daemon_.state.undo_effect = FromJson<v1::UndoSendResponse>(R"({
    "send":{"sendNumber":"11","files":["a.csv"]},
    "effect":{"orderCount":"40","goneEventCount":"120"}})");
  const Result unasked = Run({"sends", "undo", "11"}, "yes\n");
  EXPECT_EQ(unasked.code, kUsage);
  EXPECT_THAT(unasked.out, HasSubstr("120 events"));
  EXPECT_THAT(unasked.err, HasSubstr("nothing was changed: this is what it would do"));
  const Result as_json = Run({"sends", "undo", "11", "--json"});
  EXPECT_EQ(as_json.code, kUsage);
  EXPECT_THAT(as_json.out, HasSubstr("\"goneEventCount\": \"120\""));
  ASSERT_EQ(daemon_.state.undos.size(), 2);
  for (const auto& undo : daemon_.state.undos) EXPECT_TRUE(undo.validate_only());
  daemon_.state.undos.clear();
  EXPECT_EQ(Run({"sends", "undo"}).code, kUsage);
  EXPECT_EQ(Run({"sends", "undo", "0"}).code, kUsage);
  EXPECT_TRUE(daemon_.state.undos.empty());
}

TEST_F(SendsTest, TheEffectIsShownBeforeItIsDone) {
  daemon_.state.undo_effect = FromJson<v1::UndoSendResponse>(R"({
    "send":{"sendNumber":"11","beginTime":"2026-09-28T08:00:00Z","files":["a.csv"]},
    "effect":{"orderCount":"40","goneEventCount":"120","keptEventCount":"1","gonePartCount":"1",
    "suppliers":[{"supplier":"lotus-works","orderDelta":"-38","deliveredDelta":"-31",
                  "lateDelta":"-4"},{"supplier":"amber","defectDelta":"1"}]}})");
  daemon_.state.undone = FromJson<v1::UndoSendResponse>(
      R"({"send":{"sendNumber":"11","files":["a.csv"],"goneEventCount":"120"}})");
  const Result done = Run({"sends", "undo", "11", "--yes"});
  EXPECT_EQ(done.code, kDone);
  EXPECT_EQ(done.out,
            "send 11, a.csv, of 2026-09-28 08:00 UTC told something of 40 orders. To take it\n"
            "back takes out 120 events\n"
            "1 event stays: other sends told the same\n"
            "1 order goes: nothing else is known of it\n"
            "lotus-works: 38 orders fewer, 31 deliveries fewer, 4 late ones fewer\n"
            "amber: 1 defect more\n"
            "taken back: 120 events of send 11, a.csv. To have it back, send the same again\n");
  ASSERT_EQ(daemon_.state.undos.size(), 2);
  EXPECT_TRUE(daemon_.state.undos[0].validate_only());
  EXPECT_FALSE(daemon_.state.undos[1].validate_only());
  daemon_.state.undo_status = {grpc::StatusCode::FAILED_PRECONDITION,
                               "send 11 was taken back already"};
  const Result twice = Run({"sends", "undo", "11", "--yes"});
  EXPECT_EQ(twice.code, kFailed);
  EXPECT_EQ(twice.err, "send 11 was taken back already\n");
}

TEST(SendReport, SaysWhyAMappedRowIsInConflictAndWhatToDo) {
  FileReport report;
  report.is_complete = true;
  report.conflicts = 2;
  report.conflict_remarks.Add(4, "known");
  const std::string words = "was it sent with another map?";
  EXPECT_THAT(ToText({report}, 80), testing::Not(HasSubstr(words)));
  report.is_mapped = true;
  EXPECT_THAT(ToText({report}, 200), HasSubstr(words));
}

}  // namespace
}  // namespace plumblane::client
