// A courier stepped by hand between a real engine and a sink that answers as it is told.
#include "delivery/courier.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <spdlog/spdlog.h>

#include <deque>
#include <future>
#include <thread>

#include "delivery/deliverer.h"
#include "engine/engine.h"
#include "storage/memory_store.h"
#include "support/fixed_clock.h"
#include "support/message.h"

namespace plumblane {
namespace {

using Kind = SendResult::Kind;
using ::testing::ElementsAre;
using ::testing::IsEmpty;

constexpr Day kToday{20'000};

// What a sink was asked, and what it shall say; delivered when nothing is left to say.
struct Script {
  std::vector<std::vector<int64_t>> sent;  // cursors, by attempt
  std::deque<SendResult> answers;
};

class ScriptedSink final : public Sink {
 public:
  explicit ScriptedSink(Script& script) : script_(script) {}
  SendResult Send(std::span<const Message> messages, Instant, const StopEvent&) override {
    std::vector<int64_t>& cursors = script_.sent.emplace_back();
    for (const Message& message : messages) cursors.push_back(message.cursor);
    if (script_.answers.empty()) return {};
    const SendResult answer = script_.answers.front();
    script_.answers.pop_front();
    return answer;
  }

 private:
  Script& script_;
};

class CourierTest : public ::testing::Test {
 protected:
  CourierTest() {
    spdlog::set_level(spdlog::level::off);
    Restart();
  }

  // A daemon on the same data.
  void Restart(std::optional<int> digest_hour = {}) {
    courier_.reset();
    engine_.reset();
    engine_ = std::make_unique<Engine>(store_, log_, clock_, EngineOptions{});
    ASSERT_TRUE(engine_->Start().ok());
    courier_ = std::make_unique<Courier>(
        *engine_,
        [](int64_t cursor, const AlertNotice& notice, const ToldAlert& after) {
          Message message = test::MessageWith(cursor);
          message.time = notice.time;
          message.text = after.note;
          return message;
        },
        Route{"webhook",
              std::make_unique<ScriptedSink>(script_),
              digest_hour,
              {std::chrono::milliseconds(1000), std::chrono::milliseconds(60'000)}});
  }
  void Submit(Submission submission) {
    std::promise<absl::Status> done;
    ASSERT_TRUE(engine_->Submit(std::move(submission),
                                [&](const Receipt& receipt) { done.set_value(receipt.status); }));
    ASSERT_TRUE(done.get_future().get().ok());
  }
  // `count` new alerts.
  void Tell(int count) {
    Submission submission;
    for (int i = 0; i < count; ++i) {
      AlertNotice& notice = submission.alert_notices.emplace_back();
      notice.alert_id = std::to_string(++alerts_);
      notice.time = clock_.Now();
      notice.key = {"lotus", "", "", AlertMeasure::kOnTime};
      notice.facts.changed = notice.facts.opened = kToday - 3;
      notice.told_through = kToday - 2;
    }
    Submit(std::move(submission));
  }
  // Steps until there is nothing to do or something to wait for; how long.
  std::chrono::milliseconds Settle() {
    std::chrono::milliseconds wait{0};
    for (int steps = 0; wait.count() == 0; ++steps) {
      EXPECT_LT(steps, 10'000);
      wait = courier_->Step(stop_);
    }
    return wait;
  }
  int64_t Kept() { return engine_->Look().catalog().delivered.at("webhook"); }

  MemoryStore store_;
  StoreLog log_{store_};
  test::FixedClock clock_{StartOf(kToday) + 43'200'000};
  Script script_;
  StopEvent stop_;
  int alerts_ = 0;
  std::unique_ptr<Engine> engine_;
  std::unique_ptr<Courier> courier_;
};

TEST_F(CourierTest, ANewSinkIsNotSentThePastAndThenGetsAllInOrder) {
  Tell(3);
  Settle();
  EXPECT_THAT(script_.sent, IsEmpty());
  EXPECT_EQ(Kept(), 3);
  Tell(2);
  Settle();
  EXPECT_THAT(script_.sent, ElementsAre(ElementsAre(4), ElementsAre(5)));
  EXPECT_EQ(Kept(), 5);
}

TEST_F(CourierTest, ASinkThatIsNewBeforeTheFirstAlertGetsIt) {
  Settle();
  Restart();
  Tell(1);
  Settle();
  EXPECT_THAT(script_.sent, ElementsAre(ElementsAre(1)));
}

TEST_F(CourierTest, WhileItIsDownNothingIsLostAndAllIsCounted) {
  Settle();
  for (int i = 0; i < 300; ++i) script_.answers.push_back({.kind = Kind::kFailed, .code = 503});
  for (int i = 0; i < 300; ++i) {
    Tell(1);
    EXPECT_GE(courier_->Step(stop_), std::chrono::milliseconds(0));
  }
  RouteState state = courier_->state();
  EXPECT_EQ(state.backlog, 300);
  EXPECT_EQ(state.handled, 0);
  EXPECT_EQ(state.attempts.size(), kAttemptsKept);
  EXPECT_TRUE(state.next_attempt);
  script_.answers.clear();
  script_.sent.clear();
  Settle();
  ASSERT_EQ(script_.sent.size(), 300u);
  for (size_t i = 0; i < 300; ++i) {
    EXPECT_THAT(script_.sent[i], ElementsAre(static_cast<int64_t>(i) + 1));
  }
  state = courier_->state();
  EXPECT_EQ(state.backlog, 0);
  EXPECT_FALSE(state.next_attempt);
  EXPECT_EQ(state.refused, 0);
}

TEST_F(CourierTest, WaitsGrowAndAreAtLeastWhatTheReceiverAsksFor) {
  Settle();
  Tell(1);
  for (int failures = 1; failures <= 8; ++failures) {
    script_.answers.push_back({.kind = Kind::kFailed});
    EXPECT_EQ(Settle(),
              WaitAfter({std::chrono::milliseconds(1000), std::chrono::milliseconds(60'000)},
                        "webhook", 1, failures));
  }
  script_.answers.push_back({.kind = Kind::kFailed, .not_before = std::chrono::seconds(7200)});
  EXPECT_EQ(Settle(), std::chrono::seconds(7200));
  EXPECT_EQ(courier_->state().next_attempt, clock_.Now() + 7'200'000);
}

TEST_F(CourierTest, ARestartGoesOnWhereItWas) {
  Settle();
  Tell(5);
  script_.answers = {{}, {}, {.kind = Kind::kFailed}};
  Settle();
  EXPECT_THAT(script_.sent, ElementsAre(ElementsAre(1), ElementsAre(2), ElementsAre(3)));
  script_.sent.clear();
  Restart();
  Settle();
  EXPECT_THAT(script_.sent, ElementsAre(ElementsAre(3), ElementsAre(4), ElementsAre(5)));
}

TEST_F(CourierTest, AHardStopAfterSendingSendsTheLastOneAgain) {
  Settle();
  Tell(2);
  courier_->Step(stop_);  // sent, not yet kept
  EXPECT_THAT(script_.sent, ElementsAre(ElementsAre(1)));
  EXPECT_EQ(Kept(), 0);
  Restart();
  Settle();
  EXPECT_THAT(script_.sent, ElementsAre(ElementsAre(1), ElementsAre(1), ElementsAre(2)));
}

TEST_F(CourierTest, OneThatWantsNoMoreIsLeftAloneUntilRestart) {
  Settle();
  Tell(2);
  script_.answers = {{.kind = Kind::kStopped, .code = 410}};
  Settle();
  Tell(1);
  Settle();
  EXPECT_THAT(script_.sent, ElementsAre(ElementsAre(1)));
  EXPECT_TRUE(courier_->state().stopped);
  EXPECT_EQ(courier_->state().backlog, 3);
  Restart();
  Settle();
  EXPECT_EQ(script_.sent.size(), 4u);
  EXPECT_FALSE(courier_->state().stopped);
}

TEST_F(CourierTest, AMessageRefusedAgainAndAgainIsGivenUpAndCounted) {
  Settle();
  Tell(2);
  for (int i = 0; i < kRefusalsToGiveUp; ++i) script_.answers.push_back({.kind = Kind::kRefused});
  for (int i = 1; i < kRefusalsToGiveUp; ++i) EXPECT_GT(Settle().count(), 0);
  EXPECT_EQ(courier_->state().refused, 0);
  Settle();
  EXPECT_THAT(script_.sent,
              ElementsAre(ElementsAre(1), ElementsAre(1), ElementsAre(1), ElementsAre(2)));
  EXPECT_EQ(courier_->state().refused, 1);
  EXPECT_EQ(Kept(), 2);
}

TEST_F(CourierTest, QuietNoticesArePassedOver) {
  Settle();
  Submission history;
  history.history_through = clock_.Now();
  Submit(std::move(history));
  Tell(3);
  Settle();
  EXPECT_THAT(script_.sent, IsEmpty());
  EXPECT_EQ(Kept(), 3);
  EXPECT_EQ(courier_->state().backlog, 0);
}

TEST_F(CourierTest, ADigestHoldsWhatWasToldBeforeItsHourAndIsNotSentWithoutNews) {
  Settle();
  Restart(/*digest_hour=*/7);
  const Instant noon = clock_.Now();
  Tell(2);
  Settle();
  EXPECT_THAT(script_.sent, IsEmpty());
  clock_.Set(noon + 18 * 3'600'000);  // 6:00
  Tell(1);
  Settle();
  EXPECT_THAT(script_.sent, IsEmpty());
  clock_.Set(noon + 19 * 3'600'000);  // 7:00
  Tell(1);
  script_.answers = {{.kind = Kind::kFailed}};
  Settle();
  Settle();
  EXPECT_THAT(script_.sent, ElementsAre(ElementsAre(1, 2, 3), ElementsAre(1, 2, 3)));
  EXPECT_EQ(Kept(), 3);
  EXPECT_EQ(courier_->state().backlog, 1);
  clock_.Set(noon + 43 * 3'600'000);
  Settle();
  clock_.Set(noon + 67 * 3'600'000);
  Settle();
  EXPECT_EQ(script_.sent.size(), 3u);
  EXPECT_THAT(script_.sent.back(), ElementsAre(4));
}

TEST_F(CourierTest, AClockThatJumpsBackHoldsNothingUpAndRepeatsNothing) {
  Settle();
  Tell(1);
  Settle();
  clock_.Set(clock_.Now() - 400 * kMillisPerDay);
  Tell(1);
  Settle();
  EXPECT_THAT(script_.sent, ElementsAre(ElementsAre(1), ElementsAre(2)));
}

// Never answers, until it is to stop.
class HangingSink final : public Sink {
 public:
  explicit HangingSink(std::promise<void>& started) : started_(started) {}
  SendResult Send(std::span<const Message>, Instant, const StopEvent& stop) override {
    started_.set_value();
    stop.WaitFor(std::chrono::hours(1));
    return {.kind = Kind::kInterrupted};
  }

 private:
  std::promise<void>& started_;
};

TEST_F(CourierTest, OneThatHangsHoldsUpNoOtherAndNoStop) {
  std::promise<void> started;
  Script script;
  std::vector<Route> routes;
  routes.push_back({"hook", std::make_unique<HangingSink>(started)});
  routes.push_back({"mail", std::make_unique<ScriptedSink>(script)});
  Deliverer deliverer(
      *engine_,
      [](int64_t cursor, const AlertNotice&, const ToldAlert&) {
        return test::MessageWith(cursor);
      },
      std::move(routes));
  deliverer.Start();
  const auto is_set_up = [this] { return engine_->Look().catalog().delivered.size() == 2; };
  while (!is_set_up()) std::this_thread::yield();
  Tell(2);
  started.get_future().wait();
  while (deliverer.states()[1].handled < 2) std::this_thread::yield();
  deliverer.Stop();
  EXPECT_THAT(script.sent, ElementsAre(ElementsAre(1), ElementsAre(2)));
  EXPECT_EQ(deliverer.states()[0].backlog, 2);
  EXPECT_EQ(deliverer.states()[0].name, "hook");
}

}  // namespace
}  // namespace plumblane
