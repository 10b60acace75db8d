// Three daemons that share a log of four partitions: whoever events are handed to, whoever owns
// what and whoever goes, all of them hold what one daemon alone would, and each event once.
#include "engine/many_engines.h"

#include <absl/strings/str_cat.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <spdlog/spdlog.h>

#include <array>
#include <atomic>
#include <future>
#include <map>
#include <memory>
#include <random>
#include <set>
#include <thread>

#include "engine/partitions.h"
#include "engine/sends.h"
#include "storage/memory_store.h"
#include "support/applied_state.h"
#include "support/fixed_clock.h"
#include "support/shared_memory_log.h"

namespace plumblane {
namespace {

using test::AppliedState;
using test::At;
using test::KeyedEvent;
using test::OrderBuilder;
using test::RandomOrders;
using test::SharedMemory;
using test::SharedMemoryNode;
using ::testing::HasSubstr;

constexpr uint32_t kPartitions = 4;
using Logs = std::array<SharedMemory, kPartitions>;

void Until(const std::function<bool()>& condition) {
  while (!condition()) std::this_thread::sleep_for(std::chrono::milliseconds(1));
}

// One daemon's side of all partitions; owns no more than its share.
class NodeLog final : public EventLog, public Ownership {
 public:
  NodeLog(Logs& logs, const std::string& name, uint32_t share) : share(share) {
    for (uint32_t p = 0; p < kPartitions; ++p) {
      parts_[p] = std::make_unique<SharedMemoryNode>(logs[p], name);
    }
  }
  Appended Append(uint32_t p, uint64_t sequence, std::string bytes) override {
    return parts_[p]->Append(0, sequence, std::move(bytes));
  }
  absl::StatusOr<std::vector<LogRecord>> Read(uint32_t p, uint64_t from,
                                              size_t bytes) const override {
    return parts_[p]->Read(0, from, bytes);
  }
  absl::StatusOr<uint64_t> Tail(uint32_t p) const override { return parts_[p]->Tail(0); }
  absl::Status Trim(uint32_t p, uint64_t below) override { return parts_[p]->Trim(0, below); }
  bool KeepsStoreDurable() const override { return false; }

  absl::StatusOr<bool> Acquire(uint32_t p) override {
    const std::lock_guard lock(mutex_);
    if (OwnedBelow(kPartitions) >= share) return false;
    return parts_[p]->Acquire(0);
  }
  void Release(uint32_t p) override { parts_[p]->Release(0); }
  bool IsMine(uint32_t p) const override { return parts_[p]->IsMine(0); }
  bool ShallLetGo(uint32_t p) const override { return IsMine(p) && OwnedBelow(p) >= share; }
  std::string OwnersAddress(uint32_t p) const override { return parts_[p]->OwnersAddress(0); }
  bool IsFree(uint32_t p) const override {
    return OwnersAddress(p).empty() && OwnedBelow(kPartitions) < share;
  }
  void Leave(uint32_t p) override { ++left[p]; }

  std::atomic<uint32_t> share;
  std::array<std::atomic<int>, kPartitions> left = {};

 private:
  uint32_t OwnedBelow(uint32_t partition) const {
    uint32_t owned = 0;
    for (uint32_t p = 0; p < partition; ++p) owned += parts_[p]->IsMine(0) ? 1 : 0;
    return owned;
  }

  std::mutex mutex_;
  std::array<std::unique_ptr<SharedMemoryNode>, kPartitions> parts_;
};

// Hands on to those that are there, by name.
class Network final : public OtherDesks {
 public:
  void Submit(const std::string& address, std::span<const PartOfSubmission* const> parts,
              Answers answers) override {
    ManyEngines* desk = nullptr;
    {
      const std::lock_guard lock(mutex_);
      const auto found = desks_.find(address);
      if (found != desks_.end()) desk = found->second;
    }
    ++handed_on;
    std::vector<Receipt> receipts;
    for (const PartOfSubmission* part : parts) {
      std::promise<Receipt> receipt;
      if (desk == nullptr) {
        receipt.set_value({absl::UnavailableError("out of reach"), 0, {}, {}});
      } else {
        desk->TakeHere(part->partition, Submission(part->content),
                       [&receipt](const Receipt& answer) { receipt.set_value(answer); });
      }
      receipts.push_back(receipt.get_future().get());
    }
    answers(receipts);
  }
  void Set(const std::string& address, ManyEngines* desk) {
    const std::lock_guard lock(mutex_);
    desks_[address] = desk;
  }
  absl::Status Read(const std::string& address, uint32_t partition, ArrivingState& to) {
    const std::lock_guard lock(mutex_);
    if (desks_[address] == nullptr) return absl::UnavailableError("out of reach");
    ++read;
    absl::Status status;
    status.Update(desks_[address]->ReadState(partition, [&](auto space, auto key, auto value) {
      status = to.Put(space, std::string(key), std::string(value));
      return status.ok();
    }));
    return status;
  }
  std::atomic<int> handed_on = 0, read = 0;

 private:
  std::mutex mutex_;
  std::map<std::string, ManyEngines*> desks_;
};

class Node {
 public:
  Node(Logs& logs, Network& network, const std::string& name, uint32_t share,
       bool only_owned = false)
      : log(logs, name, share),
        desk(store_, log, clock_, Options(network, only_owned), kPartitions, log, network),
        network_(network),
        name_(name) {
    spdlog::set_level(spdlog::level::off);
    EXPECT_TRUE(desk.Start().ok());
    network.Set(name, &desk);
  }
  void Stop() {
    network_.Set(name_, nullptr);
    desk.Stop();
  }
  Receipt Submit(const Submission& content) {
    std::promise<Receipt> receipt;
    EXPECT_TRUE(desk.Submit(Submission(content),
                            [&](const Receipt& answer) { receipt.set_value(answer); }));
    return receipt.get_future().get();
  }
  // As a sender does.
  Receipt SubmitUntilTaken(const Submission& content) {
    for (;;) {
      Receipt receipt = Submit(content);
      if (receipt.status.ok()) return receipt;
      EXPECT_TRUE(absl::IsUnavailable(receipt.status)) << receipt.status;
      std::this_thread::sleep_for(std::chrono::milliseconds(2));
    }
  }
  std::map<std::string, std::string> Bytes() const {
    std::map<std::string, std::string> bytes;
    const View view = desk.Look();
    for (const Space space : {Space::kOrders, Space::kCells}) {
      EXPECT_TRUE(view.snapshot()
                      .Scan(space, "", "",
                            [&](auto key, auto value) {
                              bytes[absl::StrCat(static_cast<int>(space), std::string(key))] =
                                  std::string(value);
                              return true;
                            })
                      .ok());
    }
    return bytes;
  }
  // Of cells, by partition and entry.
  std::map<std::pair<uint32_t, uint64_t>, uint64_t> hashes() const {
    const std::lock_guard lock(mutex_);
    return hashes_;
  }
  uint32_t owned() const {
    uint32_t owned = 0;
    const auto shared = desk.shared_log();
    for (const SharedPart& part : shared->parts) owned += part.is_mine ? 1 : 0;
    return owned;
  }

 private:
  EngineOptions Options(Network& network, bool only_owned) {
    EngineOptions options;
    options.only_owned = only_owned;
    options.fetch_state = [&network](uint32_t partition, ArrivingState& to) {
      return network.Read("two", partition, to);
    };
    options.compare_entries = 3;
    options.compare_cells = [this](uint32_t partition, uint64_t sequence, uint64_t hash) {
      const std::lock_guard lock(mutex_);
      hashes_[{partition, sequence}] = hash;
    };
    return options;
  }

  test::FixedClock clock_{At("2026-06-01T12:00")};
  MemoryStore store_;
  mutable std::mutex mutex_;
  std::map<std::pair<uint32_t, uint64_t>, uint64_t> hashes_;  // guarded by mutex_

 public:
  NodeLog log;
  ManyEngines desk;

 private:
  Network& network_;
  const std::string name_;
};

Submission Of(const std::vector<KeyedEvent>& events, size_t from, size_t to) {
  Submission content;
  for (size_t i = from; i < std::min(to, events.size()); ++i) {
    content.events.push_back({events[i].order, events[i].event});
  }
  return content;
}

class ManyEnginesTest : public ::testing::Test {
 protected:
  static bool AllOwned(const std::vector<Node*>& nodes) {
    uint32_t owned = 0;
    for (const Node* node : nodes) owned += node->owned();
    return owned == kPartitions;
  }
  bool AllApplied(const std::vector<Node*>& nodes) {
    for (const Node* node : nodes) {
      const auto shared = node->desk.shared_log();
      for (uint32_t p = 0; p < kPartitions; ++p) {
        const std::lock_guard lock(logs_[p].mutex);
        if (shared->parts[p].applied != logs_[p].entries.size()) return false;
      }
    }
    return true;
  }

  Logs logs_;
  Network network_;
  Node one_{logs_, network_, "one", 2};
  Node two_{logs_, network_, "two", 1};
  Node three_{logs_, network_, "three", 1};
  const std::vector<Node*> nodes_{&one_, &two_, &three_};
};

TEST_F(ManyEnginesTest, EventsHandedToAnyAreTakenOnceAndAllHoldWhatOneAloneWould) {
  Until([this] { return AllOwned(nodes_); });
  RandomOrders random(5);
  const std::vector<KeyedEvent> events = random.Make(200);
  AppliedState alone;
  for (size_t at = 0; at < events.size(); at += 20) {
    const Submission content = Of(events, at, at + 20);
    Node& node = *nodes_[at / 20 % 3];
    const Receipt receipt = node.SubmitUntilTaken(content);
    const Applied applied = alone.Apply(content);
    ASSERT_EQ(receipt.fates.size(), applied.fates.size());
    StandingDelta standing;
    for (size_t i = 0; i < receipt.fates.size(); ++i) {
      EXPECT_EQ(receipt.fates[i].kind, applied.fates[i].kind);
      standing += applied.standings[i];
    }
    EXPECT_EQ(receipt.standing, standing);
  }
  EXPECT_GT(network_.handed_on, 0);
  Until([this] { return AllApplied(nodes_); });
  auto expected = alone.Bytes();
  std::erase_if(expected, [](const auto& one) { return one.first[0] == '3'; });  // indexes
  for (const Node* node : nodes_) {
    EXPECT_EQ(node->Bytes(), expected);
    const View view = node->desk.Look();
    EXPECT_EQ(*FindDifference(view.snapshot(), view.catalog(), {}), "");
    EXPECT_EQ(view.catalog().event_count, alone.catalog().event_count);
  }
  // Who owned a partition and who followed have hashed it at the same entries.
  for (const Node* node : nodes_) {
    Until([&] { return node->hashes().size() >= one_.hashes().size(); });
    EXPECT_EQ(node->hashes(), one_.hashes());
  }
  std::set<uint32_t> hashed;
  for (const auto& [place, hash] : one_.hashes()) hashed.insert(place.first);
  EXPECT_EQ(hashed.size(), kPartitions);
}

TEST_F(ManyEnginesTest, WhatIsOfNoOrderIsSeenWhereItWasHandedInOnceItIsAnswered) {
  Until([this] { return AllOwned(nodes_); });
  for (Node* node : nodes_) {
    Submission begin;
    begin.sends_begun.emplace_back().source = "a";
    const Receipt begun = node->SubmitUntilTaken(begin);
    ASSERT_EQ(begun.sends.size(), 1u);
    const auto send = ReadSend(node->desk.Look().snapshot(), begun.sends[0]);
    ASSERT_TRUE(send.ok() && *send);
    EXPECT_TRUE((*send)->takes_events());
    // News holds once every partition has it.
    Submission news;
    news.news = {{"a", At("2026-05-01"), 0}};
    ASSERT_TRUE(node->SubmitUntilTaken(news).status.ok());
    EXPECT_EQ(node->desk.Look().catalog().sources.at("a").complete_through, At("2026-05-01"));
    Submission undo;
    undo.sends_taken_back = begun.sends;
    ASSERT_TRUE(node->SubmitUntilTaken(undo).status.ok());
    EXPECT_EQ((*ReadSend(node->desk.Look().snapshot(), begun.sends[0]))->state,
              SendState::kTakenBack);
  }
}

TEST_F(ManyEnginesTest, WhoHasMoreThanItsShareLetsGoAndNothingIsLost) {
  Until([this] { return AllOwned(nodes_); });
  RandomOrders random(6);
  const std::vector<KeyedEvent> events = random.Make(150);
  int taken = 0;
  for (size_t at = 0; at < events.size(); at += 10) {
    if (at % 100 == 0) {
      const uint32_t shares[][3] = {{0, 2, 2}, {1, 1, 2}, {4, 0, 0}, {2, 1, 1}};
      for (size_t i = 0; i < 3; ++i) nodes_[i]->log.share = shares[at / 100 % 4][i];
    }
    for (const EventFate& fate :
         nodes_[at / 10 % 3]->SubmitUntilTaken(Of(events, at, at + 10)).fates) {
      taken += fate.kind != EventFate::Kind::kDuplicate ? 1 : 0;
    }
  }
  Until([this] { return AllOwned(nodes_) && AllApplied(nodes_); });
  EXPECT_GT(taken, 0);
  EXPECT_EQ(one_.Bytes(), two_.Bytes());
  EXPECT_EQ(one_.Bytes(), three_.Bytes());
  AppliedState alone;
  for (size_t at = 0; at < events.size(); at += 10) alone.Apply(Of(events, at, at + 10));
  EXPECT_EQ(one_.desk.Look().catalog().event_count, alone.catalog().event_count);
  EXPECT_EQ(one_.desk.Look().catalog().order_count, alone.catalog().order_count);
}

TEST_F(ManyEnginesTest, WhoFollowsOnlyWhatItOwnsTakesUpFromTheLogOrFromAnother) {
  Until([this] { return AllOwned(nodes_); });
  Node four(logs_, network_, "four", 0, /*only_owned=*/true);
  const auto some = [](int from) {
    Submission content;
    for (int i = from; i < from + 40; ++i) {
      OrderBuilder order({"default", std::to_string(i)});
      order.Paid("2026-03-01").Promised("2026-03-10").Delivered("2026-03-08");
      for (const Event& event : order.events()) content.events.push_back({order.key(), event});
    }
    return content;
  };
  const auto held = [&four] {
    std::vector<uint32_t> held;
    const auto shared = four.desk.shared_log();
    for (uint32_t p = 0; p < kPartitions; ++p) {
      if (shared->parts[p].is_held) held.push_back(p);
    }
    return held;
  };
  one_.SubmitUntilTaken(some(0));
  const auto applied = [&four](uint32_t p) { return four.desk.shared_log()->parts[p].applied; };
  Until([&] { return applied(0) > 0; });
  EXPECT_THAT(held(), ::testing::ElementsAre(0)) << "what is of no order is everybody's";
  EXPECT_EQ(applied(1) + applied(2) + applied(3), 0u);
  EXPECT_EQ(four.desk.shared_log()->MissingParts(At("2026-06-01T12:00")), 3);
  EXPECT_FALSE(four.desk.shared_log()->HoldsAll());
  EXPECT_TRUE(absl::IsNotFound(four.desk.ReadState(1, [](auto, auto, auto) { return true; })));
  Until([&] { return four.log.left[3] > 0; });
  // It takes events nevertheless, and answers when they are taken, which it does not see.
  EXPECT_TRUE(four.Submit(some(40)).status.ok());
  Submission news;
  news.news = {{"carrier", At("2026-05-01"), 0}};
  EXPECT_TRUE(four.Submit(news).status.ok());

  // One comes to it by the log, the others when the log does not go back so far any more.
  Until([this] { return AllApplied(nodes_); });
  four.log.share = 1;
  three_.log.share = 0;
  Until([&] { return four.owned() == 1 && AllOwned({&one_, &two_, &four}); });
  EXPECT_EQ(network_.read, 0);
  for (SharedMemory& log : logs_) {
    const std::lock_guard lock(log.mutex);
    log.first = log.entries.size();
  }
  four.log.share = kPartitions;
  one_.log.share = two_.log.share = 0;
  Until([&] { return four.owned() == kPartitions; });
  EXPECT_GT(network_.read, 0);
  EXPECT_TRUE(four.desk.shared_log()->HoldsAll());
  EXPECT_EQ(four.Bytes(), one_.Bytes());
  EXPECT_EQ(four.desk.Look().catalog().event_count, 160);
  EXPECT_EQ(four.SubmitUntilTaken(some(80)).fates.front().kind, EventFate::Kind::kAccepted);
  Until([this] { return AllApplied(nodes_); });
  EXPECT_EQ(four.Bytes(), one_.Bytes());
  four.Stop();
}

TEST_F(ManyEnginesTest, WhatAGoneOwnerHadIsRefusedUntilAnotherTakesOver) {
  Until([this] { return AllOwned(nodes_); });
  three_.Stop();
  // Its partition is free, and nobody's share has room for it.
  Until([this] { return !one_.desk.AcceptsEvents(); });
  EXPECT_THAT(one_.desk.refusal(), HasSubstr("no daemon takes events of partition"));
  Submission all;
  for (int i = 0; i < 40; ++i) {
    OrderBuilder order({"default", std::to_string(i)});
    order.Paid("2026-03-01");
    for (const Event& event : order.events()) all.events.push_back({order.key(), event});
  }
  const absl::Status refused = one_.Submit(all).status;
  EXPECT_TRUE(absl::IsUnavailable(refused)) << refused;
  two_.log.share = 2;
  int taken = 0;
  for (const EventFate& fate : one_.SubmitUntilTaken(all).fates) {
    taken += fate.kind == EventFate::Kind::kAccepted ? 1 : 0;
  }
  EXPECT_LT(taken, 40) << "other partitions had theirs already";
  Until([this] { return AllApplied({&one_, &two_}); });
  EXPECT_EQ(one_.desk.Look().catalog().event_count, 40);
}

}  // namespace
}  // namespace plumblane
