// What the log in etcd promises beyond the contract: one owner writes, whatever others believe; an
// append whose answer is lost is settled; long entries; a full etcd; several readers.
#include "eventlog/etcd/etcd_log.h"

#include <absl/strings/str_cat.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <functional>
#include <future>
#include <memory>
#include <string>
#include <thread>

#include "eventlog/etcd/txn.h"
#include "support/etcd_server.h"

namespace plumblane {
namespace {

using ::testing::ElementsAre;
using ::testing::IsEmpty;

constexpr uint32_t kPartition = 0;
constexpr size_t kMuch = 64 << 20;

// A daemon's side of the log.
struct Node {
  Node(const test::EtcdServer& server, const std::string& name,
       std::chrono::milliseconds patience = std::chrono::seconds(20), bool follows_all = true)
      : client({.endpoints = server.endpoints(), .patience = patience}),
        ownership(client, name, name + ":1", std::chrono::seconds(600), follows_all),
        log(client, ownership, {.node = name, .settle = std::chrono::seconds(120)}) {}

  std::vector<std::string> Texts(uint64_t from) const {
    auto records = log.Read(kPartition, from, kMuch);
    const Stopwatch since;  // a member that was started again takes a moment
    while (absl::IsUnavailable(records.status()) && since.Seconds() < 120) {
      records = log.Read(kPartition, from, kMuch);
    }
    EXPECT_TRUE(records.ok()) << records.status();
    std::vector<std::string> texts;
    for (const LogRecord& record : records.value()) texts.push_back(record.bytes);
    return texts;
  }
  Appended Append(uint64_t sequence, std::string text) {
    return log.Append(kPartition, sequence, std::move(text));
  }

  EtcdClient client;
  EtcdOwnership ownership;
  EtcdLog log;
};

// As when etcd has not heard of the owner for the time of its lease, which the owner has not
// noticed.
void LoseOwnership(Node& node) {
  etcdserverpb::TxnRequest txn;
  txn.add_success()->mutable_request_delete_range()->set_key(node.ownership.OwnerKey(kPartition));
  ASSERT_TRUE(node.client.Txn(txn).ok());
}

class EtcdLogTest : public ::testing::Test {
 protected:
  void SetUp() override { PLUMBLANE_NEEDS_ETCD(); }
};

TEST_F(EtcdLogTest, IsMadeOnceAndKeepsItsId) {
  test::EtcdServer server;
  Node one(server, "one"), two(server, "two");
  EXPECT_EQ(one.log.Id().value(), "");
  EXPECT_TRUE(absl::IsDataLoss(one.log.Tail(kPartition).status()));
  const std::string id = one.log.Create(1, 41, "first").value();
  EXPECT_EQ(id, "first");
  EXPECT_EQ(two.log.Create(1, 7, "second").value(), id);
  EXPECT_EQ(two.log.Tail(kPartition).value(), 41u);
  EXPECT_TRUE(absl::IsOutOfRange(two.log.Read(kPartition, 41, kMuch).status()));
  EXPECT_THAT(two.Texts(42), IsEmpty());
}

TEST_F(EtcdLogTest, OneOwnerWritesAndALateOneIsFenced) {
  test::EtcdServer server;
  Node one(server, "one"), two(server, "two");
  ASSERT_TRUE(one.log.Create(1, 0, "id").ok());
  EXPECT_EQ(one.Append(1, "x"), Appended::kFenced) << "nobody owns it";
  EXPECT_TRUE(one.ownership.Acquire(kPartition).value());
  EXPECT_FALSE(two.ownership.Acquire(kPartition).value());
  EXPECT_EQ(two.ownership.OwnersAddress(kPartition), "one:1");
  EXPECT_EQ(two.Append(1, "x"), Appended::kFenced);
  EXPECT_EQ(one.Append(1, "a"), Appended::kDurable);

  LoseOwnership(one);
  ASSERT_TRUE(two.ownership.Renew().ok());
  EXPECT_EQ(two.ownership.OwnersAddress(kPartition), "");
  EXPECT_TRUE(two.ownership.Acquire(kPartition).value());
  EXPECT_EQ(two.Append(2, "b"), Appended::kDurable);
  EXPECT_TRUE(one.ownership.IsMine(kPartition)) << "it has not noticed";
  EXPECT_EQ(one.Append(2, "c"), Appended::kFenced);
  EXPECT_EQ(one.Append(3, "c"), Appended::kFenced);
  ASSERT_TRUE(one.ownership.Renew().ok());
  EXPECT_FALSE(one.ownership.IsMine(kPartition));
  EXPECT_FALSE(one.ownership.Acquire(kPartition).value());

  two.ownership.Release(kPartition);
  ASSERT_TRUE(one.ownership.Renew().ok());
  EXPECT_TRUE(one.ownership.Acquire(kPartition).value());
  const int64_t fence = one.ownership.Fence(kPartition);
  EXPECT_TRUE(one.ownership.Acquire(kPartition).value());
  EXPECT_GT(one.ownership.Fence(kPartition), fence) << "what it sent before cannot come any more";
  EXPECT_EQ(one.Append(3, "c"), Appended::kDurable);
  EXPECT_THAT(two.Texts(1), ElementsAre("a", "b", "c"));
}

TEST_F(EtcdLogTest, NoNumberIsPassedOverOrGivenTwice) {
  test::EtcdServer server;
  Node one(server, "one");
  ASSERT_TRUE(one.log.Create(1, 0, "id").ok());
  ASSERT_TRUE(one.ownership.Acquire(kPartition).value());
  EXPECT_EQ(one.Append(2, "b"), Appended::kFenced);
  EXPECT_EQ(one.Append(1, "a"), Appended::kDurable);
  EXPECT_EQ(one.Append(1, "a"), Appended::kDurable) << "the same again is what is there";
  EXPECT_EQ(one.Append(1, "b"), Appended::kFenced);
  EXPECT_THAT(one.Texts(1), ElementsAre("a"));
}

TEST_F(EtcdLogTest, AnAppendWhoseAnswerIsLostIsSettledByReadingBack) {
  test::EtcdServer server;
  Node one(server, "one", std::chrono::milliseconds(300)), two(server, "two");
  ASSERT_TRUE(two.log.Create(1, 0, "id").ok());
  while (!one.ownership.Acquire(kPartition).value_or(false)) {
  }
  // Held up it takes the call and answers nobody; killed it may have written and not have said so.
  for (uint64_t sequence = 1; sequence <= 4; ++sequence) {
    server.Signal(0, SIGSTOP);
    auto appended = std::async(std::launch::async,
                               [&] { return one.Append(sequence, absl::StrCat("e", sequence)); });
    appended.wait_for(std::chrono::milliseconds(700));
    server.Signal(0, SIGCONT);
    if (sequence % 2 == 0) {
      server.Kill(0);
      server.Start(0);
    }
    EXPECT_EQ(appended.get(), Appended::kDurable) << sequence;
  }
  EXPECT_THAT(two.Texts(1), ElementsAre("e1", "e2", "e3", "e4"));
}

TEST_F(EtcdLogTest, LongEntriesAreWholeOrNotThere) {
  test::EtcdServer server;
  Node one(server, "one");
  ASSERT_TRUE(one.log.Create(1, 0, "id").ok());
  ASSERT_TRUE(one.ownership.Acquire(kPartition).value());
  std::string text((size_t{5} << 20) + 3, 'x');
  for (size_t i = 0; i < text.size(); i += 1000) text[i] = static_cast<char>(i / 1000);
  EXPECT_EQ(one.Append(1, "short"), Appended::kDurable);
  EXPECT_EQ(one.Append(2, text), Appended::kDurable);
  EXPECT_EQ(one.Append(3, "short"), Appended::kDurable);
  EXPECT_TRUE(one.Texts(1) == std::vector<std::string>({"short", text, "short"}));

  etcdserverpb::TxnRequest txn;
  DeleteRange(txn, one.client.Key("piece/0000/"), one.client.Key("piece/0000/0000000000000003"));
  ASSERT_TRUE(one.client.Txn(txn).ok());
  EXPECT_TRUE(absl::IsDataLoss(one.log.Read(kPartition, 2, kMuch).status()));
}

TEST_F(EtcdLogTest, IsTrimmedBelowWhatEveryReaderHolds) {
  test::EtcdServer server;
  Node one(server, "one"), two(server, "two");
  ASSERT_TRUE(one.log.Create(1, 0, "id").ok());
  ASSERT_TRUE(one.ownership.Acquire(kPartition).value());
  const auto trim = [](Node& node, uint64_t below) {
    ASSERT_TRUE(node.log.Trim(kPartition, below).ok());
    ASSERT_TRUE(node.log.Keep().ok());
  };
  two.log.TellCopy(kPartition, 9, "two:1");
  trim(two, 1);
  for (uint64_t sequence = 1; sequence <= 9; ++sequence) {
    ASSERT_EQ(one.Append(sequence, absl::StrCat(sequence)), Appended::kDurable);
  }
  trim(one, 8);
  EXPECT_THAT(two.Texts(1).size(), 9u);
  trim(two, 5);  // by who is not the owner: told, no more
  EXPECT_THAT(two.Texts(1).size(), 9u);
  ASSERT_TRUE(one.log.Keep().ok());
  EXPECT_TRUE(absl::IsOutOfRange(two.log.Read(kPartition, 4, kMuch).status()));
  EXPECT_THAT(two.Texts(5), ElementsAre("5", "6", "7", "8", "9"));
}

TEST_F(EtcdLogTest, WhatOnlyOneOfSeveralDaemonsHoldsStays) {
  test::EtcdServer server;
  Node one(server, "one"), two(server, "two", std::chrono::seconds(20), /*follows_all=*/false);
  ASSERT_TRUE(one.log.Create(2, 0, "id").ok());
  for (Node* node : {&one, &two, &one}) {
    node->ownership.ShareOut(2);
    ASSERT_TRUE(node->ownership.Renew().ok());
  }
  ASSERT_TRUE(one.ownership.Acquire(kPartition).value());
  for (uint64_t sequence = 1; sequence <= 9; ++sequence) {
    ASSERT_EQ(one.Append(sequence, absl::StrCat(sequence)), Appended::kDurable);
  }
  one.log.TellCopy(kPartition, 9, "one:1");
  ASSERT_TRUE(one.log.Trim(kPartition, 8).ok());
  const auto first = [&](const std::function<void()>& change) {
    change();
    EXPECT_TRUE(two.log.Keep().ok());
    EXPECT_TRUE(one.log.Keep().ok());
    return two.log.First({kPartition})->front();
  };
  EXPECT_EQ(first([&] { two.log.Leave(kPartition); }), 1u);
  EXPECT_EQ(first([&] { EXPECT_TRUE(two.log.Trim(kPartition, 4).ok()); }), 4u);
  EXPECT_EQ(first([&] { two.log.Leave(kPartition); }), 4u) << "it waits for nobody, but stays";
  EXPECT_EQ(first([&] { EXPECT_TRUE(two.log.Trim(kPartition, 9).ok()); }), 8u);
}

TEST_F(EtcdLogTest, TheFirstPartitionIsOwnedByWhoFollowsAllWhereThereIsOne) {
  test::EtcdServer server;
  Node some(server, "a", std::chrono::seconds(20), /*follows_all=*/false), all(server, "b");
  ASSERT_TRUE(some.log.Create(2, 0, "id").ok());
  for (Node* node : {&some, &all}) node->ownership.ShareOut(2);
  EXPECT_FALSE(some.ownership.IsFree(0)) << "before it knows who is alive";
  ASSERT_TRUE(some.ownership.Renew().ok());
  EXPECT_TRUE(some.ownership.Others().empty());
  EXPECT_TRUE(some.ownership.IsFree(0)) << "there is no other";
  ASSERT_TRUE(some.ownership.Acquire(0).value());
  ASSERT_TRUE(all.ownership.Renew().ok());
  ASSERT_TRUE(some.ownership.Renew().ok());
  ASSERT_EQ(some.ownership.Others().size(), 1u);
  EXPECT_EQ(some.ownership.Others().front().address, "b:1");
  EXPECT_TRUE(some.ownership.Others().front().follows_all);
  EXPECT_FALSE(all.ownership.Others().front().follows_all);
  EXPECT_TRUE(some.ownership.ShallLetGo(0));
  // Its share is full, and it takes the first nevertheless; then it has one too many.
  ASSERT_TRUE(all.ownership.Acquire(1).value());
  some.ownership.Release(0);
  ASSERT_TRUE(all.ownership.Renew().ok());
  ASSERT_TRUE(some.ownership.Renew().ok());
  EXPECT_FALSE(some.ownership.Acquire(0).value());
  EXPECT_FALSE(some.ownership.IsFree(0));
  ASSERT_TRUE(all.ownership.Acquire(0).value());
  EXPECT_FALSE(all.ownership.ShallLetGo(0));
  EXPECT_TRUE(all.ownership.ShallLetGo(1));
}

class SilentOwnerTest : public EtcdLogTest {
 protected:
  struct Brief {
    Brief(const test::EtcdServer& server, const std::string& name)
        : client({.endpoints = server.endpoints(), .patience = std::chrono::seconds(20)}),
          ownership(client, name, name + ":1", kLease),
          log(client, ownership, {.node = name}) {}
    // As a leader of etcd that is new does for all.
    bool ExtendsLease() {
      etcdserverpb::TxnRequest txn;
      *txn.add_success() = Range(ownership.OwnerKey(kPartition));
      if (lease == 0) lease = Only(client.Txn(txn).value(), 0)->lease();
      return client.KeepLease(lease).value();
    }
    EtcdClient client;
    EtcdOwnership ownership;
    EtcdLog log;
    int64_t lease = 0;
  };
  static constexpr std::chrono::seconds kLease{6};
  // Whether `two` takes over within twice the time, renewing as often as a daemon does.
  static bool TakesOver(Brief& two, const std::function<void()>& meanwhile) {
    const Stopwatch since;
    while (since.Seconds() < 2.0 * kLease.count()) {
      meanwhile();
      if (!two.ownership.Renew().ok()) continue;
      if (two.ownership.Acquire(kPartition).value_or(false)) return true;
      std::this_thread::sleep_for(std::chrono::milliseconds(kLease) / 60);
    }
    return false;
  }
};

TEST_F(SilentOwnerTest, IsFollowedThoughItsLeaseIsExtended) {
  test::EtcdServer server;
  Brief one(server, "one"), two(server, "two");
  ASSERT_TRUE(one.log.Create(1, 0, "id").ok());
  ASSERT_TRUE(one.ownership.Acquire(kPartition).value());
  ASSERT_EQ(one.log.Append(kPartition, 1, "a"), Appended::kDurable);
  EXPECT_TRUE(TakesOver(two, [&] { ASSERT_TRUE(one.ExtendsLease()); }));
  EXPECT_TRUE(one.ExtendsLease()) << "it was not the lease that ended it";
  EXPECT_FALSE(one.ownership.IsMine(kPartition)) << "it does not believe so any more";
  ASSERT_TRUE(one.ownership.Renew().ok());
  EXPECT_FALSE(one.ownership.IsMine(kPartition));
  EXPECT_EQ(one.ownership.OwnersAddress(kPartition), "two:1");
  EXPECT_EQ(one.log.Append(kPartition, 2, "b"), Appended::kFenced);
  EXPECT_EQ(two.log.Append(kPartition, 2, "c"), Appended::kDurable);
}

TEST_F(SilentOwnerTest, IsFollowedByEachInItsShare) {
  test::EtcdServer server;
  Brief one(server, "one"), two(server, "two"), three(server, "three");
  ASSERT_TRUE(one.log.Create(2, 0, "id").ok());
  one.ownership.ShareOut(2);
  ASSERT_TRUE(one.ownership.Renew().ok());
  for (const uint32_t partition : {0u, 1u}) ASSERT_TRUE(one.ownership.Acquire(partition).value());
  for (Brief* node : {&two, &three}) node->ownership.ShareOut(2);
  // As in a daemon both try for each; who is late at one still takes the other.
  EXPECT_TRUE(TakesOver(two, [&] {
    ASSERT_TRUE(one.ExtendsLease());
    ASSERT_TRUE(three.ownership.Renew().ok());
  }));
  EXPECT_FALSE(three.ownership.Acquire(kPartition).value());
  EXPECT_TRUE(three.ownership.Acquire(1).value());
  EXPECT_TRUE(one.ExtendsLease());
}

TEST_F(SilentOwnerTest, IsNotOneThatIsHeardOf) {
  test::EtcdServer server;
  Brief one(server, "one"), two(server, "two");
  ASSERT_TRUE(one.log.Create(1, 0, "id").ok());
  ASSERT_TRUE(one.ownership.Acquire(kPartition).value());
  EXPECT_FALSE(TakesOver(two, [&] { ASSERT_TRUE(one.ownership.Renew().ok()); }));
  EXPECT_TRUE(one.ownership.IsMine(kPartition));
}

TEST_F(SilentOwnerTest, IsNotOneThatEtcdLeftNoTimeToBeHeard) {
  test::EtcdServer server;
  Brief one(server, "one"), two(server, "two");
  ASSERT_TRUE(one.log.Create(1, 0, "id").ok());
  ASSERT_TRUE(one.ownership.Acquire(kPartition).value());
  ASSERT_TRUE(two.ownership.Renew().ok());
  server.Kill(0);
  std::this_thread::sleep_for(kLease);
  server.Start(0);
  int rounds = 0;
  EXPECT_FALSE(TakesOver(two, [&] { EXPECT_TRUE(rounds++ == 0 || one.ownership.Renew().ok()); }))
      << "its first sign comes after the other has asked";
}

TEST_F(EtcdLogTest, WhatNoCopyHoldsStays) {
  test::EtcdServer server;
  Node one(server, "one"), two(server, "two");
  ASSERT_TRUE(one.log.Create(1, 0, "id").ok());
  ASSERT_TRUE(one.ownership.Acquire(kPartition).value());
  for (uint64_t sequence = 1; sequence <= 9; ++sequence) {
    ASSERT_EQ(one.Append(sequence, absl::StrCat(sequence)), Appended::kDurable);
  }
  const auto first = [&](const std::function<void()>& change) {
    change();
    EXPECT_TRUE(two.log.Keep().ok());
    EXPECT_TRUE(one.log.Keep().ok());
    return two.log.First({kPartition})->front();
  };
  ASSERT_TRUE(two.log.Trim(kPartition, 9).ok());
  EXPECT_EQ(first([&] { ASSERT_TRUE(one.log.Trim(kPartition, 8).ok()); }), 1u);
  EXPECT_EQ(first([&] { two.log.TellCopy(kPartition, 3, "unix:/a b/s"); }), 4u);
  EXPECT_EQ(first([&] { one.log.TellCopy(kPartition, 5, "one:1"); }), 6u);
  EXPECT_EQ(first([&] { two.log.TellCopy(kPartition, 9, "unix:/a b/s"); }), 8u);
  const auto copies = one.log.Copies()->at(kPartition);
  ASSERT_EQ(copies.size(), 2u);
  EXPECT_EQ(copies[0].sequence, 9u);
  EXPECT_EQ(copies[0].node, "two");
  EXPECT_EQ(copies[0].address, "unix:/a b/s");
  EXPECT_EQ(copies[1].sequence, 5u);
}

TEST_F(EtcdLogTest, CellsAreComparedForLongerThanEntriesStayAndThenSaidNotToBe) {
  test::EtcdServer server;
  Node one(server, "one");
  EtcdLog slow(one.client, one.ownership, {.node = "slow", .cells_kept = 5});
  EtcdLog owner(one.client, one.ownership, {.node = "one", .cells_kept = 5});
  ASSERT_TRUE(one.log.Create(1, 0, "id").ok());
  ASSERT_TRUE(one.ownership.Acquire(kPartition).value());
  for (uint64_t sequence = 1; sequence <= 9; ++sequence) {
    ASSERT_EQ(one.Append(sequence, absl::StrCat(sequence)), Appended::kDurable);
    EXPECT_TRUE(owner.CompareCells(kPartition, sequence, sequence).ok());
  }
  EXPECT_TRUE(slow.CompareCells(kPartition, 1, 1).ok());
  ASSERT_TRUE(owner.Trim(kPartition, 8).ok());
  owner.TellCopy(kPartition, 9, "one:1");
  ASSERT_TRUE(owner.Keep().ok());
  ASSERT_EQ(one.log.First({kPartition})->front(), 8u);
  EXPECT_TRUE(absl::IsFailedPrecondition(slow.CompareCells(kPartition, 2, 2)));
  EXPECT_TRUE(slow.CompareCells(kPartition, 3, 3).ok());
  EXPECT_TRUE(absl::IsDataLoss(slow.CompareCells(kPartition, 4, 5)));
}

TEST_F(EtcdLogTest, WithoutRoomNothingIsTakenAndNothingIsLost) {
  test::EtcdServer server(1, {"--quota-backend-bytes=16777216"});
  Node one(server, "one");
  ASSERT_TRUE(one.log.Create(1, 0, "id").ok());
  ASSERT_TRUE(one.ownership.Acquire(kPartition).value());
  const std::string text(900'000, 'x');
  uint64_t sequence = 1;
  Appended appended;
  while ((appended = one.Append(sequence, text)) == Appended::kDurable) ++sequence;
  EXPECT_EQ(appended, Appended::kFull);
  EXPECT_GT(sequence, 5u);
  EXPECT_EQ(one.log.Tail(kPartition).value(), sequence - 1);
  EXPECT_EQ(one.Texts(1).size(), sequence - 1);
  // Room can be made: removing needs none.
  ASSERT_TRUE(one.log.Trim(kPartition, sequence - 2).ok());
  one.log.TellCopy(kPartition, sequence - 1, "one:1");  // its own counts, told or not
  EXPECT_TRUE(absl::IsResourceExhausted(one.log.Keep()));
  EXPECT_TRUE(absl::IsOutOfRange(one.log.Read(kPartition, 1, kMuch).status()));
  EXPECT_THAT(one.Texts(sequence - 2).size(), 2u);
}

TEST_F(EtcdLogTest, OutlivesAnyMemberOfThree) {
  test::EtcdServer server(3);
  Node one(server, "one", std::chrono::seconds(2));
  while (!one.log.Create(1, 0, "id").ok()) {
  }
  while (!one.ownership.Acquire(kPartition).value_or(false)) {
  }
  uint64_t sequence = 0;
  const auto append = [&] {
    ++sequence;
    ASSERT_EQ(one.Append(sequence, absl::StrCat(sequence)), Appended::kDurable);
  };
  for (int member = 0; member < 3; ++member) {
    append();
    server.Kill(member);
    append();
    server.Start(member);
    append();
  }
  // Two are gone, then all, for a while: an append waits for them.
  for (const int gone : {2, 3}) {
    for (int member = 0; member < gone; ++member) server.Kill(member);
    auto appended = std::async(std::launch::async, append);
    EXPECT_EQ(appended.wait_for(std::chrono::milliseconds(500)), std::future_status::timeout);
    for (int member = 0; member < gone; ++member) server.Start(member);
    appended.get();
  }
  const auto texts = one.Texts(1);
  ASSERT_EQ(texts.size(), 11u);
  for (size_t i = 0; i < texts.size(); ++i) EXPECT_EQ(texts[i], absl::StrCat(i + 1));
}

}  // namespace
}  // namespace plumblane
