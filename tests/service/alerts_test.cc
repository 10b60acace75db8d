// Alerts over a real server: what is listed, what users may say, and notices that are resumed.
#include "service/alert_service.h"

#include <gmock/gmock.h>
#include <grpc/grpc.h>
#include <grpcpp/grpcpp.h>
#include <gtest/gtest.h>
#include <stdlib.h>

#include <algorithm>
#include <chrono>
#include <filesystem>

#include "engine/alert_teller.h"
#include "service/service_support.h"
#include "support/alert_history.h"

namespace plumblane {
namespace {

using test::AlertHistory;
using test::RunningEngine;
using ::testing::HasSubstr;

// Taking the library down can wait ten seconds for one of its pollers, so it is kept.
[[maybe_unused]] const bool kKept = [] {
  grpc_init();
  return true;
}();

constexpr Day kStart{20'000};
constexpr Day kToday = kStart + 180;

// A fleet of which one supplier has turned bad a month ago; told already.
class AlertsTest : public ::testing::Test {
 protected:
  AlertsTest() {
    std::string name = (std::filesystem::temp_directory_path() / "plumblane.XXXXXX").string();
    EXPECT_NE(mkdtemp(name.data()), nullptr);
    directory_ = name;
    engine_.clock().Set(StartOf(kToday) + 43'200'000);
    AlertHistory history(1, kStart);
    history.Worsen("lotus", kStart + 150, kStart + 400);
    Submission submission;
    submission.events = history.AllEvents(kToday - kStart);
    EXPECT_TRUE(engine_.Submit(std::move(submission)).status.ok());
    EXPECT_TRUE(teller_.Step().ok());

    grpc::ServerBuilder builder;
    builder.AddListeningPort("unix:" + directory_ + "/socket", grpc::InsecureServerCredentials());
    builder.RegisterService(&service_);
    server_ = builder.BuildAndStart();
    EXPECT_NE(server_, nullptr);
    stub_ = v1::Alerts::NewStub(
        grpc::CreateChannel("unix:" + directory_ + "/socket", grpc::InsecureChannelCredentials()));
  }
  ~AlertsTest() override {
    service_.Drain();
    server_->Shutdown(std::chrono::system_clock::now() + std::chrono::seconds(5));
    std::filesystem::remove_all(directory_);
  }

  template <typename Request, typename Response>
  using Method = grpc::Status (v1::Alerts::Stub::*)(grpc::ClientContext*, const Request&,
                                                    Response*);
  template <typename Request, typename Response>
  grpc::Status Call(Method<Request, Response> method, const Request& request, Response& response) {
    grpc::ClientContext context;
    return (stub_.get()->*method)(&context, request, &response);
  }
  v1::ListAlertsResponse List(const v1::ListAlertsRequest& request = {}) {
    v1::ListAlertsResponse response;
    const grpc::Status status = Call(&v1::Alerts::Stub::ListAlerts, request, response);
    EXPECT_TRUE(status.ok()) << status.error_message();
    return response;
  }
  // Of supplier lotus, late.
  v1::Alert Lotus() {
    v1::ListAlertsRequest request;
    request.set_supplier("lotus");
    const v1::ListAlertsResponse listed = List(request);
    for (const v1::Alert& alert : listed.alerts()) {
      if (alert.watched().measure() == "on_time") return alert;
    }
    ADD_FAILURE() << "no alert of lotus being late";
    return {};
  }
  grpc::Status Acknowledge(const std::string& id, const std::string& note, v1::Alert& alert) {
    v1::AcknowledgeAlertRequest request;
    request.set_alert_id(id);
    request.set_note(note);
    return Call(&v1::Alerts::Stub::AcknowledgeAlert, request, alert);
  }
  grpc::Status Shelve(const std::string& id, Day until, v1::Alert& alert) {
    v1::ShelveAlertRequest request;
    request.set_alert_id(id);
    request.set_until_date(FormatDay(until));
    return Call(&v1::Alerts::Stub::ShelveAlert, request, alert);
  }
  grpc::Status Accept(const std::string& id, v1::Alert& alert) {
    v1::AcceptAlertRequest request;
    request.set_alert_id(id);
    return Call(&v1::Alerts::Stub::AcceptAlert, request, alert);
  }
  int64_t Cursor() { return engine_->Look().catalog().alerts->last_cursor; }

  std::string directory_;
  RunningEngine engine_;
  AlertTeller teller_{*engine_};
  Deliverer deliverer_{*engine_, {}, {}};
  AlertsService service_{*engine_, deliverer_};
  std::unique_ptr<grpc::Server> server_;
  std::unique_ptr<v1::Alerts::Stub> stub_;
};

TEST_F(AlertsTest, AnAlertComesWithItsEvidence) {
  const v1::Alert alert = Lotus();
  EXPECT_EQ(alert.state(), v1::Alert::STATE_ACTIVE);
  EXPECT_LE(alert.change_date(), alert.open_date());
  EXPECT_LE(alert.open_date(), FormatDay(kToday));
  EXPECT_GT(alert.rate_since(), 2 * alert.rate_before());
  EXPECT_LT(alert.rate_since_low(), alert.rate_since());
  EXPECT_GT(alert.rate_since_high(), alert.rate_since());
  int64_t hits = 0;
  double share = 0, before = 1;
  for (const v1::Contributor& one : alert.contributors()) {
    EXPECT_EQ(one.supplier_id(), "lotus");
    EXPECT_LE(one.share(), before);
    before = one.share();
    hits += one.hit_count();
    share += one.share();
  }
  EXPECT_EQ(hits, alert.hit_count());
  EXPECT_NEAR(share, 1, 1e-12);
  EXPECT_THAT(alert.sentence(), HasSubstr("supplier lotus"));
  EXPECT_THAT(alert.sentence(), HasSubstr(alert.change_date()));
  EXPECT_FALSE(alert.advice().empty());
}

TEST_F(AlertsTest, PagesHoldEachAlertOnceActiveOnesFirst) {
  v1::ListAlertsRequest request;
  request.set_with_closed(true);
  const v1::ListAlertsResponse all = List(request);
  ASSERT_GT(all.alerts_size(), 1);
  std::vector<std::string> paged;
  bool closed_seen = false;
  request.set_page_size(1);
  do {
    const v1::ListAlertsResponse page = List(request);
    ASSERT_EQ(page.alerts_size(), 1);
    paged.push_back(page.alerts(0).alert_id());
    const bool active = page.alerts(0).state() == v1::Alert::STATE_ACTIVE;
    EXPECT_FALSE(active && closed_seen);
    closed_seen |= !active;
    request.set_page_token(page.next_page_token());
  } while (!request.page_token().empty());
  std::vector<std::string> ids;
  for (const v1::Alert& alert : all.alerts()) ids.push_back(alert.alert_id());
  EXPECT_EQ(paged, ids);
}

TEST_F(AlertsTest, APageGoesOnWhereTheOneBeforeEndedThoughItsLastAlertHasClosed) {
  v1::ListAlertsRequest request;
  const v1::ListAlertsResponse all = List(request);
  ASSERT_GT(all.alerts_size(), 1);
  request.set_page_size(1);
  const v1::ListAlertsResponse first = List(request);
  v1::Alert alert;
  ASSERT_TRUE(Accept(first.alerts(0).alert_id(), alert).ok());
  request.set_page_size(0);
  request.set_page_token(first.next_page_token());
  const v1::ListAlertsResponse rest = List(request);
  ASSERT_EQ(rest.alerts_size(), all.alerts_size() - 1);
  for (int i = 1; i < all.alerts_size(); ++i) {
    EXPECT_EQ(rest.alerts(i - 1).alert_id(), all.alerts(i).alert_id());
  }
}

TEST_F(AlertsTest, APoolIsListedForItsLanesOnly) {
  Submission submission;
  AlertNotice& raised = submission.alert_notices.emplace_back();
  raised.alert_id = "pool";
  raised.key = {"", "", "DE", AlertMeasure::kOnTime};
  raised.pooled = {{"PL", "DE", ""}};
  raised.facts.changed = raised.facts.opened = kToday - 5;
  ASSERT_TRUE(engine_.Submit(std::move(submission)).status.ok());
  for (const std::string origin : {"PL", "VN"}) {
    v1::ListAlertsRequest request;
    request.mutable_lane()->set_origin(origin);
    request.mutable_lane()->set_destination("DE");
    const v1::ListAlertsResponse listed = List(request);
    const bool found = std::any_of(listed.alerts().begin(), listed.alerts().end(),
                                   [](const v1::Alert& one) { return one.alert_id() == "pool"; });
    EXPECT_EQ(found, origin == "PL");
  }
}

// The supplier turned bad, so its lane and its other measures are heard of too.
TEST_F(AlertsTest, AlertsOfTheSameOrdersSaySo) {
  const v1::Alert lotus = Lotus();
  int named = 0;
  const v1::ListAlertsResponse listed = List();
  for (const v1::Alert& alert : listed.alerts()) {
    if (alert.alert_id() == lotus.alert_id()) continue;
    named += alert.shared_cause().find(lotus.alert_id()) != std::string::npos;
  }
  EXPECT_GT(named, 0);
}

TEST_F(AlertsTest, AcknowledgingTwiceChangesNothingButTheNote) {
  const std::string id = Lotus().alert_id();
  const int64_t active = List().active_count(), before = Cursor();
  v1::Alert alert;
  ASSERT_TRUE(Acknowledge(id, "wrote to them", alert).ok());
  EXPECT_EQ(alert.state(), v1::Alert::STATE_ACKNOWLEDGED);
  EXPECT_EQ(List().active_count(), active - 1);
  ASSERT_TRUE(Acknowledge(id, "wrote to them", alert).ok());
  EXPECT_EQ(Cursor(), before + 1);
  ASSERT_TRUE(Acknowledge(id, "they answered", alert).ok());
  EXPECT_EQ(Cursor(), before + 2);
  EXPECT_EQ(alert.note(), "they answered");
  EXPECT_EQ(alert.state(), v1::Alert::STATE_ACKNOWLEDGED);
}

TEST_F(AlertsTest, AShelfEndsOnItsDay) {
  const std::string id = Lotus().alert_id();
  v1::Alert alert;
  EXPECT_EQ(Shelve(id, kToday, alert).error_code(), grpc::StatusCode::INVALID_ARGUMENT);
  ASSERT_TRUE(Shelve(id, kToday + 2, alert).ok());
  EXPECT_EQ(alert.state(), v1::Alert::STATE_SHELVED);
  EXPECT_EQ(alert.shelved_until_date(), FormatDay(kToday + 2));
  engine_.clock().Set(StartOf(kToday + 2));
  EXPECT_EQ(Lotus().state(), v1::Alert::STATE_ACTIVE);
}

TEST_F(AlertsTest, AcceptedAlertsAreClosed) {
  const std::string id = Lotus().alert_id();
  v1::Alert alert;
  ASSERT_TRUE(Accept(id, alert).ok());
  EXPECT_EQ(alert.state(), v1::Alert::STATE_ACCEPTED);
  EXPECT_EQ(Accept(id, alert).error_code(), grpc::StatusCode::FAILED_PRECONDITION);
  EXPECT_EQ(Acknowledge(id, "", alert).error_code(), grpc::StatusCode::FAILED_PRECONDITION);
  const int64_t cursor = Cursor();
  ASSERT_TRUE(teller_.Step().ok());
  EXPECT_EQ(Cursor(), cursor) << "what a user accepted is what the watch says";
}

TEST_F(AlertsTest, WhatIsUnknownIsSaidToBe) {
  v1::Alert alert;
  v1::GetAlertRequest get;
  get.set_alert_id("none");
  EXPECT_EQ(Call(&v1::Alerts::Stub::GetAlert, get, alert).error_code(),
            grpc::StatusCode::NOT_FOUND);
  EXPECT_EQ(Acknowledge("none", "", alert).error_code(), grpc::StatusCode::NOT_FOUND);
  v1::WatchAlertsRequest watch;
  watch.set_after_cursor(Cursor() + 1);
  grpc::ClientContext context;
  const auto stream = stub_->WatchAlerts(&context, watch);
  v1::AlertNotice notice;
  EXPECT_FALSE(stream->Read(&notice));
  EXPECT_EQ(stream->Finish().error_code(), grpc::StatusCode::OUT_OF_RANGE);
}

TEST_F(AlertsTest, NoticesAreResumedAfterTheirCursorAndEndWithTheDaemon) {
  const std::string id = Lotus().alert_id();
  v1::Alert alert;
  v1::WatchAlertsRequest request;
  request.set_after_cursor(1);
  grpc::ClientContext context;
  const auto stream = stub_->WatchAlerts(&context, request);
  v1::AlertNotice notice;
  for (int64_t cursor = 2; cursor <= Cursor(); ++cursor) {
    ASSERT_TRUE(stream->Read(&notice));
    EXPECT_EQ(notice.cursor(), cursor);
  }
  ASSERT_TRUE(Acknowledge(id, "seen", alert).ok());
  ASSERT_TRUE(stream->Read(&notice));
  EXPECT_EQ(notice.cursor(), Cursor());
  EXPECT_EQ(notice.kind(), v1::AlertNotice::KIND_ACKNOWLEDGED);
  EXPECT_EQ(notice.alert().alert_id(), id);
  EXPECT_EQ(notice.alert().note(), "seen");
  service_.Drain();
  EXPECT_FALSE(stream->Read(&notice));
  EXPECT_EQ(stream->Finish().error_code(), grpc::StatusCode::UNAVAILABLE);
}

TEST_F(AlertsTest, WatchesSayHowSoonAWorseningIsHeard) {
  v1::ListWatchesResponse response;
  ASSERT_TRUE(Call(&v1::Alerts::Stub::ListWatches, v1::ListWatchesRequest(), response).ok());
  EXPECT_EQ(response.odds_ratio(), AlertRules{}.odds_ratio);
  int watched = 0;
  for (const v1::Watch& watch : response.watches()) {
    if (watch.idle()) {
      EXPECT_FALSE(watch.reason().empty());
      continue;
    }
    ++watched;
    EXPECT_GT(watch.days_to_hear(), 0);
    EXPECT_GT(watch.normal_rate(), 0);
    EXPECT_LE(watch.false_alarms_a_year(), watch.yearly_orders() / 200 + .1);
  }
  EXPECT_GT(watched, 6);
}

}  // namespace
}  // namespace plumblane
