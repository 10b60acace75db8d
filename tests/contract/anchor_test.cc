// The anchor: what it says comes back or is refused, and the log that writes it never says more
// than was durable.
#include "eventlog/anchor.h"

#include <absl/strings/str_cat.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <iterator>

#include "storage/memory_store.h"
#include "support/faulty_store.h"
#include "support/temp_directory.h"

namespace plumblane {
namespace {

using test::FaultyStore;
using test::TempDirectory;

const Anchor kSome{"0123456789abcdef0123456789abcdef", 2, 71};

TEST(Anchor, IsReadAsItWasWritten) {
  const TempDirectory directory;
  const std::string path = directory / "anchor";
  EXPECT_EQ(ReadAnchor(path).value(), std::nullopt);
  ASSERT_TRUE(WriteAnchor(path, kSome).ok());
  EXPECT_EQ(ReadAnchor(path).value(), kSome);
  ASSERT_TRUE(WriteAnchor(path, {kSome.store_id, 3, 72}).ok());
  EXPECT_EQ(ReadAnchor(path).value()->sequence, 72u);
  EXPECT_TRUE(absl::IsUnavailable(WriteAnchor(directory / "none/anchor", kSome)));
}

TEST(Anchor, WithAnyByteChangedOrMissingIsRefused) {
  const TempDirectory directory;
  const std::string path = directory / "anchor", whole = EncodeAnchor(kSome);
  for (size_t at = 0; at < whole.size(); ++at) {
    std::string changed = whole;
    changed[at] ^= 1;
    std::ofstream(path, std::ios::binary) << changed;
    EXPECT_TRUE(absl::IsDataLoss(ReadAnchor(path).status())) << at;
    std::ofstream(path, std::ios::binary) << whole.substr(0, at);
    EXPECT_TRUE(absl::IsDataLoss(ReadAnchor(path).status())) << "cut at " << at;
  }
}

TEST(Anchor, NamesTheStoreWhoseIdStays) {
  MemoryStore store, other;
  const std::string id = EnsureStoreId(store).value();
  EXPECT_EQ(id.size(), 32u);
  EXPECT_EQ(EnsureStoreId(store).value(), id);
  EXPECT_EQ(StoreId(*store.TakeSnapshot()).value(), id);
  EXPECT_NE(EnsureStoreId(other).value(), id);
}

TEST(AnchoredLog, SaysWhatWasDurableAndNoMore) {
  const TempDirectory directory;
  const std::string path = directory / "anchor";
  FaultyStore store;
  StoreLog log(store);
  {
    AnchoredLog anchored(log, path, {kSome.store_id, 2, 0});
    store.fail_after = 2;
    EXPECT_EQ(anchored.Append(0, 1, "a"), Appended::kDurable);
    EXPECT_EQ(anchored.Append(0, 2, "b"), Appended::kDurable);
    EXPECT_EQ(anchored.Append(0, 3, "c"), Appended::kUnknown);
    EXPECT_EQ(anchored.Tail(0).value(), 2u);
  }
  EXPECT_EQ(ReadAnchor(path).value(), (Anchor{kSome.store_id, 2, 2}));
}

TEST(AnchoredLog, GoesOnWhereTheAnchorCannotBeWrittenAndSaysWhy) {
  const TempDirectory directory;
  const std::string path = directory / "gone/anchor";
  MemoryStore store;
  StoreLog log(store);
  AnchoredLog anchored(log, path, {kSome.store_id, 2, 0});
  EXPECT_EQ(anchored.failure(), "");
  EXPECT_EQ(anchored.Append(0, 1, "a"), Appended::kDurable);
  while (anchored.failure().empty()) std::this_thread::yield();
  EXPECT_EQ(anchored.failure().find(path), 0u) << anchored.failure();
}

}  // namespace
}  // namespace plumblane
