// What every log promises: dense, trimmed no sooner than with a later append, honest about gaps.
#include <absl/strings/str_cat.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <memory>
#include <numeric>
#include <utility>
#include <vector>

#include "contract/stores.h"
#include "eventlog/etcd/etcd_log.h"
#include "eventlog/event_log.h"
#include "storage/keys.h"
#include "support/etcd_server.h"
#include "support/faulty_store.h"

namespace plumblane {
namespace {

using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;

constexpr uint32_t kPartition = 0;
constexpr size_t kMuch = 1 << 20;

// A log of some kind, to be opened again as after a restart.
class LogOfAKind {
 public:
  virtual ~LogOfAKind() = default;
  virtual EventLog& log() = 0;
  virtual void Reopen() = 0;
  // Lets a trim that was asked for before the last append come about.
  virtual void Settle() {}
  virtual void Lose(uint64_t sequence) = 0;
};

class LogInAStore final : public LogOfAKind {
 public:
  explicit LogInAStore(std::unique_ptr<Store> store) : store_(std::move(store)) { Reopen(); }
  EventLog& log() override { return *log_; }
  void Reopen() override { log_ = std::make_unique<StoreLog>(*store_); }
  void Lose(uint64_t sequence) override {
    Batch batch;
    batch.Delete(Space::kLog, LogKey(sequence));
    ASSERT_TRUE(store_->Write(batch, true).ok());
  }

 private:
  std::unique_ptr<Store> store_;
  std::unique_ptr<StoreLog> log_;
};

// One etcd for all tests, a prefix for each.
class LogInEtcd final : public LogOfAKind {
 public:
  LogInEtcd() {
    static test::EtcdServer server;
    static int count = 0;
    client_ = std::make_unique<EtcdClient>(
        EtcdOptions{.endpoints = server.endpoints(), .prefix = absl::StrCat("log-", ++count)});
    Reopen();
    EXPECT_TRUE(log_->Create(1, 0, "id").ok());
  }
  EventLog& log() override { return *log_; }
  void Reopen() override {
    if (ownership_) ownership_->Release(kPartition);
    ownership_ = std::make_unique<EtcdOwnership>(*client_, "one", "", std::chrono::seconds(600));
    EXPECT_TRUE(ownership_->Acquire(kPartition).value());
    log_ = std::make_unique<EtcdLog>(*client_, *ownership_, EtcdLogOptions{.node = "one"});
  }
  void Settle() override {
    log_->TellCopy(kPartition, 1'000'000, "one:1");  // what no copy holds would stay
    EXPECT_TRUE(log_->Keep().ok());
  }
  void Lose(uint64_t sequence) override {
    etcdserverpb::TxnRequest txn;
    const std::string key =
        client_->Key(absl::StrCat("log/0000/", absl::Dec(sequence, absl::kZeroPad16)));
    DeleteRange(txn, key, key + "!");
    ASSERT_TRUE(client_->Txn(txn).ok());
  }

 private:
  std::unique_ptr<EtcdClient> client_;
  std::unique_ptr<EtcdOwnership> ownership_;
  std::unique_ptr<EtcdLog> log_;
};

class LogContract : public ::testing::TestWithParam<const char*> {
 protected:
  void SetUp() override {
    const std::string kind = GetParam();
    if (kind == "Etcd") {
      PLUMBLANE_NEEDS_ETCD();
      kind_ = std::make_unique<LogInEtcd>();
    } else if (kind == "Memory") {
      kind_ = std::make_unique<LogInAStore>(std::make_unique<MemoryStore>());
    } else {
      kind_ = std::make_unique<LogInAStore>(
          OpenRocksDbStore(test::OptionsFor(directory_ / "store")).value());
    }
  }
  EventLog& log() { return kind_->log(); }
  void Reopen() { kind_->Reopen(); }
  void Lose(uint64_t sequence) { kind_->Lose(sequence); }

  void Append(uint64_t first, uint64_t last) {
    for (uint64_t sequence = first; sequence <= last; ++sequence) {
      ASSERT_EQ(log().Append(kPartition, sequence, absl::StrCat("entry ", sequence)),
                Appended::kDurable);
    }
    kind_->Settle();
  }
  std::vector<uint64_t> Sequences(uint64_t from, size_t max_bytes = kMuch) {
    const auto records = log().Read(kPartition, from, max_bytes);
    EXPECT_TRUE(records.ok()) << records.status();
    std::vector<uint64_t> sequences;
    for (const LogRecord& record : records.value()) {
      EXPECT_EQ(record.bytes, absl::StrCat("entry ", record.sequence));
      sequences.push_back(record.sequence);
    }
    return sequences;
  }
  absl::Status WhyNot(uint64_t from) { return log().Read(kPartition, from, kMuch).status(); }
  uint64_t Tail() { return log().Tail(kPartition).value(); }
  void Trim(uint64_t below) { EXPECT_TRUE(log().Trim(kPartition, below).ok()); }

  test::TempDirectory directory_;
  std::unique_ptr<LogOfAKind> kind_;
};

INSTANTIATE_TEST_SUITE_P(Logs, LogContract, ::testing::Values("Memory", "RocksDb", "Etcd"),
                         [](const auto& info) { return std::string(info.param); });

TEST_P(LogContract, ANewLogIsEmpty) {
  EXPECT_EQ(Tail(), 0u);
  EXPECT_THAT(Sequences(1), IsEmpty());
}

TEST_P(LogContract, WhatIsAppendedIsReadInOrderFromAnyPosition) {
  Append(1, 300);  // past one byte of the key
  EXPECT_EQ(Tail(), 300u);
  std::vector<uint64_t> all(300);
  std::iota(all.begin(), all.end(), 1);
  EXPECT_EQ(Sequences(1), all);
  EXPECT_THAT(Sequences(299), ElementsAre(299, 300));
  EXPECT_THAT(Sequences(300), ElementsAre(300));
  EXPECT_THAT(Sequences(301), IsEmpty());  // nothing yet, no error
}

TEST_P(LogContract, EntriesAreAnyBytes) {
  const std::string bytes("\0\xff\n", 3);
  EXPECT_EQ(log().Append(kPartition, 1, bytes), Appended::kDurable);
  EXPECT_EQ(log().Append(kPartition, 2, ""), Appended::kDurable);
  EXPECT_THAT(log().Read(kPartition, 1, kMuch).value(),
              ElementsAre(LogRecord{1, bytes}, LogRecord{2, ""}));
}

TEST_P(LogContract, AReadHoldsSoManyBytesAndAtLeastOneEntry) {
  Append(1, 5);  // of 7 bytes each
  EXPECT_THAT(Sequences(2, 0), ElementsAre(2));
  EXPECT_THAT(Sequences(2, 7), ElementsAre(2));
  EXPECT_THAT(Sequences(2, 13), ElementsAre(2));
  EXPECT_THAT(Sequences(2, 14), ElementsAre(2, 3));
  EXPECT_THAT(Sequences(2, 28), ElementsAre(2, 3, 4, 5));
}

TEST_P(LogContract, SurvivesBeingOpenedAgain) {
  Append(1, 3);
  Reopen();
  EXPECT_EQ(Tail(), 3u);
  Append(4, 4);
  EXPECT_THAT(Sequences(1), ElementsAre(1, 2, 3, 4));
}

TEST_P(LogContract, TrimmingTakesEffectNoSoonerThanWithTheNextAppend) {
  Append(1, 5);
  Trim(4);
  EXPECT_THAT(Sequences(1), ElementsAre(1, 2, 3, 4, 5));
  Append(6, 6);
  EXPECT_THAT(Sequences(4), ElementsAre(4, 5, 6));
  EXPECT_EQ(Tail(), 6u);
}

TEST_P(LogContract, BelowTheStartIsOutOfRangeAndSaysWhereItStarts) {
  Append(1, 5);
  EXPECT_TRUE(absl::IsOutOfRange(WhyNot(0)));
  Trim(4);
  Append(6, 6);
  for (const uint64_t from : {0, 1, 3}) EXPECT_TRUE(absl::IsOutOfRange(WhyNot(from))) << from;
  EXPECT_THAT(std::string(WhyNot(3).message()), HasSubstr("starts at 4, not at 3"));
}

TEST_P(LogContract, TheLastEntryStaysHoweverFarItIsTrimmed) {
  Append(1, 5);
  Trim(1000);
  Append(6, 6);
  EXPECT_THAT(Sequences(6), ElementsAre(6));
  EXPECT_EQ(Tail(), 6u);
  Append(7, 7);
  EXPECT_THAT(Sequences(7), ElementsAre(7));
  EXPECT_TRUE(absl::IsOutOfRange(WhyNot(6)));
}

TEST_P(LogContract, TrimmingLessThanBeforeBringsNothingBack) {
  Append(1, 5);
  Trim(4);
  Trim(2);
  Append(6, 6);
  EXPECT_TRUE(absl::IsOutOfRange(WhyNot(3)));
  EXPECT_THAT(Sequences(4), ElementsAre(4, 5, 6));
}

TEST_P(LogContract, ATrimThatNoAppendFollowedIsForgottenByARestart) {
  Append(1, 5);
  Trim(4);
  Reopen();
  Append(6, 6);
  EXPECT_THAT(Sequences(1), ElementsAre(1, 2, 3, 4, 5, 6));
}

TEST_P(LogContract, TrimmingGoesOnAfterARestart) {
  Append(1, 5);
  Trim(3);
  Append(6, 6);
  Reopen();
  Trim(5);
  Append(7, 7);
  EXPECT_THAT(Sequences(5), ElementsAre(5, 6, 7));
  EXPECT_TRUE(absl::IsOutOfRange(WhyNot(4)));
}

TEST_P(LogContract, AGapIsDataLossAndNotPassedOver) {
  Append(1, 5);
  Lose(3);
  EXPECT_THAT(Sequences(1), ElementsAre(1, 2));
  EXPECT_TRUE(absl::IsDataLoss(WhyNot(3)));
  EXPECT_THAT(std::string(WhyNot(3).message()), HasSubstr("entry 3 is missing"));
  EXPECT_THAT(Sequences(4), ElementsAre(4, 5));
}

TEST(StoreLog, AnAppendThatFailsHasAnUnknownOutcome) {
  test::FaultyStore store;
  StoreLog log(store);
  EXPECT_EQ(log.Append(kPartition, 1, "a"), Appended::kDurable);
  EXPECT_EQ(store.synced_writes, 1);
  store.fail_after = 0;
  EXPECT_EQ(log.Append(kPartition, 2, "b"), Appended::kUnknown);
}

TEST(StoreLog, WhatWasAppendedAndWhatWasTrimmedSurvivesAPowerCut) {
  test::FaultyStore store;
  StoreLog log(store);
  for (uint64_t sequence = 1; sequence <= 4; ++sequence) {
    ASSERT_EQ(log.Append(kPartition, sequence, "x"), Appended::kDurable);
    ASSERT_TRUE(log.Trim(kPartition, sequence).ok());
  }
  MemoryStore left;
  store.PowerCutInto(left);
  const StoreLog again(left);
  EXPECT_EQ(again.Tail(kPartition).value(), 4u);
  EXPECT_TRUE(absl::IsOutOfRange(again.Read(kPartition, 2, kMuch).status()));
  EXPECT_THAT(again.Read(kPartition, 3, kMuch).value(),
              ElementsAre(LogRecord{3, "x"}, LogRecord{4, "x"}));
}

}  // namespace
}  // namespace plumblane
