// `alerts deliveries` against a fake daemon, and how quiet alerts are marked.

#include <gmock/gmock.h>

#include <nlohmann/json.hpp>

#include "client/exit_codes.h"
#include "client/fake_daemon.h"
#include "client/show_alerts.h"
#include "client/show_deliveries.h"
#include "client/support.h"

namespace plumblane::client {
namespace {

using testing::HasSubstr;
using testing::Not;

constexpr char kDeliveries[] = R"({"deliveries":[
  {"sink":"webhook","state":"STATE_WAITING","handledCursor":"16","backlogCount":"1200",
   "nextAttemptTime":"2026-09-21T14:30:00Z","refusedCount":"1","attempts":[
    {"attemptTime":"2026-09-21T14:14:00Z","cursor":"17","noticeCount":1,
     "outcome":"OUTCOME_FAILED","code":503,"detail":"answered 503"},
    {"attemptTime":"2026-09-21T14:00:00Z","cursor":"16","noticeCount":1,
     "outcome":"OUTCOME_REFUSED","code":422,"detail":"answered 422"}]},
  {"sink":"hook","state":"STATE_STOPPED","handledCursor":"1216"},
  {"sink":"mail","state":"STATE_OK","handledCursor":"1216","attempts":[
    {"attemptTime":"2026-09-21T07:00:01Z","cursor":"1216","noticeCount":12,
     "outcome":"OUTCOME_DELIVERED","code":250}]}]})";

TEST(DeliveriesTest, WholeScreen) {
  FakeDaemon daemon;
  EXPECT_EQ(RunProgram({"alerts", "deliveries"}, daemon.address()).out,
            "nothing is sent anywhere; see the daemon's settings\n");
  daemon.state.deliveries = FromJson<v1::ListDeliveriesResponse>(kDeliveries);
  const Result shown = RunProgram({"alerts", "deliveries"}, daemon.address());
  EXPECT_EQ(shown.code, kDone);
  EXPECT_EQ(shown.out,
            "webhook, waiting, next attempt 2026-09-21 14:30 UTC\n"
            "  handled  up to notice 16, 1,200 left\n"
            "  given up 1 notice, refused again and again\n"
            "  latest   2026-09-21 14:14 UTC notice 17 failed: answered 503\n"
            "           2026-09-21 14:00 UTC notice 16 refused: answered 422\n"
            "\n"
            "hook, stopped: the receiver wants no more; tried again when the daemon starts\n"
            "  handled  up to notice 1216, 0 left\n"
            "\n"
            "mail, ok\n"
            "  handled  up to notice 1216, 0 left\n"
            "  latest   2026-09-21 07:00 UTC 12 notices up to 1216 delivered\n");
  const auto json =
      nlohmann::json::parse(RunProgram({"alerts", "deliveries", "--json"}, daemon.address()).out);
  EXPECT_EQ(json["deliveries"].size(), 3u);
  daemon.Stop();
  EXPECT_EQ(RunProgram({"alerts", "deliveries"}, daemon.address()).code, kOutOfReach);
}

TEST(DeliveriesTest, QuietAlertsAreMarked) {
  v1::ListAlertsResponse list;
  v1::AlertNotice notice;
  list.add_alerts()->set_alert_id("a-1");
  EXPECT_THAT(ShowAlerts(list, true, 80), Not(HasSubstr("quiet")));
  EXPECT_THAT(NoticeLine(notice), Not(HasSubstr("quiet")));
  list.mutable_alerts(0)->set_quiet(true);
  notice.mutable_alert()->set_quiet(true);
  EXPECT_THAT(ShowAlerts(list, true, 80), HasSubstr("  quiet    "));
  EXPECT_THAT(NoticeLine(notice), HasSubstr(" (quiet)\n"));
}

}  // namespace
}  // namespace plumblane::client
