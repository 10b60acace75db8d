#include "app/disk_watch.h"

#include <absl/strings/str_cat.h>
#include <spdlog/spdlog.h>

#include <algorithm>
#include <filesystem>

#include "app/daemon.h"
#include "app/open_data.h"

namespace plumblane {
namespace {

constexpr std::chrono::milliseconds kAnswersLeave{200};
constexpr int64_t kMostLeastFree = int64_t{1} << 30;
constexpr char kNoRoom[] =
    "the daemon's disk is nearly full, so no events are taken; make room there and send again";

int64_t Mib(int64_t bytes) { return bytes >> 20; }

}  // namespace

int64_t FreeBytesAt(const std::string& directory) {
  std::error_code error;
  const auto space = std::filesystem::space(directory, error);
  return error ? -1 : static_cast<int64_t>(space.available);
}

int64_t UsualLeastFree(int64_t disk_bytes) { return std::min(disk_bytes / 20, kMostLeastFree); }

int64_t LeastFree(int64_t set_mib, const std::string& directory) {
  if (set_mib >= 0) return set_mib << 20;
  std::error_code error;
  const auto space = std::filesystem::space(directory, error);
  return error ? kMostLeastFree : UsualLeastFree(static_cast<int64_t>(space.capacity));
}

DiskWatch::DiskWatch(Options options)
    : options_(std::move(options)), ballast_(options_.directory, options_.least_free_bytes / 4) {
  const int64_t free = options_.free_bytes();
  if (free >= 0 && free < options_.least_free_bytes / 2) GiveUpBallast();
}

void DiskWatch::Failed(const absl::Status& why) {
  {
    const std::lock_guard lock(mutex_);
    if (!failure_.ok()) return;
    failure_ = why;
  }
  changed_.notify_all();
}

bool DiskWatch::has_failed() const {
  const std::lock_guard lock(mutex_);
  return !failure_.ok();
}

void DiskWatch::Start(Desk& engine, const AnchoredLog* log) {
  engine_ = &engine;
  log_ = log;
  LookForRoom();
  thread_ = std::thread([this] { Run(); });
}

void DiskWatch::Stop() {
  {
    const std::lock_guard lock(mutex_);
    stop_ = true;
  }
  changed_.notify_all();
  if (thread_.joinable()) thread_.join();
}

void DiskWatch::Run() {
  std::unique_lock lock(mutex_);
  while (!stop_) {
    lock.unlock();
    const auto wait = Look();
    lock.lock();
    changed_.wait_for(lock, wait, [this] { return stop_ || (!failure_.ok() && !failure_seen_); });
  }
}

std::chrono::milliseconds DiskWatch::Look() {
  absl::Status failure;
  {
    const std::lock_guard lock(mutex_);
    failure = failure_;
  }
  if (failure.ok()) {
    LookForRoom();
    LookAtAnchor();
    return options_.every;
  }
  const bool is_full = absl::IsResourceExhausted(failure);
  if (!failure_seen_) {
    failure_seen_ = true;
    engine_->Refuse("a write failed; nothing is taken until a restart");
    spdlog::critical("a write failed: {}. {}", failure.ToString(),
                     is_full ? "Questions are answered; the daemon ends, to be started again, when "
                               "there is room"
                             : "The daemon ends, to be started again");
    if (is_full) GiveUpBallast();
    return is_full ? options_.every : kAnswersLeave;
  }
  if (is_full && options_.free_bytes() < 2 * options_.least_free_bytes) return options_.every;
  spdlog::critical("ended after the failed write");
  options_.end(ExitCodeFor(failure));
  return options_.every;
}

void DiskWatch::LookForRoom() {
  const int64_t free = options_.free_bytes();
  if (free < 0) return;
  if (!is_low_ && free < options_.least_free_bytes) {
    is_low_ = true;
    engine_->Refuse(kNoRoom);
    spdlog::error("{} MiB are free at {}, less than {}: no events are taken until {} are",
                  Mib(free), options_.directory, Mib(options_.least_free_bytes),
                  Mib(2 * options_.least_free_bytes));
  } else if (is_low_ && free >= 2 * options_.least_free_bytes) {
    is_low_ = false;
    engine_->Refuse("");
    spdlog::info("there is room again: events are taken");
  }
  if (is_low_ && free < options_.least_free_bytes / 2) GiveUpBallast();
  if (!is_low_ && free >= 2 * options_.least_free_bytes + ballast_.bytes()) KeepBallast();
}

void DiskWatch::KeepBallast() {
  const absl::Status kept = ballast_.Keep();
  std::string failure(kept.message());
  if (failure == ballast_failure_) return;
  ballast_failure_ = std::move(failure);
  if (!kept.ok()) spdlog::warn("no ballast is kept for a full disk: {}", ballast_failure_);
}

void DiskWatch::GiveUpBallast() {
  if (!ballast_.GiveUp()) return;
  spdlog::error("the ballast of {} MiB was given up: the disk at {} is nearly full",
                Mib(ballast_.bytes()), options_.directory);
}

void DiskWatch::LookAtAnchor() {
  if (log_ == nullptr) return;
  std::string failure = log_->failure();
  if (failure == anchor_failure_) return;
  anchor_failure_ = std::move(failure);
  if (anchor_failure_.empty()) {
    spdlog::info("the anchor is written again");
  } else {
    spdlog::error("the anchor cannot be written, so a lost end of the log may not be noticed: {}",
                  anchor_failure_);
  }
}

}  // namespace plumblane
