// The gate in front of a running server: identity by call, revocation, expiry, limits, the audit.
#include "access/gate.h"

#include <spdlog/sinks/ostream_sink.h>
#include <spdlog/spdlog.h>

#include <algorithm>
#include <chrono>
#include <fstream>
#include <iterator>
#include <nlohmann/json.hpp>
#include <sstream>
#include <thread>

#include "access/guarded.h"
#include "access/sender_terms.h"

namespace plumblane::test {
namespace {

using ::testing::HasSubstr;
using ::testing::Not;

constexpr char kGetScore[] = "/plumblane.v1.Scores/GetScore";
constexpr char kAcknowledge[] = "/plumblane.v1.Alerts/AcknowledgeAlert";

const std::string kReader = "roles = [\"reader\"]";

// A stream of notices, held open.
class Watch {
 public:
  Watch(const std::shared_ptr<grpc::Channel>& channel, const std::string& token)
      : stub_(v1::Alerts::NewStub(channel)) {
    context_.AddMetadata("authorization", "Bearer " + token);
    context_.set_deadline(std::chrono::system_clock::now() + std::chrono::seconds(30));
    v1::WatchAlertsRequest request;
    request.set_after_cursor(1);
    reader_ = stub_->WatchAlerts(&context_, request);
    reader_->WaitForInitialMetadata();
  }
  // Waits for its end.
  grpc::Status End() {
    v1::AlertNotice notice;
    while (reader_->Read(&notice)) {
    }
    return reader_->Finish();
  }
  void Cancel() { context_.TryCancel(); }

 private:
  std::unique_ptr<v1::Alerts::Stub> stub_;
  grpc::ClientContext context_;
  std::unique_ptr<grpc::ClientReader<v1::AlertNotice>> reader_;
};

TEST(GateTest, ATokenLetsInItsOwnCallAndNotTheNextOnTheSameConnection) {
  Guarded server(Book(TokenNamed("anna", kReader)));
  for (int i = 0; i < 300; ++i) {
    ASSERT_TRUE(server.Call(kGetScore, "anna").ok()) << i;
    ASSERT_EQ(server.Call(kGetScore, nullptr).error_code(), grpc::UNAUTHENTICATED) << i;
  }
  EXPECT_EQ(server.scores.calls, 300) << "a call that was refused reached its handler";
}

TEST(GateTest, WithoutTokensEverybodyOnTheMachineIsLetIn) {
  Guarded server(nullptr);
  EXPECT_TRUE(server.Call(kGetScore, nullptr).ok());
  EXPECT_TRUE(server.Call(kGetScore, "whatever").ok());
  EXPECT_TRUE(server.Call(kAcknowledge, nullptr).ok());
}

TEST(GateTest, TheSocketNeedsNoTokenButAWrongOneIsRefused) {
  Guarded server(Book(TokenNamed("anna", kReader)));
  const auto socket = grpc::CreateChannel(server.socket(), grpc::InsecureChannelCredentials());
  EXPECT_TRUE(server.Call(kGetScore, nullptr, nullptr, socket).ok());
  EXPECT_TRUE(server.Call(kAcknowledge, nullptr, nullptr, socket).ok());
  EXPECT_EQ(server.Call(kGetScore, "bert", nullptr, socket).error_code(), grpc::UNAUTHENTICATED);
  EXPECT_EQ(server.Call(kAcknowledge, "anna", nullptr, socket).error_code(),
            grpc::PERMISSION_DENIED);
}

TEST(GateTest, ARevokedTokenIsRefusedAndItsOpenStreamCut) {
  const std::string bert = TokenNamed("bert", kReader);
  Guarded server(Book(TokenNamed("anna", kReader) + bert));
  Watch anna(server.channel, "anna"), berts(server.channel, "bert");
  server.gate.Replace(Book(bert));
  EXPECT_EQ(anna.End().error_code(), grpc::UNAUTHENTICATED);
  EXPECT_EQ(server.Call(kGetScore, "anna").error_code(), grpc::UNAUTHENTICATED);
  // Control: who stays is not cut; what ends the stream is its own reader.
  EXPECT_TRUE(server.Call(kGetScore, "bert").ok());
  berts.Cancel();
  EXPECT_EQ(berts.End().error_code(), grpc::CANCELLED);
}

TEST(GateTest, ANewTokenUnderTheOldNameEndsTheOldOne) {
  Guarded server(Book(TokenNamed("anna", kReader)));
  Watch open(server.channel, "anna");
  std::string replaced = TokenNamed("anna", kReader);
  const std::string old_hash = WriteHash(HashOf("anna")), new_hash = WriteHash(HashOf("new"));
  replaced.replace(replaced.find(old_hash), old_hash.size(), new_hash);
  server.gate.Replace(Book(replaced));
  EXPECT_EQ(open.End().error_code(), grpc::UNAUTHENTICATED);
  EXPECT_TRUE(server.Call(kGetScore, "new").ok());
}

TEST(GateTest, AnExpiredTokenIsRefusedAndItsOpenStreamCut) {
  Guarded server(Book(TokenNamed("anna", kReader + "\nexpires = 2026-07-01")));
  Watch open(server.channel, "anna");
  server.clock.Set(At("2026-07-01T00:00") - 1);
  server.gate.Sweep();
  EXPECT_TRUE(server.Call(kGetScore, "anna").ok());
  server.clock.Set(At("2026-07-01T00:00"));
  EXPECT_EQ(server.Call(kGetScore, "anna").error_code(), grpc::UNAUTHENTICATED);
  server.gate.Sweep();
  EXPECT_EQ(open.End().error_code(), grpc::UNAUTHENTICATED);
}

TEST(GateTest, OneClientHasSoManyCallsOpenAndOthersAreNotHeldUp) {
  Guarded server(Book(TokenNamed("anna", kReader) + TokenNamed("bert", kReader)),
                 {.calls_per_client = 2});
  Watch first(server.channel, "anna"), second(server.channel, "anna");
  const grpc::Status third = server.Call(kGetScore, "anna");
  EXPECT_EQ(third.error_code(), grpc::RESOURCE_EXHAUSTED);
  EXPECT_THAT(third.error_message(), HasSubstr("try again when one has ended"));
  EXPECT_TRUE(server.Call(kGetScore, "bert").ok());
  first.Cancel();
  (void)first.End();
  // The daemon hears of it a moment later.
  grpc::Status again;
  for (int i = 0; i < 1000 && !(again = server.Call(kGetScore, "anna")).ok(); ++i) {
    std::this_thread::yield();
  }
  EXPECT_TRUE(again.ok()) << again.error_message();
}

TEST(GateTest, ARequestThatCannotBeReadIsSaidSoOnlyToWhoMayCall) {
  Guarded server(Book(TokenNamed("anna", kReader)));
  const std::string garbage = "\x0a\xff\xff\xff";
  EXPECT_EQ(server.CallWithBytes(kGetScore, "anna", garbage).error_code(), grpc::INVALID_ARGUMENT);
  EXPECT_EQ(server.CallWithBytes(kGetScore, nullptr, garbage).error_code(), grpc::UNAUTHENTICATED);
  EXPECT_EQ(server.scores.calls, 0);
}

TEST(GateTest, RefusalsAreLoggedOnceAPeerAndWithoutTheToken) {
  std::ostringstream text;
  const auto before = spdlog::default_logger();
  spdlog::set_default_logger(std::make_shared<spdlog::logger>(
      "test", std::make_shared<spdlog::sinks::ostream_sink_mt>(text)));
  Guarded server(Book(TokenNamed("anna", kReader)));
  for (int i = 0; i < 50; ++i) (void)server.Call(kGetScore, "plumblane-secret");
  server.clock.Set(server.clock.Now() + 11'000);
  (void)server.Call(kAcknowledge, "anna");
  spdlog::set_default_logger(before);
  const std::string log = text.str();
  EXPECT_EQ(std::count(log.begin(), log.end(), '\n'), 2) << log;
  EXPECT_THAT(log,
              HasSubstr("refused /plumblane.v1.Scores/GetScore to ipv4:127.0.0.1: this token"));
  EXPECT_THAT(log, HasSubstr("(\"anna\"): this needs the role buyer or operator"));
  EXPECT_THAT(log, HasSubstr("(and 49 more from there)"));
  EXPECT_THAT(log, Not(HasSubstr("secret")));
  EXPECT_EQ(server.gate.refusals(), 51);
}

std::vector<nlohmann::json> Lines(const std::string& path) {
  std::vector<nlohmann::json> lines;
  std::ifstream file(path);
  for (std::string line; std::getline(file, line);) lines.push_back(nlohmann::json::parse(line));
  return lines;
}

// A call is written down when it has ended, which its caller may know a moment earlier.
std::vector<nlohmann::json> LinesOnce(size_t count, const std::string& path) {
  const auto until = std::chrono::steady_clock::now() + std::chrono::seconds(20);
  const auto written = [&] {
    std::ifstream file(path);
    return static_cast<size_t>(std::count(std::istreambuf_iterator<char>(file), {}, '\n'));
  };
  while (written() < count && std::chrono::steady_clock::now() < until) {
    std::this_thread::sleep_for(std::chrono::milliseconds(2));
  }
  return Lines(path);
}

TEST(AuditTest, WhatBuyersAndOperatorsDoIsKeptWithItsOutcome) {
  Guarded server(Book(TokenNamed("anna", "roles = [\"buyer\"]") + TokenNamed("bert", kReader)));
  v1::AcknowledgeAlertRequest request;
  request.set_alert_id("a-1");
  request.set_note("seen");
  EXPECT_TRUE(server.Call(kAcknowledge, "anna", &request).ok());
  request.set_alert_id("none");
  EXPECT_EQ(server.Call(kAcknowledge, "anna", &request).error_code(), grpc::NOT_FOUND);
  EXPECT_EQ(server.Call(kAcknowledge, "bert", &request).error_code(), grpc::PERMISSION_DENIED);
  EXPECT_EQ(server.Call(kAcknowledge, "stranger", &request).error_code(), grpc::UNAUTHENTICATED);
  EXPECT_TRUE(server.Call(kGetScore, "bert").ok());  // no action
  request.set_note(std::string(5000, 'x'));
  EXPECT_EQ(server.Call(kAcknowledge, "anna", &request).error_code(), grpc::NOT_FOUND);

  const auto lines = LinesOnce(4, server.folder.path() + "/audit");
  ASSERT_EQ(lines.size(), 4u);
  EXPECT_EQ(lines[0]["who"], "anna");
  EXPECT_EQ(lines[0]["time"], "2026-06-01T12:00:00Z");
  EXPECT_EQ(lines[0]["action"], kAcknowledge);
  EXPECT_EQ(lines[0]["request"]["alertId"], "a-1");
  EXPECT_EQ(lines[0]["outcome"], "OK");
  EXPECT_EQ(lines[1]["outcome"], "NOT_FOUND");
  EXPECT_EQ(lines[1]["message"], "no such alert");
  EXPECT_EQ(lines[2]["who"], "bert");
  EXPECT_EQ(lines[2]["outcome"], "REFUSED");
  EXPECT_TRUE(lines[3]["request"].contains("bytes"));
}

TEST(EventRateTest, OnAverageSoManyASecond) {
  EventRate rate(1000);
  Instant now{1'000'000};
  int64_t taken = 0;
  for (const Instant end = now + 20'000; now < end;) {
    const int64_t wait = rate.Take(500, now);
    if (wait == 0) taken += 500;
    now = now + std::max<int64_t>(wait, 1);
  }
  EXPECT_GE(taken, 20'000);
  EXPECT_LE(taken, 20'000 + 1000 + 500);  // and what a second's worth at once allows
}

TEST(EventRateTest, AClockThatGoesBackGivesNothingForFree) {
  EventRate rate(10);
  EXPECT_EQ(rate.Take(20, Instant{5'000'000}), 0);
  EXPECT_GT(rate.Take(1, Instant{1'000'000}), 0);
  EXPECT_GT(rate.Take(1, Instant{5'000'500}), 0);
  EXPECT_EQ(rate.Take(1, Instant{5'001'100}), 0);
}

}  // namespace
}  // namespace plumblane::test
