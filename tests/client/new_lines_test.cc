// What counts as new in a file that grows, is cut, is replaced or is only half written.
#include "client/new_lines.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <unistd.h>

#include <chrono>
#include <cstdio>
#include <filesystem>
#include <fstream>

#include "client/support.h"

namespace plumblane::client {
namespace {

// A file that is followed: text of each portion with the lines before it, "-" for nothing new.
class Followed {
 public:
  std::string Look(bool patient = true, bool at_end = false) {
    std::string error;
    const Looked looked = LookForLines(path, place, size, {whole, patient, at_end}, &error);
    size = looked.size;
    is_held = looked.is_held;
    EXPECT_EQ(error, "");
    if (!looked.portion) return "-";
    place = looked.portion->after;
    std::string text(1 << 20, '\0');
    text.resize(static_cast<size_t>(read(looked.portion->fd, text.data(), text.size())));
    close(looked.portion->fd);
    return std::to_string(looked.portion->lines_before) + ":" + text;
  }
  void Append(const std::string& text) { std::ofstream(path, std::ios::app) << text; }

  TemporaryFolder folder;
  std::string path = folder.Write("f", "");
  FilePlace place;
  int64_t size = -1;
  bool is_held = false, whole = false;
};

TEST(NewLines, WholeLinesOnceAndTheHeaderWithEach) {
  Followed file;
  EXPECT_EQ(file.Look(), "-");
  file.Append("a,b\n1,2\n3,");
  EXPECT_EQ(file.Look(), "0:a,b\n1,2\n");
  EXPECT_EQ(file.Look(), "-");
  file.Append("4\n");
  EXPECT_EQ(file.Look(), "1:a,b\n3,4\n");  // the row is line 2 of the text and 3 of the file
  file.Append("5,6");
  EXPECT_EQ(file.Look(), "-");
  EXPECT_EQ(file.Look(true, /*at_end=*/true), "2:a,b\n5,6");
  EXPECT_EQ(file.Look(true, true), "-");
}

TEST(NewLines, JsonLinesHaveNoHeader) {
  Followed file;
  file.Append("{\"a\":1}\n");
  EXPECT_EQ(file.Look(), "0:{\"a\":1}\n");
  file.Append("{\"a\":\"x\n{\"b\":2}\n");
  EXPECT_EQ(file.Look(), "1:{\"a\":\"x\n{\"b\":2}\n");
}

TEST(NewLines, AnOpenQuoteWaitsAsLongAsOneIsPatient) {
  Followed file;
  file.Append("a,b\n1,\"x\n");
  EXPECT_EQ(file.Look(), "0:a,b\n");
  EXPECT_EQ(file.Look(), "-");
  EXPECT_TRUE(file.is_held);
  EXPECT_EQ(file.Look(/*patient=*/false), "0:a,b\n1,\"x\n");
  file.Append("y\n2,\"x\ny\"\n");
  EXPECT_EQ(file.Look(), "1:a,b\ny\n2,\"x\ny\"\n");
}

TEST(NewLines, AFileCutShortOrReplacedIsReadFromItsBeginning) {
  Followed file;
  file.Append("a,b\n1,2\n3,4\n");
  file.Look();
  std::ofstream(file.path, std::ios::trunc) << "a,b\n5,6\n";
  EXPECT_EQ(file.Look(), "0:a,b\n5,6\n");
  // Cut and grown beyond what was sent: told by its beginning.
  std::ofstream(file.path, std::ios::trunc) << "a,b\n7,8\n9,9\n";
  EXPECT_EQ(file.Look(), "0:a,b\n7,8\n9,9\n");
  file.folder.Write("g", "a,b\n7,8\n9,9\n1,1\n");
  std::rename(file.folder.Path("g").c_str(), file.path.c_str());
  EXPECT_EQ(file.Look(), "0:a,b\n7,8\n9,9\n1,1\n");
}

TEST(NewLines, AListIsTakenWholeOnceItHasStoppedChanging) {
  Followed file;
  file.Append("[{\"a\":1},");
  EXPECT_EQ(file.Look(), "-");
  file.Append("\n{\"a\":2}]");
  EXPECT_EQ(file.Look(), "-");
  EXPECT_EQ(file.Look(), "0:[{\"a\":1},\n{\"a\":2}]");
  EXPECT_EQ(file.Look(), "-");
}

TEST(NewLines, ATableWithAMapIsTakenWholeWheneverItHasChanged) {
  Followed file;
  file.whole = true;
  file.Append("a,b\n1,2\n");
  EXPECT_EQ(file.Look(), "-");
  EXPECT_EQ(file.Look(), "0:a,b\n1,2\n");
  EXPECT_EQ(file.Look(), "-");
  file.Append("3,4\n");
  EXPECT_EQ(file.Look(), "-");
  EXPECT_EQ(file.Look(), "0:a,b\n1,2\n3,4\n");
  // Written over by as many bytes behind a beginning that is the same: told by its time.
  file.Append(std::string(2000, '5'));
  file.Look(), file.Look();
  const auto before = std::filesystem::last_write_time(file.path);
  std::ofstream(file.path, std::ios::in | std::ios::ate).seekp(-1, std::ios::end) << "6";
  std::filesystem::last_write_time(file.path, before + std::chrono::seconds(3));
  EXPECT_THAT(file.Look(), testing::EndsWith("56"));
  EXPECT_EQ(file.Look(), "-");
}

TEST(FollowState, IsReadBackAndSurvivesNonsense) {
  TemporaryFolder folder;
  const std::string path = folder.Path("deep/state.json");
  FollowState state(path);
  state.files()["/x/a.csv"] = {1, 2, 300, 4, 300, "beef", 5};
  EXPECT_TRUE(state.Save());
  FollowState again(path);
  EXPECT_EQ(again.files(), state.files());
  std::ofstream(path) << "{\"files\":{\"/x\":{\"inode\":\"no\"}}}";
  EXPECT_TRUE(FollowState(path).files().empty());
  std::ofstream(path) << "nonsense";
  EXPECT_TRUE(FollowState(path).files().empty());
  EXPECT_FALSE(FollowState("").Save());
}

}  // namespace
}  // namespace plumblane::client
