// `alerts` and the commands under it against a fake daemon, and their screens.

#include <gmock/gmock.h>

#include <nlohmann/json.hpp>
#include <sstream>

#include "client/exit_codes.h"
#include "client/fake_daemon.h"
#include "client/show_alerts.h"
#include "client/support.h"

namespace plumblane::client {
namespace {

using testing::HasSubstr;

constexpr char kAlerts[] = R"({"activeCount":"1","alerts":[
  {"alertId":"a-1","watched":{"lane":{"origin":"VN","destination":"DE"},"measure":"on_time"},
   "state":"STATE_ACTIVE","changeDate":"2026-09-14","openDate":"2026-09-20",
   "orderCount":"41","hitCount":"9","rateBefore":0.042,"rateSince":0.22,"rateSinceLow":0.11,
   "rateSinceHigh":0.36,
   "contributors":[
    {"supplierId":"lotus-works","orderCount":"14","hitCount":"6","share":0.667},
    {"supplierId":"b","orderCount":"2","hitCount":"1","share":0.111},
    {"supplierId":"c","orderCount":"2","hitCount":"1","share":0.111},
    {"supplierId":"d","orderCount":"2","hitCount":"1","share":0.111}],
   "sentence":"Orders on VN-DE come late more often since about 14 September: 9 of 41.",
   "advice":"Ask lotus-works, and give new orders to others meanwhile."},
  {"alertId":"a-2","watched":{"supplierId":"saffron-depot","measure":"unsafe"},
   "state":"STATE_SHELVED","shelvedUntilDate":"2026-12-01","openDate":"2026-09-18",
   "sentence":"An item of saffron-depot was reported unsafe.","note":"asked","orderCount":"1",
   "hitCount":"1"}]})";

class AlertsTest : public testing::Test {
 protected:
  Result Run(const std::vector<std::string>& arguments) {
    return RunProgram(arguments, daemon_.address());
  }

  FakeDaemon daemon_;
};

TEST_F(AlertsTest, QuestionSaysWhichAreWanted) {
  Run({"alerts", "--all", "--supplier", "a", "--lane", "VN-DE"});
  EXPECT_EQ(daemon_.state.alerts_request.ShortDebugString(),
            "with_closed: true supplier: \"a\" lane { origin: \"VN\" destination: \"DE\" } "
            "page_size: 1000");
}

TEST_F(AlertsTest, WholeScreen) {
  daemon_.state.alerts = FromJson<v1::ListAlertsResponse>(kAlerts);
  EXPECT_EQ(Run({"alerts"}).out,
            "VN-DE, active since 2026-09-20, alert a-1\n"
            "  Orders on VN-DE come late more often since about 14 September: 9 of 41.\n"
            "  since    about 2026-09-14; raised on 2026-09-20\n"
            "  orders   41 since then, 9 of them late\n"
            "  rate     4.2 % before, 22 % (11-36) since\n"
            "  who      lotus-works: 67 % of these, 6 of 14 orders late; b: 11 % of these, 1\n"
            "           of 2 orders late; c: 11 % of these, 1 of 2 orders late; and 1 other\n"
            "  advice   Ask lotus-works, and give new orders to others meanwhile.\n"
            "\n"
            "saffron-depot, shelved until 2026-12-01, alert a-2\n"
            "  An item of saffron-depot was reported unsafe.\n"
            "  since    raised on 2026-09-18\n"
            "  note     asked\n"
            "\n"
            "2 alerts: 1 active and 1 shelved\n");
}

TEST_F(AlertsTest, ExitCodeSaysWhetherOneIsActive) {
  EXPECT_EQ(Run({"alerts"}).code, kDone);
  EXPECT_EQ(Run({"alerts"}).out, "no open alerts\n");
  EXPECT_EQ(Run({"alerts", "--all"}).out, "no alerts yet\n");
  EXPECT_EQ(Run({"alerts", "--supplier", "a"}).out, "no open alerts for a\n");
  EXPECT_EQ(Run({"alerts", "--all", "--lane", "VN-DE"}).out, "no alerts for VN-DE\n");
  for (int n = 1; v1::Alert::State_IsValid(n); ++n) {
    daemon_.state.alerts.clear_alerts();
    daemon_.state.alerts.add_alerts()->set_state(static_cast<v1::Alert::State>(n));
    const ExitCode expected = n == v1::Alert::STATE_ACTIVE ? kConditionHolds : kDone;
    EXPECT_EQ(Run({"alerts"}).code, expected) << n;
    EXPECT_EQ(Run({"alerts", "--json"}).code, expected) << n;
  }
  daemon_.state.alerts = FromJson<v1::ListAlertsResponse>(
      R"({"alerts":[{"state":"STATE_SHELVED"},{"state":"STATE_ACTIVE"}]})");
  daemon_.state.page_size = 1;
  EXPECT_EQ(Run({"alerts"}).code, kConditionHolds);
  EXPECT_EQ(nlohmann::json::parse(Run({"alerts", "--json"}).out)["alerts"].size(), 2u);
  daemon_.Stop();
  EXPECT_EQ(Run({"alerts"}).code, kOutOfReach);
}

TEST_F(AlertsTest, DecisionsAreTold) {
  EXPECT_EQ(Run({"alerts", "acknowledge", "a-1", "--note", "asked the carrier"}).out,
            "alert a-1: acknowledged\n");
  EXPECT_EQ(daemon_.state.acknowledge_request.ShortDebugString(),
            "alert_id: \"a-1\" note: \"asked the carrier\"");
  EXPECT_EQ(Run({"alerts", "shelve", "a-1", "--until", "2026-12-01"}).out,
            "alert a-1: shelved until 2026-12-01\n");
  EXPECT_EQ(daemon_.state.shelve_request.ShortDebugString(),
            "alert_id: \"a-1\" until_date: \"2026-12-01\"");
  EXPECT_EQ(Run({"alerts", "accept", "a-1"}).out, "alert a-1: accepted as normal\n");
  EXPECT_EQ(daemon_.state.accept_request.ShortDebugString(), "alert_id: \"a-1\"");
  const auto json = nlohmann::json::parse(Run({"alerts", "accept", "a-1", "--json"}).out);
  EXPECT_EQ(json["state"], "STATE_ACCEPTED");
  const Result unknown = Run({"alerts", "accept", "unknown"});
  EXPECT_EQ(unknown.code, kFailed);
  EXPECT_EQ(unknown.err, "there is no alert \"unknown\"; see plumblane alerts --all\n");
}

v1::AlertNotice NoticeOf(int64_t cursor, v1::AlertNotice::Kind kind) {
  v1::AlertNotice notice;
  notice.set_cursor(cursor);
  notice.mutable_notice_time()->set_seconds(1'790'000'040);
  notice.set_kind(kind);
  notice.mutable_alert()->set_alert_id("a-1");
  notice.mutable_alert()->set_sentence("Orders on VN-DE come late more often.");
  return notice;
}

// By hand: 1,790,000,040 s are 20,717 days (2026-09-21) and 51,240 s (14:14).
TEST_F(AlertsTest, WatchPrintsALineForEachNotice) {
  daemon_.state.notices = {NoticeOf(16, v1::AlertNotice::KIND_RAISED),
                           NoticeOf(17, v1::AlertNotice::KIND_ACTIVE_AGAIN)};
  const std::string again =
      "17 2026-09-21 14:14 UTC active again a-1: Orders on VN-DE come late more often.\n";
  const Result all = Run({"alerts", "watch"});
  EXPECT_EQ(all.code, kDone);
  EXPECT_EQ(all.out,
            "16 2026-09-21 14:14 UTC raised a-1: Orders on VN-DE come late more often.\n" + again);
  EXPECT_EQ(Run({"alerts", "watch", "--after", "16"}).out, again);
  std::istringstream lines(Run({"alerts", "watch", "--json"}).out);
  std::vector<std::string> cursors;
  for (std::string line; std::getline(lines, line);) {
    cursors.push_back(nlohmann::json::parse(line)["cursor"]);
  }
  EXPECT_THAT(cursors, testing::ElementsAre("16", "17"));
}

TEST_F(AlertsTest, WatchThatBreaksSaysSoAfterWhatItHeard) {
  daemon_.state.notices = {NoticeOf(16, v1::AlertNotice::KIND_RAISED)};
  daemon_.state.watch_end = {grpc::StatusCode::UNAVAILABLE, "the daemon is stopping"};
  const Result broken = Run({"alerts", "watch"});
  EXPECT_EQ(broken.code, kOutOfReach);
  EXPECT_THAT(broken.out, HasSubstr("16 "));
  daemon_.state.watch_end = {grpc::StatusCode::OUT_OF_RANGE, "after_cursor: expected at most 16"};
  const Result unknown = Run({"alerts", "watch", "--after", "99"});
  EXPECT_EQ(unknown.code, kFailed);
  EXPECT_EQ(unknown.err,
            "--after: expected at most 16\n"
            "Watch without --after; plumblane alerts --all tells what was missed.\n");
}

TEST_F(AlertsTest, WatchesSayHowSoonOrWhyNot) {
  EXPECT_EQ(Run({"alerts", "watches"}).out, "nothing is watched yet\n");
  daemon_.state.watches = FromJson<v1::ListWatchesResponse>(R"({"watches":[
    {"watched":{"lane":{"origin":"VN","destination":"DE"},"measure":"on_time"},
     "normalRate":0.042,"yearlyOrders":1200.4,"falseAlarmsAYear":0.1,"daysToHear":8.94,
     "warning":true},
    {"watched":{"lane":{"destination":"SE"},"measure":"on_time",
     "pooledLanes":[{"origin":"IN","destination":"SE"},{"origin":"MX","destination":"SE"}]},
     "normalRate":0.06,"yearlyOrders":80,"falseAlarmsAYear":0.1,"daysToHear":61.2},
    {"watched":{"supplierId":"agave-trail","measure":"defect"},"idle":true,
     "reason":"fewer than 50 settled orders"},
    {"watched":{"supplierId":"agave-trail","measure":"unsafe"}},
    {"watched":{"lane":{"origin":"VN","destination":"NZ"},"measure":"on_time"},"idle":true,
     "reason":"no orders"}], "oddsRatio":2.5})");
  EXPECT_EQ(Run({"alerts", "watches"}).out,
            "                               normal  orders  heard   false\n"
            "watched           for               %  a year  after  a year\n"
            "VN-DE             late            4.2   1,200    8.9    0.10\n"
            "  evidence is building\n"
            "slow lanes to SE  late            6.0      80     61    0.10\n"
            "  IN-SE, MX-SE\n"
            "agave-trail       bad or lost       -       -      -       -\n"
            "  not watched: fewer than 50 settled orders\n"
            "agave-trail       unsafe            -       -      -       -\n"
            "VN-NZ             late              -       -      -       -\n"
            "  not watched: no orders\n"
            "\n"
            "normal: orders that are so as a rule; heard after: days until 2.5 times the odds\n"
            "would be heard, on average; false: alarms a year though nothing changed; -: no\n"
            "figure.\n");
  EXPECT_EQ(ShowHeardOfLanes(daemon_.state.watches, 80),
            "2.5 times the odds of a late order would be heard of, on average, after these\n"
            "days: VN-DE 8.9, slow lanes to SE 61.\n"
            "Not watched (plumblane alerts watches says why): VN-NZ.\n");
  const auto json = nlohmann::json::parse(Run({"alerts", "watches", "--json"}).out);
  EXPECT_EQ(json["watches"].size(), 5u);
}

TEST(ShowAlertsTest, StatesAreTold) {
  const std::pair<v1::Alert::State, std::string> cases[] = {
      {v1::Alert::STATE_ACTIVE, "active since 2026-09-20"},
      {v1::Alert::STATE_ACKNOWLEDGED, "acknowledged"},
      {v1::Alert::STATE_SHELVED, "shelved until 2026-12-01"},
      {v1::Alert::STATE_RETURNED_TO_NORMAL, "returned to normal on 2026-10-02"},
      {v1::Alert::STATE_ACCEPTED, "accepted as normal on 2026-10-02"},
      {v1::Alert::STATE_REVISED_AWAY, "revised away on 2026-10-02"}};
  for (const auto& [state, text] : cases) {
    v1::Alert alert;
    alert.set_state(state);
    alert.set_open_date("2026-09-20");
    alert.set_close_date("2026-10-02");
    alert.set_shelved_until_date("2026-12-01");
    EXPECT_EQ(AlertStateText(alert), text);
  }
}

TEST(ShowAlertsTest, LongTextsFit) {
  auto answer = FromJson<v1::ListAlertsResponse>(kAlerts);
  std::string words;
  for (int i = 0; i < 30; ++i) words += "dock strike ";
  for (v1::Alert& alert : *answer.mutable_alerts()) {
    alert.set_sentence(words);
    alert.set_advice(words);
    alert.set_note(words);
    alert.set_revision(words);
    alert.set_shared_cause(words);
  }
  EXPECT_LE(WidestLine(ShowAlerts(answer, false, 80)), 80);
}

}  // namespace
}  // namespace plumblane::client
