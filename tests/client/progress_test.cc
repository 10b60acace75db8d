// How far a long run has come: progress.h, and what files tell of it.
#include "client/progress.h"

#include <gtest/gtest.h>

#include <fcntl.h>
#include <unistd.h>

#include <sstream>

#include "client/line_reader.h"
#include "client/support.h"

namespace plumblane::client {
namespace {

TEST(Progress, SaysRateShareAndTimeLeftAsFarAsTheyAreKnown) {
  EXPECT_EQ(ProgressText(12'400, "event", 0.375, 3),
            "12,400 events, 4,133 a second, 37 %, about 5 s left");
  EXPECT_EQ(ProgressText(12'400, "event", std::nullopt, 3), "12,400 events, 4,133 a second");
  EXPECT_EQ(ProgressText(64, "row", 0.5, 1.5), "64 rows, 43 a second, 50 %");
  EXPECT_EQ(ProgressText(64, "row", 0.0, 4), "64 rows, 16 a second, 0 %");
  EXPECT_EQ(ProgressText(64, "row", 1.0, 4), "64 rows, 16 a second, 100 %");
  EXPECT_EQ(ProgressText(1000, "row", 0.1, 20), "1,000 rows, 50 a second, 10 %, about 3 min left");
  EXPECT_EQ(ProgressText(1000, "row", 0.001, 20), "1,000 rows, 50 a second, 0 %, about 6 h left");
}

TEST(Progress, IsSilentWhereNobodyLooks) {
  std::ostringstream out, err;
  const Io io{out, err};
  Progress progress(io, "event");
  for (int i = 0; i < 10'000; ++i) progress.Show(i);
  progress.Clear();
  EXPECT_EQ(err.str(), "");
}

TEST(Progress, AFileTellsHowMuchOfItWasReadAndAPipeDoesNot) {
  const TemporaryFolder folder;
  std::string text;
  while (text.size() < 200'000) text += "some line\n";
  LineReader file(open(folder.Write("f", text).c_str(), O_RDONLY), /*owned=*/true);
  EXPECT_EQ(file.share_read(), 0.0);
  double before = 0;
  while (file.Next()) {
    EXPECT_GE(*file.share_read(), before);
    before = *file.share_read();
  }
  EXPECT_EQ(file.share_read(), 1.0);
  int ends[2];
  ASSERT_EQ(pipe(ends), 0);
  EXPECT_EQ(LineReader(ends[0], /*owned=*/true).share_read(), std::nullopt);
  close(ends[1]);
}

}  // namespace
}  // namespace plumblane::client
