// The watch of the disk: refuses before it is full and takes again when there is twice the room;
// keeps ballast; ends the process after a failed write, on a full disk not before there is room.
#include "app/disk_watch.h"

#include <gtest/gtest.h>
#include <spdlog/spdlog.h>

#include <atomic>
#include <filesystem>
#include <thread>

#include "engine/engine.h"
#include "storage/memory_store.h"
#include "support/fixed_clock.h"
#include "support/temp_directory.h"

namespace plumblane {
namespace {

class Watched : public ::testing::Test {
 protected:
  Watched() {
    spdlog::set_level(spdlog::level::off);
    EXPECT_TRUE(engine_.Start().ok());
    watch_.Start(engine_, &anchored_);
  }
  ~Watched() override { watch_.Stop(); }
  static void Until(const std::function<bool()>& condition) {
    while (!condition()) std::this_thread::yield();
  }

  std::atomic<int64_t> free_ = 1000, looks_ = 0;
  std::atomic<int> ended_ = -1;
  MemoryStore store_;
  StoreLog log_{store_};
  AnchoredLog anchored_{log_, "/nowhere/anchor", {}};
  const test::TempDirectory directory_;
  const test::FixedClock clock_{Instant{1'780'000'000'000}};
  Engine engine_{store_, anchored_, clock_, {}};
  DiskWatch watch_{{.directory = directory_.path(),
                    .least_free_bytes = 100,
                    .free_bytes =
                        [this] {
                          ++looks_;
                          return free_.load();
                        },
                    .end = [this](int code) { ended_ = code; },
                    .every = std::chrono::milliseconds(1)}};

  bool HasBallast() const { return std::filesystem::exists(directory_.path() + "/ballast"); }
  void LookAgain() {
    const int64_t seen = looks_;
    Until([&] { return looks_ >= seen + 2; });
  }
};

TEST_F(Watched, RefusesWithLittleRoomAndTakesAgainWithTwiceAsMuch) {
  EXPECT_TRUE(engine_.AcceptsEvents());
  free_ = 100;
  LookAgain();
  EXPECT_TRUE(engine_.AcceptsEvents());
  free_ = 99;
  LookAgain();
  EXPECT_FALSE(engine_.AcceptsEvents());
  free_ = 199;
  LookAgain();
  EXPECT_FALSE(engine_.AcceptsEvents());
  free_ = -1;  // cannot be told: nothing changes
  LookAgain();
  EXPECT_FALSE(engine_.AcceptsEvents());
  free_ = 200;
  LookAgain();
  EXPECT_TRUE(engine_.AcceptsEvents());
  EXPECT_EQ(ended_, -1);
}

TEST_F(Watched, KeepsBallastWhileThereIsRoomForItAndGivesItUpBeforeTheDiskIsFull) {
  LookAgain();
  ASSERT_TRUE(HasBallast());  // 25 bytes, a quarter of the least
  for (const int64_t free : {99, 50}) {
    free_ = free;
    LookAgain();
    EXPECT_TRUE(HasBallast()) << free;
  }
  free_ = 49;
  LookAgain();
  EXPECT_FALSE(HasBallast());
  free_ = 224;  // events are taken again, but the ballast would bring them near the end
  LookAgain();
  EXPECT_TRUE(engine_.AcceptsEvents());
  EXPECT_FALSE(HasBallast());
  free_ = 225;
  LookAgain();
  EXPECT_TRUE(HasBallast());
}

TEST_F(Watched, GivesUpBallastSoThatDataCanBeOpenedOnAFullDisk) {
  LookAgain();
  watch_.Stop();
  ASSERT_TRUE(HasBallast());
  const auto is_there_after_a_start_with = [&](int64_t free) {
    const DiskWatch next({.directory = directory_.path(),
                          .least_free_bytes = 100,
                          .free_bytes = [=] { return free; },
                          .end = nullptr});
    return HasBallast();
  };
  EXPECT_TRUE(is_there_after_a_start_with(50));
  EXPECT_TRUE(is_there_after_a_start_with(-1)) << "although it cannot be told";
  EXPECT_FALSE(is_there_after_a_start_with(49));
}

TEST(UsualLeastFree, IsATwentiethOfTheDiskAndAtMostAGibibyte) {
  constexpr int64_t kMebibyte = int64_t{1} << 20, kGibibyte = int64_t{1} << 30;
  EXPECT_EQ(UsualLeastFree(0), 0);
  EXPECT_EQ(UsualLeastFree(100 * kMebibyte), 5 * kMebibyte);
  EXPECT_EQ(UsualLeastFree(20 * kGibibyte), kGibibyte);
  EXPECT_EQ(UsualLeastFree(int64_t{1} << 50), kGibibyte);
  EXPECT_GT(LeastFree(-1, "/"), 0);
  EXPECT_EQ(LeastFree(-1, "/nowhere"), kGibibyte);
  EXPECT_EQ(LeastFree(0, "/"), 0);
  EXPECT_EQ(LeastFree(3, "/"), 3 << 20);
}

TEST_F(Watched, EndsAfterAFailedWrite) {
  watch_.Failed(absl::UnavailableError("input/output error"));
  Until([&] { return ended_ >= 0; });
  EXPECT_EQ(ended_, 75);
  EXPECT_FALSE(engine_.AcceptsEvents());
  EXPECT_TRUE(watch_.has_failed());
}

TEST_F(Watched, EndsForGoodWhenFilesAreDamaged) {
  watch_.Failed(absl::DataLossError("checksum mismatch"));
  Until([&] { return ended_ >= 0; });
  EXPECT_EQ(ended_, 65);
}

TEST_F(Watched, OnAFullDiskEndsWhenThereIsRoom) {
  free_ = 10;
  watch_.Failed(absl::ResourceExhaustedError("no space left"));
  LookAgain();
  EXPECT_EQ(ended_, -1);
  EXPECT_FALSE(engine_.AcceptsEvents());
  EXPECT_FALSE(HasBallast());
  free_ = 200;
  Until([&] { return ended_ >= 0; });
  EXPECT_EQ(ended_, 75);
}

}  // namespace
}  // namespace plumblane
