// A file that is there whole or not at all: one test per sentence of the header.
#include "base/whole_file.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/stat.h>

#include <filesystem>
#include <fstream>
#include <iterator>

#include "support/temp_directory.h"

namespace plumblane {
namespace {

using ::testing::HasSubstr;

std::string Read(const std::string& path) {
  std::ifstream file(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(file), {}};
}

int FilesIn(const test::TempDirectory& folder) {
  return static_cast<int>(std::distance(std::filesystem::directory_iterator(folder.path()), {}));
}

TEST(WholeFile, TheOldOneStaysUntilTheNewOneIsWhole) {
  const test::TempDirectory folder;
  const std::string path = folder / "scores.csv";
  std::ofstream(path) << "old";
  WholeFile file(path);
  const std::string much(200'000, 'x');
  EXPECT_TRUE(file.Write("new "));
  EXPECT_TRUE(file.Write(much));
  EXPECT_EQ(Read(path), "old");
  EXPECT_EQ(file.Finish(), "");
  EXPECT_EQ(Read(path), "new " + much);
  EXPECT_EQ(FilesIn(folder), 1);
}

TEST(WholeFile, WithoutFinishNothingIsLeft) {
  const test::TempDirectory folder;
  const std::string path = folder / "scores.csv";
  std::ofstream(path) << "old";
  { EXPECT_TRUE(WholeFile(path).Write("half")); }
  EXPECT_EQ(Read(path), "old");
  EXPECT_EQ(FilesIn(folder), 1);
}

TEST(WholeFile, SaysWhatFailedAndLeavesNothing) {
  const test::TempDirectory folder;
  WholeFile nowhere(folder / "none/scores.csv");
  EXPECT_FALSE(nowhere.Write("x"));
  EXPECT_EQ(nowhere.Finish(), folder / "none/scores.csv" + ": No such file or directory");
  std::filesystem::create_directory(folder / "taken");
  EXPECT_THAT(WriteWhole(folder / "taken", "x"), HasSubstr("/taken: Is a directory"));
  EXPECT_EQ(FilesIn(folder), 1);
}

TEST(WholeFile, AnEmptyOneIsWrittenToo) {
  const test::TempDirectory folder;
  EXPECT_EQ(WriteWhole(folder / "empty", ""), "");
  EXPECT_EQ(Read(folder / "empty"), "");
  EXPECT_TRUE(std::filesystem::exists(folder / "empty"));
}

TEST(WholeFile, HasTheRightsOfAFileMadeByHand) {
  const test::TempDirectory folder;
  const mode_t before = umask(027);
  EXPECT_EQ(WriteWhole(folder / "a", "x"), "");
  umask(before);
  struct stat info {};
  ASSERT_EQ(stat((folder / "a").c_str(), &info), 0);
  EXPECT_EQ(info.st_mode & 0777, 0640u);
}

}  // namespace
}  // namespace plumblane
