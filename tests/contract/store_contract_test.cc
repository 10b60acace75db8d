// What the engine relies on of a store (storage/store.h), on every implementation.
#include <absl/strings/str_cat.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <atomic>
#include <random>
#include <string>
#include <thread>
#include <utility>
#include <vector>

#include "contract/stores.h"

namespace plumblane {
namespace {

using ::testing::ElementsAre;
using ::testing::IsEmpty;
using ::testing::Optional;
using namespace std::string_literals;  // NOLINT: for zero bytes in literals

class StoreContract : public test::OnEachStore {
 protected:
  void Write(const Batch& batch, bool sync = true) {
    const absl::Status status = store_->Write(batch, sync);
    ASSERT_TRUE(status.ok()) << status;
  }
  void Put(const std::string& key, const std::string& value, Space space = Space::kOrders) {
    Batch batch;
    batch.Put(space, key, value);
    Write(batch);
  }
  std::optional<std::string> Get(const std::string& key, Space space = Space::kOrders) {
    return store_->TakeSnapshot()->Get(space, key).value();
  }
  // Keys that a scan passes, at most `limit` of them.
  static std::vector<std::string> Scan(const Snapshot& snapshot, std::string_view prefix,
                                       std::string_view from, size_t limit = 1000) {
    std::vector<std::string> keys;
    const absl::Status status = snapshot.Scan(Space::kOrders, prefix, from, [&](auto key, auto) {
      keys.emplace_back(key);
      return keys.size() < limit;
    });
    EXPECT_TRUE(status.ok()) << status;
    return keys;
  }
  std::vector<std::string> Scan(std::string_view prefix, std::string_view from = "",
                                size_t limit = 1000) {
    return Scan(*store_->TakeSnapshot(), prefix, from, limit);
  }
};

PLUMBLANE_ON_EACH_STORE(StoreContract);
INSTANTIATE_TEST_SUITE_P(OfAStore, StoreContract, ::testing::Values("Part"),
                         [](const auto& info) { return std::string(info.param); });

TEST_P(StoreContract, ANewStoreIsEmpty) {
  for (int i = 0; i < kSpaceCount; ++i) {
    EXPECT_TRUE(store_->TakeSnapshot()
                    ->Scan(static_cast<Space>(i), "", "",
                           [](auto key, auto) {
                             ADD_FAILURE() << "holds " << key;
                             return true;
                           })
                    .ok());
  }
  EXPECT_EQ(Get("a"), std::nullopt);
}

TEST_P(StoreContract, WhatIsPutIsReadUntilItIsReplacedOrDeleted) {
  Put("a", "1");
  EXPECT_THAT(Get("a"), Optional("1"s));
  Put("a", "2");
  EXPECT_THAT(Get("a"), Optional("2"s));
  Batch batch;
  batch.Delete(Space::kOrders, "a");
  batch.Delete(Space::kOrders, "never there");
  Write(batch);
  EXPECT_EQ(Get("a"), std::nullopt);
}

TEST_P(StoreContract, WritesWithoutSyncAreReadAtOnce) {
  Batch batch;
  batch.Put(Space::kOrders, "a", "1");
  Write(batch, /*sync=*/false);
  EXPECT_THAT(Get("a"), Optional("1"s));
}

TEST_P(StoreContract, KeysAndValuesAreAnyBytes) {
  const std::string big(3 << 20, 'x');
  for (const auto& [key, value] : std::vector<std::pair<std::string, std::string>>{
           {"a\0b"s, "\0\n\xff"s}, {"\xff\xff"s, ""}, {""s, "empty key"}, {"big", big}}) {
    Put(key, value);
    EXPECT_EQ(Get(key), value) << ::testing::PrintToString(key);
  }
  EXPECT_EQ(Get("a"), std::nullopt);
}

TEST_P(StoreContract, LaterChangesOfABatchWinOverEarlierOnes) {
  Put("put, deleted", "0");
  Put("deleted, put", "0");
  Batch batch;
  batch.Put(Space::kOrders, "put, put", "1");
  batch.Put(Space::kOrders, "put, put", "2");
  batch.Put(Space::kOrders, "put, deleted", "1");
  batch.Delete(Space::kOrders, "put, deleted");
  batch.Delete(Space::kOrders, "deleted, put");
  batch.Put(Space::kOrders, "deleted, put", "2");
  Write(batch);
  EXPECT_THAT(Get("put, put"), Optional("2"s));
  EXPECT_EQ(Get("put, deleted"), std::nullopt);
  EXPECT_THAT(Get("deleted, put"), Optional("2"s));
}

TEST_P(StoreContract, AnEmptyBatchChangesNothing) {
  Put("a", "1");
  Write({});
  EXPECT_THAT(Scan(""), ElementsAre("a"));
}

TEST_P(StoreContract, SpacesAreApart) {
  Batch batch;
  for (int i = 0; i < kSpaceCount; ++i) {
    batch.Put(static_cast<Space>(i), "a", absl::StrCat("in ", i));
  }
  Write(batch);
  for (int i = 0; i < kSpaceCount; ++i) {
    EXPECT_EQ(Get("a", static_cast<Space>(i)), absl::StrCat("in ", i));
  }
  Batch one;
  one.Delete(Space::kCells, "a");
  Write(one);
  EXPECT_EQ(Get("a", Space::kCells), std::nullopt);
  EXPECT_THAT(Get("a", Space::kIndex), Optional("in 3"s));
}

TEST_P(StoreContract, GetAllAnswersInTheOrderAskedMissingOnesToo) {
  Put("a", "1");
  Put("b", "2");
  Put("z", "elsewhere", Space::kIndex);
  const auto all =
      store_->TakeSnapshot()->GetAll(Space::kOrders, {"b", "no", "a", "b", "z"}).value();
  EXPECT_THAT(
      all, ElementsAre(Optional("2"s), std::nullopt, Optional("1"s), Optional("2"s), std::nullopt));
  EXPECT_THAT(store_->TakeSnapshot()->GetAll(Space::kOrders, {}).value(), IsEmpty());
}

TEST_P(StoreContract, AScanAscendsByByteThroughAPrefixFromAKeyOn) {
  Batch batch;
  for (const std::string& key : {"a"s, "b"s, "b\0"s, "b\0x"s, "b1"s, "b2"s, "b\x7f"s, "b\xff"s,
                                 "b\xff\xff"s, "c"s, "\xff"s}) {
    batch.Put(Space::kOrders, key, "");
  }
  batch.Put(Space::kIndex, "b3", "");
  Write(batch);
  EXPECT_THAT(Scan(""), ElementsAre("a", "b", "b\0"s, "b\0x"s, "b1", "b2", "b\x7f", "b\xff",
                                    "b\xff\xff", "c", "\xff"));
  EXPECT_THAT(Scan("b"),
              ElementsAre("b", "b\0"s, "b\0x"s, "b1", "b2", "b\x7f", "b\xff", "b\xff\xff"));
  EXPECT_THAT(Scan("b\0"s), ElementsAre("b\0"s, "b\0x"s));
  EXPECT_THAT(Scan("b\xff"), ElementsAre("b\xff", "b\xff\xff"));
  EXPECT_THAT(Scan("\xff"), ElementsAre("\xff"));
  EXPECT_THAT(Scan("d"), IsEmpty());
  // From within the prefix, before it, after it; the key itself is included, there or not.
  EXPECT_THAT(Scan("b", "b2"), ElementsAre("b2", "b\x7f", "b\xff", "b\xff\xff"));
  EXPECT_THAT(Scan("b", "b1x"), ElementsAre("b2", "b\x7f", "b\xff", "b\xff\xff"));
  EXPECT_THAT(Scan("b1", "a"), ElementsAre("b1"));
  EXPECT_THAT(Scan("b", "c"), IsEmpty());
  EXPECT_THAT(Scan("", "c"), ElementsAre("c", "\xff"));
}

TEST_P(StoreContract, AScanEndsWhenItIsToldTo) {
  for (const char* key : {"a", "b", "c"}) Put(key, "");
  EXPECT_THAT(Scan("", "", 1), ElementsAre("a"));
  EXPECT_THAT(Scan("", "", 2), ElementsAre("a", "b"));
}

TEST_P(StoreContract, AScanHandsOutValues) {
  Put("a", "1");
  Put("b", "2");
  std::string values;
  EXPECT_TRUE(store_->TakeSnapshot()
                  ->Scan(Space::kOrders, "", "",
                         [&](auto, auto value) {
                           values += value;
                           return true;
                         })
                  .ok());
  EXPECT_EQ(values, "12");
}

TEST_P(StoreContract, ASnapshotNeverChanges) {
  Put("kept", "1");
  Put("replaced", "1");
  Put("deleted", "1");
  const auto before = store_->TakeSnapshot();
  Batch batch;
  batch.Put(Space::kOrders, "replaced", "2");
  batch.Put(Space::kOrders, "added", "2");
  batch.Delete(Space::kOrders, "deleted");
  Write(batch);
  const auto after = store_->TakeSnapshot();
  // Enough to move what is in memory to files.
  for (int i = 0; i < 40; ++i) Put("x" + std::to_string(i), std::string(100'000, 'x'));

  EXPECT_THAT(Scan(*before, "", ""), ElementsAre("deleted", "kept", "replaced"));
  EXPECT_EQ(before->Get(Space::kOrders, "replaced").value(), "1");
  EXPECT_EQ(before->Get(Space::kOrders, "added").value(), std::nullopt);
  EXPECT_THAT(before->GetAll(Space::kOrders, {"deleted", "added"}).value(),
              ElementsAre(Optional("1"s), std::nullopt));
  EXPECT_THAT(Scan(*after, "", ""), ElementsAre("added", "kept", "replaced"));
  EXPECT_EQ(after->Get(Space::kOrders, "replaced").value(), "2");
}

TEST_P(StoreContract, AScanDoesNotSeeWhatIsWrittenMeanwhile) {
  for (const char* key : {"a", "b", "c"}) Put(key, "1");
  std::string seen;
  const absl::Status status =
      store_->TakeSnapshot()->Scan(Space::kOrders, "", "", [&](auto key, auto value) {
        absl::StrAppend(&seen, std::string(key), std::string(value));
        Put("a", "2");
        Put("c", "2");
        Put("bb", "2");
        return true;
      });
  EXPECT_TRUE(status.ok()) << status;
  EXPECT_EQ(seen, "a1b1c1");
}

// Keys of two letters of five, scanned in turn at random, mostly upwards, through to the end or
// not: with one scanner as with a scan of its own each.
TEST_P(StoreContract, OneScannerInTurnFindsWhatScansDo) {
  std::mt19937_64 random(7);
  const auto letter = [&] { return static_cast<char>('a' + random() % 5); };
  Batch batch;
  for (int i = 0; i < 300; ++i) {
    std::string key{letter(), letter()};
    if (random() % 4 == 0) key = "cc";
    key += std::to_string(i);
    batch.Put(Space::kOrders, key, key);
    if (random() % 8 == 0) batch.Delete(Space::kOrders, key);
  }
  Write(batch);
  const auto snapshot = store_->TakeSnapshot();
  for (int i = 0; i < 300; ++i) Put({letter(), letter(), letter()}, "later");
  const Snapshot::Scanner scanner = snapshot->ScannerOf(Space::kOrders);
  std::string prefix;
  for (int i = 0; i < 3000; ++i) {
    if (random() % 4 == 0) {
      prefix = std::string(random() % 3, letter());
    } else if (!prefix.empty()) {
      ++prefix.back();
    }
    const std::string from = random() % 8 == 0 ? std::string{letter(), letter()} : "";
    const size_t limit = random() % 2 == 0 ? 1000 : 1 + random() % 20;
    std::vector<std::string> found;
    const absl::Status status = scanner(prefix, from, [&](auto key, auto value) {
      EXPECT_EQ(key, value);
      found.emplace_back(key);
      return found.size() < limit;
    });
    ASSERT_TRUE(status.ok()) << status;
    ASSERT_EQ(found, Scan(*snapshot, prefix, from, limit)) << prefix << " " << from;
  }
}

TEST_P(StoreContract, ASnapshotOutlivesItsStore) {
  Put("a", "1");
  const auto snapshot = store_->TakeSnapshot();
  store_.reset();
  EXPECT_EQ(snapshot->Get(Space::kOrders, "a").value(), "1");
}

// The writer keeps a total in one space and its parts in another, moves both in one batch, and
// readers add up: a batch seen in part would show.
TEST_P(StoreContract, ReadersSeeWholeBatchesWhileOneWrites) {
  constexpr int kBatches = 2000, kParts = 5;
  const auto batch_of = [](int number) {
    Batch batch;
    for (int part = 0; part < kParts; ++part) {
      batch.Put(Space::kCells, absl::StrCat("part", part), absl::StrCat(number * part));
    }
    batch.Put(Space::kMeta, "total", absl::StrCat(number * 10));  // 0 + 1 + 2 + 3 + 4
    return batch;
  };
  Write(batch_of(0));
  std::atomic<bool> done = false;
  std::atomic<int> torn = 0, looks = 0, backwards = 0;
  const auto read = [&] {
    int last = 0;
    while (!done) {
      const auto snapshot = store_->TakeSnapshot();
      int sum = 0;
      const absl::Status scanned = snapshot->Scan(Space::kCells, "part", "", [&](auto, auto value) {
        sum += std::stoi(std::string(value));
        return true;
      });
      const auto total = snapshot->Get(Space::kMeta, "total");
      if (!scanned.ok() || !total.ok() || !*total || std::stoi(**total) != sum) ++torn;
      if (sum < last) ++backwards;
      last = sum;
      ++looks;
    }
  };
  std::vector<std::thread> readers;
  for (int i = 0; i < 3; ++i) readers.emplace_back(read);
  for (int number = 1; number <= kBatches; ++number) Write(batch_of(number), /*sync=*/false);
  while (looks < 10) std::this_thread::yield();
  done = true;
  for (std::thread& reader : readers) reader.join();
  EXPECT_EQ(torn, 0);
  EXPECT_EQ(backwards, 0);
  EXPECT_EQ(Get("total", Space::kMeta), absl::StrCat(kBatches * 10));
}

}  // namespace
}  // namespace plumblane
