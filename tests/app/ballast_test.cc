// The ballast takes real room, is made again only when needed, and goes whole or not at all.
#include "app/ballast.h"

#include <gtest/gtest.h>
#include <sys/stat.h>

#include <filesystem>

#include "support/temp_directory.h"

namespace plumblane {
namespace {

TEST(Ballast, TakesRoomUntilItIsGivenUp) {
  const test::TempDirectory directory;
  const std::string path = directory.path() + "/ballast";
  Ballast ballast(directory.path(), 1 << 20);
  EXPECT_FALSE(ballast.GiveUp());
  const absl::Status kept = ballast.Keep();
  if (absl::IsUnimplemented(kept)) GTEST_SKIP() << kept.message();
  ASSERT_TRUE(kept.ok()) << kept;
  struct stat made;
  ASSERT_EQ(stat(path.c_str(), &made), 0);
  EXPECT_EQ(made.st_size, 1 << 20);
  EXPECT_GE(made.st_blocks * 512, 1 << 20);
  EXPECT_EQ(made.st_mode & 0777, 0600U);

  ASSERT_TRUE(ballast.Keep().ok());
  struct stat again;
  ASSERT_EQ(stat(path.c_str(), &again), 0);
  EXPECT_EQ(again.st_mtim.tv_nsec, made.st_mtim.tv_nsec) << "it was made although it was there";

  EXPECT_TRUE(ballast.GiveUp());
  EXPECT_FALSE(std::filesystem::exists(path));
  EXPECT_FALSE(ballast.GiveUp());
}

TEST(Ballast, OfAnotherSizeIsMadeAnew) {
  const test::TempDirectory directory;
  ASSERT_TRUE(Ballast(directory.path(), 5000).Keep().ok());
  ASSERT_TRUE(Ballast(directory.path(), 4096).Keep().ok());
  EXPECT_EQ(std::filesystem::file_size(directory.path() + "/ballast"), 4096U);
}

TEST(Ballast, LeavesNothingWhereThereIsNoRoom) {
  const test::TempDirectory directory;
  Ballast ballast(directory.path(), int64_t{1} << 60);
  EXPECT_FALSE(ballast.Keep().ok());
  EXPECT_FALSE(std::filesystem::exists(directory.path() + "/ballast"));
  EXPECT_TRUE(absl::IsUnavailable(Ballast("/nowhere", 1).Keep()));
  Ballast none(directory.path(), 0);
  EXPECT_TRUE(none.Keep().ok());
  EXPECT_TRUE(std::filesystem::is_empty(directory.path()));
}

}  // namespace
}  // namespace plumblane
