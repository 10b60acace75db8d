// Engines that share a log: one owns it and takes events, the others follow and refuse; whatever
// becomes of an append, all hold the same bytes and every event is there once.
#include "engine/shared_log.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <spdlog/spdlog.h>

#include <atomic>
#include <future>
#include <map>
#include <memory>
#include <random>
#include <thread>

#include "engine/applier.h"
#include "engine/engine.h"
#include "storage/memory_store.h"
#include "support/fixed_clock.h"
#include "support/order_builder.h"
#include "support/shared_memory_log.h"

namespace plumblane {
namespace {

using test::At;
using test::OrderBuilder;
using test::SharedMemory;
using ::testing::HasSubstr;

void Until(const std::function<bool()>& condition) {
  while (!condition()) std::this_thread::sleep_for(std::chrono::milliseconds(1));
}

OrderBuilder SomeOrder(int number) {
  OrderBuilder order({"default", std::to_string(number)});
  return order.Paid("2026-03-01").Promised("2026-03-10").Delivered("2026-03-08");
}

// One daemon's engine.
class Node {
 public:
  Node(SharedMemory& shared, const std::string& name) : log_(shared, name) {
    spdlog::set_level(spdlog::level::off);
    EngineOptions options;
    options.lost_the_log = [this](const absl::Status& why) { lost.set_value(why); };
    options.compare_entries = 2;
    options.compare_cells = [this](uint32_t, uint64_t sequence, uint64_t hash) {
      const std::lock_guard lock(mutex_);
      hashes_[sequence] = hash;
    };
    engine_ = std::make_unique<Engine>(store_, log_, clock_, options, &log_);
    started = engine_->Start();
  }
  Receipt Submit(int number) {
    Submission submission;
    const OrderBuilder order = SomeOrder(number);
    for (const Event& event : order.events()) submission.events.push_back({order.key(), event});
    std::promise<Receipt> receipt;
    EXPECT_TRUE(engine_->Submit(std::move(submission),
                                [&](Receipt answer) { receipt.set_value(std::move(answer)); }));
    return receipt.get_future().get();
  }
  Engine* operator->() { return engine_.get(); }
  void SetClock(Instant now) { clock_.Set(now); }
  bool follows() const { return engine_->shared_log()->follows; }
  uint64_t applied() const { return engine_->Look().catalog().log_sequence; }
  std::map<std::string, std::string> Bytes() const {
    std::map<std::string, std::string> bytes;
    const auto snapshot = store_.TakeSnapshot();
    for (int space = 0; space < kSpaceCount; ++space) {
      EXPECT_TRUE(snapshot
                      ->Scan(static_cast<Space>(space), "", "",
                             [&](auto key, auto value) {
                               bytes[absl::StrCat(space, std::string(key))] = std::string(value);
                               return true;
                             })
                      .ok());
    }
    return bytes;
  }
  std::map<uint64_t, uint64_t> hashes() const {
    const std::lock_guard lock(mutex_);
    return hashes_;
  }
  uint64_t trimmed_below() const { return log_.trimmed_below(); }

  absl::Status started;
  std::promise<absl::Status> lost;

 private:
  test::FixedClock clock_{At("2026-06-01T12:00")};
  MemoryStore store_;
  test::SharedMemoryNode log_;
  mutable std::mutex mutex_;
  std::map<uint64_t, uint64_t> hashes_;
  std::unique_ptr<Engine> engine_;
};

class SharedLogTest : public ::testing::Test {
 protected:
  void ExpectTheSameEverywhere(uint64_t sequence) {
    Until([&] { return one_.applied() == sequence && two_.applied() == sequence; });
    EXPECT_EQ(one_.Bytes(), two_.Bytes());
    const View view = two_->Look();
    EXPECT_EQ(*FindDifference(view.snapshot(), view.catalog(), {}), "");
  }

  SharedMemory shared_;
  Node one_{shared_, "one"};
  const bool one_is_first_ = [this] {
    Until([this] { return !one_.follows(); });
    return true;
  }();
  Node two_{shared_, "two"};
};

TEST_F(SharedLogTest, OneTakesEventsTheOtherAppliesThemAndSaysWhereTheyAreTaken) {
  ASSERT_TRUE(two_.follows());
  for (int i = 0; i < 5; ++i) ASSERT_TRUE(one_.Submit(i).status.ok());
  ExpectTheSameEverywhere(5);
  const absl::Status refused = two_.Submit(9).status;
  EXPECT_TRUE(absl::IsFailedPrecondition(refused)) << refused;
  EXPECT_THAT(std::string(refused.message()), HasSubstr("the one at one does"));
  EXPECT_FALSE(two_->AcceptsEvents());
  EXPECT_EQ(two_->shared_log()->tail, 5u);
  EXPECT_EQ(two_->shared_log()->owners_address, "one");
  EXPECT_EQ(two_->shared_log()->as_of, At("2026-06-01T12:00"));
  one_->Stop();
  two_->Stop();
  EXPECT_EQ(one_.hashes(), two_.hashes());
  EXPECT_EQ(one_.hashes().size(), 2u);  // as of the entries 2 and 4
}

TEST_F(SharedLogTest, StoppingHandsOver) {
  ASSERT_TRUE(one_.Submit(1).status.ok());
  one_->Stop();
  Until([this] { return !two_.follows(); });
  EXPECT_EQ(two_.Submit(1).fates[0].kind, EventFate::Kind::kDuplicate);
  EXPECT_TRUE(two_.Submit(2).status.ok());
}

TEST_F(SharedLogTest, AnOwnerThatIsCutOffIsCompleteUpToThenAndNotOnlyUpToWhenItTookOver) {
  one_.SetClock(At("2026-06-03T12:00"));
  ASSERT_TRUE(one_.Submit(1).status.ok());
  shared_.LoseOwner();
  shared_.is_reachable = false;
  EXPECT_TRUE(absl::IsUnavailable(one_.Submit(2).status));
  Until([this] { return one_.follows(); });
  one_.SetClock(At("2026-06-04T12:00"));
  EXPECT_EQ(one_->shared_log()->as_of, At("2026-06-03T12:00"));
}

TEST_F(SharedLogTest, AnOwnerThatIsFencedFollowsAndWhatItCouldNotSayIsSentAgain) {
  ASSERT_TRUE(one_.Submit(1).status.ok());
  shared_.LoseOwner();
  Until([this] { return !two_.follows(); });
  ASSERT_TRUE(two_.Submit(2).status.ok());
  EXPECT_TRUE(absl::IsUnavailable(one_.Submit(3).status));
  Until([this] { return one_.follows(); });
  EXPECT_TRUE(absl::IsFailedPrecondition(one_.Submit(3).status));
  EXPECT_TRUE(two_.Submit(3).status.ok());
  ExpectTheSameEverywhere(3);
}

TEST_F(SharedLogTest, AnAppendOfUnknownOutcomeIsFoundInTheLogOrNot) {
  uint64_t entries = 0;
  for (const auto fault :
       {SharedMemory::Fault::kUnknownAndThere, SharedMemory::Fault::kUnknownAndNot}) {
    const int number = static_cast<int>(fault);
    {
      const std::lock_guard lock(shared_.mutex);
      shared_.next_fault = fault;
    }
    EXPECT_TRUE(absl::IsUnavailable(one_.Submit(number).status));
    Until([this] { return !one_.follows(); });
    const bool is_there = fault == SharedMemory::Fault::kUnknownAndThere;
    EXPECT_EQ(one_.Submit(number).fates[0].kind == EventFate::Kind::kDuplicate, is_there);
    entries += is_there ? 2 : 1;
    ExpectTheSameEverywhere(entries);
  }
}

TEST_F(SharedLogTest, AFullLogRefusesAndItsOwnerGoesOn) {
  {
    const std::lock_guard lock(shared_.mutex);
    shared_.next_fault = SharedMemory::Fault::kFull;
  }
  EXPECT_TRUE(absl::IsResourceExhausted(one_.Submit(1).status));
  EXPECT_FALSE(one_.follows());
  EXPECT_TRUE(one_.Submit(1).status.ok());
  ExpectTheSameEverywhere(1);
}

TEST_F(SharedLogTest, WithoutTheLogQuestionsAreAnsweredAsOfTheLastTime) {
  ASSERT_TRUE(one_.Submit(1).status.ok());
  ExpectTheSameEverywhere(1);
  {
    const std::lock_guard lock(shared_.mutex);
    shared_.is_reachable = false;
  }
  Node three(shared_, "three");
  EXPECT_TRUE(three.started.ok()) << three.started;
  EXPECT_EQ(three->shared_log()->as_of, std::nullopt);
  EXPECT_EQ(two_->Look().catalog().order_count, 1);
  {
    const std::lock_guard lock(shared_.mutex);
    shared_.is_reachable = true;
  }
  Until([&] { return three.applied() == 1; });
}

TEST_F(SharedLogTest, WhoseLogWasTrimmedAwayFromItSaysSo) {
  for (int i = 0; i < 3; ++i) ASSERT_TRUE(one_.Submit(i).status.ok());
  ExpectTheSameEverywhere(3);
  shared_.TrimBelow(3);
  Node late(shared_, "late");
  EXPECT_TRUE(absl::IsDataLoss(late.started)) << late.started;
}

TEST_F(SharedLogTest, WhoFallsBehindWhatTheLogStillHoldsGivesUp) {
  const auto reach = [this](bool is_reachable) {
    const std::lock_guard lock(shared_.mutex);
    shared_.is_reachable = is_reachable;
  };
  reach(false);
  for (int i = 0; i < 3; ++i) ASSERT_TRUE(one_.Submit(i).status.ok());
  shared_.TrimBelow(3);
  auto lost = two_.lost.get_future();
  reach(true);
  EXPECT_TRUE(absl::IsDataLoss(lost.get()));
  EXPECT_FALSE(two_->AcceptsEvents());
}

TEST_F(SharedLogTest, OnlyWhatIsDurableHereMayBeTrimmed) {
  for (int i = 0; i < 33; ++i) ASSERT_TRUE(one_.Submit(i).status.ok());
  ExpectTheSameEverywhere(33);
  // Synced as of entry 32, and sixteen are kept.
  EXPECT_EQ(one_.trimmed_below(), 17u);
  EXPECT_EQ(two_.trimmed_below(), 17u);
}

// Owners come and go at random, and appends fail in every way.
TEST_F(SharedLogTest, WhateverHappensAllHoldTheSameAndEachEventOnce) {
  std::minstd_rand random(7);
  Node* nodes[] = {&one_, &two_};
  for (int number = 0; number < 60; ++number) {
    {
      const std::lock_guard lock(shared_.mutex);
      shared_.next_fault = static_cast<SharedMemory::Fault>(random() % 4);
    }
    if (random() % 4 == 0) shared_.LoseOwner();
    // As a sender does: again until it is taken, where it is taken.
    for (size_t at = random() % 2; !nodes[at]->Submit(number).status.ok(); at = 1 - at) {
    }
  }
  {
    const std::lock_guard lock(shared_.mutex);
    shared_.next_fault = SharedMemory::Fault::kNone;
  }
  for (Node* node : nodes) node->Submit(0);  // an owner that is fenced and idle notices now
  const uint64_t tail = [this] {
    const std::lock_guard lock(shared_.mutex);
    return shared_.entries.size();
  }();
  ExpectTheSameEverywhere(tail);
  EXPECT_EQ(one_->Look().catalog().order_count, 60);
}

}  // namespace
}  // namespace plumblane
