#include "client/progress.h"

#include <absl/time/clock.h>

#include "client/text.h"

namespace plumblane::client {
namespace {

constexpr absl::Duration kPause = absl::Milliseconds(250);
constexpr int64_t kLookEvery = 64;  // events; the clock is not asked for each

}  // namespace

Progress::Progress(const Io& io) : io_(io), start_(absl::Now()), last_(start_) {}

void Progress::Show(int64_t events) {
  if (!io_.err_is_terminal || events % kLookEvery != 0) return;
  const absl::Time now = absl::Now();
  if (now - last_ < kPause) return;
  last_ = now;
  const double seconds = absl::ToDoubleSeconds(now - start_);
  io_.err << "\r\x1b[K" << Thousands(events) << " events, "
          << Thousands(static_cast<int64_t>(static_cast<double>(events) / seconds)) << " a second"
          << std::flush;
  is_shown_ = true;
}

void Progress::Clear() {
  if (is_shown_) io_.err << "\r\x1b[K" << std::flush;
  is_shown_ = false;
}

}  // namespace plumblane::client
