#include "client/progress.h"

#include <absl/strings/str_cat.h>
#include <absl/time/clock.h>

#include <cmath>
#include <utility>

#include "client/text.h"

namespace plumblane::client {
namespace {

constexpr absl::Duration kPause = absl::Milliseconds(250);
constexpr int64_t kLookEvery = 64;  // events; the clock is not asked for each
constexpr double kSecondsBeforeGuess = 2;

// "40 s", "5 min", "2 h".
std::string LeftText(double seconds) {
  if (seconds < 60) return absl::StrCat(std::lround(std::ceil(seconds)), " s");
  if (seconds < 3600) return absl::StrCat(std::lround(std::ceil(seconds / 60)), " min");
  return absl::StrCat(std::lround(std::ceil(seconds / 3600)), " h");
}

}  // namespace

std::string ProgressText(int64_t count, const std::string& what, std::optional<double> share,
                         double seconds) {
  std::string text =
      absl::StrCat(Counted(count, what), ", ",
                   Thousands(std::llround(static_cast<double>(count) / seconds)), " a second");
  if (!share) return text;
  absl::StrAppend(&text, ", ", std::lround(std::floor(100 * *share)), " %");
  if (seconds < kSecondsBeforeGuess || *share <= 0 || *share >= 1) return text;
  return absl::StrCat(text, ", about ", LeftText(seconds / *share * (1 - *share)), " left");
}

Progress::Progress(const Io& io, std::string what)
    : io_(io), what_(std::move(what)), start_(absl::Now()), last_(start_) {}

void Progress::Show(int64_t count, std::optional<double> share) {
  if (!io_.err_is_terminal || count % kLookEvery != 0) return;
  const absl::Time now = absl::Now();
  if (now - last_ < kPause) return;
  last_ = now;
  io_.err << "\r\x1b[K" << ProgressText(count, what_, share, absl::ToDoubleSeconds(now - start_))
          << std::flush;
  is_shown_ = true;
}

void Progress::Clear() {
  if (is_shown_) io_.err << "\r\x1b[K" << std::flush;
  is_shown_ = false;
}

}  // namespace plumblane::client
