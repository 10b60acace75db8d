// The webhook against a server on this machine, and hooks as real programs. Nothing is measured in
// absolute time: what must not take long is what would otherwise take minutes.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <iterator>
#include <nlohmann/json.hpp>

#include "delivery/cloud_event.h"
#include "delivery/hook.h"
#include "delivery/http_server.h"
#include "delivery/signature.h"
#include "delivery/webhook.h"
#include "support/message.h"
#include "support/temp_directory.h"

namespace plumblane {
namespace {

namespace fs = std::filesystem;
using Kind = SendResult::Kind;
using test::HttpServer;
using test::MessageWith;
using ::testing::ContainsRegex;
using ::testing::HasSubstr;
using ::testing::Not;
using ::testing::StartsWith;

constexpr Instant kNow{1'790'000'040'123};

class WebhookTest : public ::testing::Test {
 protected:
  SendResult Send(int64_t cursor = 17, int64_t timeout_seconds = 60) {
    Webhook webhook({.url = server_.url(),
                     .secret_file = "",
                     .key = "a key",
                     .timeout_seconds = timeout_seconds});
    const Message message = MessageWith(cursor);
    return webhook.Send({&message, 1}, kNow, stop_);
  }

  HttpServer server_;
  StopEvent stop_;
};

TEST_F(WebhookTest, PostsASignedCloudEvent) {
  EXPECT_EQ(Send().kind, Kind::kDelivered);
  const std::string body = CloudEventOf(MessageWith(17));
  ASSERT_EQ(server_.requests().size(), 1u);
  const std::string request = server_.requests()[0];
  EXPECT_THAT(request, StartsWith("POST /hook HTTP/1.1\r\n"));
  EXPECT_THAT(request, HasSubstr("Content-Type: application/cloudevents+json\r\n"));
  EXPECT_THAT(request, HasSubstr("webhook-id: 17-a1\r\n"));
  EXPECT_THAT(request, HasSubstr("webhook-timestamp: 1790000040\r\n"));
  EXPECT_THAT(request, HasSubstr("webhook-signature: " +
                                 SignatureOf("a key", "17-a1", 1'790'000'040, body) + "\r\n"));
  EXPECT_EQ(request.substr(request.find("\r\n\r\n") + 4), body);
}

TEST_F(WebhookTest, AnswersAreUnderstood) {
  server_.Answer("410 Gone");
  EXPECT_EQ(Send().kind, Kind::kStopped);
  server_.Answer("422 No");
  const SendResult refused = Send();
  EXPECT_EQ(refused.kind, Kind::kRefused);
  EXPECT_EQ(refused.code, 422);
  server_.Answer("503 Busy\r\nRetry-After: 120");
  EXPECT_EQ(Send().not_before, std::chrono::seconds(120));
  // A date long past asks for nothing; one far ahead for a day at the most.
  server_.Answer("429 Slow\r\nRetry-After: Sun, 06 Nov 1994 08:49:37 GMT");
  EXPECT_EQ(Send().not_before, std::nullopt);
  server_.Answer("429 Slow\r\nRetry-After: Fri, 01 Jan 2100 00:00:00 GMT");
  const auto ahead = Send().not_before;
  ASSERT_TRUE(ahead);
  EXPECT_GT(*ahead, std::chrono::hours(1));
  EXPECT_LE(*ahead, std::chrono::hours(24));
}

TEST_F(WebhookTest, ARedirectIsNotFollowed) {
  server_.Answer("307 There\r\nLocation: " + server_.url());
  EXPECT_EQ(Send().kind, Kind::kFailed);
  EXPECT_EQ(server_.requests().size(), 1u);
}

TEST_F(WebhookTest, AnAnswerWithoutEndIsCutAndStillCounts) {
  server_.Answer("200 Taken", std::string(1 << 20, 'x'));
  EXPECT_EQ(Send().kind, Kind::kDelivered);
}

TEST_F(WebhookTest, WithoutAnAnswerItHasFailed) {
  server_.Answer("");
  const SendResult result = Send(17, /*timeout_seconds=*/1);
  EXPECT_EQ(result.kind, Kind::kFailed);
  EXPECT_EQ(result.code, 0);
  EXPECT_FALSE(result.detail.empty());
}

TEST_F(WebhookTest, AStopEndsWaitingForAnAnswer) {
  server_.Answer("");
  std::thread stopper([this] {
    while (server_.requests().empty()) std::this_thread::yield();
    stop_.Set();
  });
  EXPECT_EQ(Send(17, /*timeout_seconds=*/300).kind, Kind::kInterrupted);
  stopper.join();
}

TEST(Webhook, WhereNobodyListensItHasFailed) {
  std::string url;
  {
    const HttpServer gone;
    url = gone.url();
  }
  StopEvent stop;
  const Message message = MessageWith(17);
  Webhook webhook({.url = url, .secret_file = "", .key = "k"});
  EXPECT_EQ(webhook.Send({&message, 1}, kNow, stop).kind, Kind::kFailed);
}

class HookTest : public ::testing::Test {
 protected:
  // A program with these lines; arguments follow.
  SendResult Run(const std::string& lines, const std::vector<std::string>& arguments = {},
                 int64_t timeout_seconds = 60) {
    const std::string path = directory_ / "hook";
    std::ofstream(path) << "#!/bin/sh\n" << lines << "\n";
    fs::permissions(path, fs::perms::owner_all);
    std::vector<std::string> command = {path};
    command.insert(command.end(), arguments.begin(), arguments.end());
    Hook hook({.command = command, .timeout_seconds = timeout_seconds});
    const Message message = MessageWith(17);
    return hook.Send({&message, 1}, kNow, stop_);
  }
  std::string Left(const std::string& name) {
    std::ifstream file(directory_ / name);
    return {std::istreambuf_iterator<char>(file), {}};
  }

  test::TempDirectory directory_;
  StopEvent stop_;
};

TEST_F(HookTest, GetsTheDocumentAndItsArgumentsAsTheyAre) {
  const std::string to = directory_ / "in";
  EXPECT_EQ(Run("cat > \"$1\"; echo \"$2\" > \"$1.argument\"", {to, "$HOME; *"}).kind,
            Kind::kDelivered);
  EXPECT_EQ(Left("in"), CloudEventOf(MessageWith(17)));
  EXPECT_EQ(Left("in.argument"), "$HOME; *\n");
}

TEST_F(HookTest, SeesNothingOfTheDaemon) {
  setenv("PLUMBLANE_TEST_ONLY", "secret", 1);
  const int open = dup(2);
  ASSERT_GE(open, 3);
  EXPECT_EQ(Run("env > " + directory_ / "env; ls /proc/$$/fd > " + directory_.path() +
                "/fds; grep SigBlk /proc/self/status > " + directory_ / "signals")
                .kind,
            Kind::kDelivered);
  close(open);
  EXPECT_THAT(Left("env"), HasSubstr("PATH=/usr/local/bin:/usr/bin:/bin\n"));
  EXPECT_THAT(Left("env"), Not(HasSubstr("PLUMBLANE_TEST_ONLY")));
  // From ten on are the shell's own.
  EXPECT_THAT(Left("fds"), StartsWith("0\n1\n"));
  EXPECT_THAT(Left("fds"), Not(ContainsRegex("(^|\n)[3-9]\n")));
  EXPECT_EQ(Left("signals"), "SigBlk:\t0000000000000000\n");
}

TEST_F(HookTest, ExitCodesMeanWhatTheHeaderSays) {
  EXPECT_EQ(Run("exit 0").kind, Kind::kDelivered);
  EXPECT_EQ(Run("exit 75").kind, Kind::kFailed);
  EXPECT_EQ(Run("exit 75").code, 75);
  EXPECT_EQ(Run("kill -TERM $$").kind, Kind::kFailed);
  const SendResult refused = Run("echo 'no such\ttable' >&2; exit 3");
  EXPECT_EQ(refused.kind, Kind::kRefused);
  EXPECT_EQ(refused.code, 3);
  EXPECT_EQ(refused.detail, "exit code 3: no such table");
}

TEST_F(HookTest, WhatItSaysIsCutAndNeverHoldsItUp) {
  const SendResult refused =
      Run("head -c 300000 /dev/zero | tr '\\0' x >&2; head -c 300000 /dev/zero; exit 1");
  EXPECT_EQ(refused.detail, "exit code 1: " + std::string(500, 'x'));
}

TEST_F(HookTest, OneThatHangsIsKilledWithAllItHasStarted) {
  const std::string pids = directory_ / "pids";
  const SendResult late =
      Run("sleep 1000 & echo $! > " + pids + "; trap '' TERM; echo waiting >&2; sleep 1000", {},
          /*timeout_seconds=*/1);
  EXPECT_EQ(late.kind, Kind::kFailed);
  EXPECT_EQ(late.detail, "not done within 1 s, killed: waiting");
  const std::string child = Left("pids");
  ASSERT_FALSE(child.empty());
  const std::string status = "/proc/" + child.substr(0, child.size() - 1) + "/stat";
  const auto is_over = [&] {  // gone, or a zombie that nobody has fetched
    std::ifstream file(status);
    std::string pid, name, state;
    return !(file >> pid >> name >> state) || state == "Z";
  };
  while (!is_over()) std::this_thread::yield();
}

TEST_F(HookTest, AStopEndsIt) {
  std::thread stopper([this] {
    while (Left("started").empty()) std::this_thread::yield();
    stop_.Set();
  });
  EXPECT_EQ(Run("echo yes > " + directory_ / "started; sleep 1000").kind, Kind::kInterrupted);
  stopper.join();
}

TEST_F(HookTest, OneThatCannotStartIsTriedAgain) {
  Hook hook({.command = {directory_ / "missing"}});
  const Message message = MessageWith(17);
  const SendResult result = hook.Send({&message, 1}, kNow, stop_);
  EXPECT_EQ(result.kind, Kind::kFailed);
  EXPECT_THAT(result.detail, HasSubstr("No such file"));
}

}  // namespace
}  // namespace plumblane
