#include "app/standing_copy.h"

#include <absl/strings/str_cat.h>
#include <spdlog/spdlog.h>

#include <filesystem>
#include <fstream>
#include <utility>

#include "base/give_way.h"
#include "base/stopwatch.h"

namespace plumblane {
namespace {

namespace fs = std::filesystem;

constexpr std::chrono::milliseconds kLookEvery{500};
constexpr size_t kPieceBytes = 256 << 10;

absl::Status ReadFile(const fs::path& path, const std::string& name, const TakeCopyPiece& take) {
  std::ifstream in(path, std::ios::binary);
  if (!in) return absl::UnavailableError(absl::StrCat("cannot read ", path.string()));
  for (bool is_first = true;; is_first = false) {
    std::string bytes(kPieceBytes, '\0');
    in.read(bytes.data(), static_cast<std::streamsize>(bytes.size()));
    bytes.resize(static_cast<size_t>(in.gcount()));
    if (in.bad()) return absl::UnavailableError(absl::StrCat("cannot read ", path.string()));
    if (bytes.empty() && !is_first) return absl::OkStatus();
    if (!take(name, std::move(bytes))) return absl::CancelledError("no more is wanted");
    if (in.eof()) return absl::OkStatus();
  }
}

}  // namespace

StandingCopy::StandingCopy(const Desk& engine, DiskStore& store, Options options)
    : engine_(engine), store_(store), options_(std::move(options)), holds_(options_.holds) {
  std::error_code error;
  if (holds_.empty() || fs::is_directory(options_.directory, error)) return;
  options_.tell(std::vector<uint64_t>(holds_.size()));  // somebody took it away
  holds_.clear();
}

std::vector<uint64_t> StandingCopy::Applied() const {
  std::vector<uint64_t> applied;
  const auto shared = engine_.shared_log();
  for (const SharedPart& part : shared->parts) applied.push_back(part.applied);
  return applied;
}

void StandingCopy::Start() {
  thread_ = std::thread([this] {
    GiveWay(10);
    bool failed = false;
    // The first one at once: others may wait for it.
    for (Stopwatch since; !stop_.WaitFor(kLookEvery);) {
      const bool is_due =
          holds_.empty() || since.Seconds() >= static_cast<double>(options_.every.count());
      if (!is_due || Applied() == holds_) continue;
      const absl::Status made = Make();
      since = {};
      if (absl::IsCancelled(made)) return;
      if (!made.ok() && !failed) {
        spdlog::error("no copy of the data can be made: {}", std::string(made.message()));
      }
      failed = !made.ok();
    }
  });
}

void StandingCopy::Stop() {
  stop_.Set();
  if (thread_.joinable()) thread_.join();
}

absl::Status StandingCopy::Make() {
  const std::lock_guard lock(files_);
  const std::vector<uint64_t> applied = Applied();
  const auto made =
      store_.BackUp(options_.directory, /*keep=*/1, "", [this] { return stop_.is_set(); });
  if (!made.ok()) return made.status();
  options_.tell(holds_ = applied);
  return absl::OkStatus();
}

absl::Status StandingCopy::Read(const TakeCopyPiece& take) {
  const std::lock_guard lock(files_);
  if (holds_.empty()) return absl::NotFoundError("no copy has been made yet");
  std::error_code error;
  fs::recursive_directory_iterator files(options_.directory, error);
  for (; !error && files != fs::recursive_directory_iterator(); files.increment(error)) {
    if (!files->is_regular_file()) continue;
    const fs::path& path = files->path();
    const absl::Status read =
        ReadFile(path, path.lexically_relative(options_.directory).string(), take);
    if (!read.ok()) return read;
  }
  if (!error) return absl::OkStatus();
  return absl::UnavailableError(absl::StrCat(options_.directory, ": ", error.message()));
}

}  // namespace plumblane
