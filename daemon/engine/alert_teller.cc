#include "engine/alert_teller.h"

#include <spdlog/spdlog.h>

#include <chrono>
#include <future>
#include <utility>

#include "base/give_way.h"

namespace plumblane {

absl::Status AlertTeller::Step() {
  const View view = engine_.Look();
  const auto stopping = [this] {
    const std::lock_guard lock(mutex_);
    return stop_;
  };
  if (absl::Status status = view.UpdateAlerts(stopping); !status.ok()) return status;
  Submission submission;
  submission.alert_notices = view.alerts().News(*view.catalog().alerts, view.now());
  if (submission.empty()) return absl::OkStatus();
  // The next step must see what this one tells.
  std::promise<absl::Status> told;
  const bool queued = engine_.Submit(
      std::move(submission), [&told](const Receipt& receipt) { told.set_value(receipt.status); });
  if (!queued) return absl::UnavailableError("too many events are waiting");
  return told.get_future().get();
}

void AlertTeller::Start() {
  thread_ = std::thread([this] { Run(); });
}

void AlertTeller::Stop() {
  {
    const std::lock_guard lock(mutex_);
    stop_ = true;
  }
  stopping_.notify_all();
  if (thread_.joinable()) thread_.join();
}

void AlertTeller::Run() {
  GiveWay(10);
  bool failed = false;
  std::unique_lock lock(mutex_);
  while (!stop_) {
    lock.unlock();
    const absl::Status status = engine_.AcceptsEvents() ? Step() : absl::OkStatus();
    if (absl::IsCancelled(status)) return;
    if (!status.ok() && !failed) spdlog::error("alerts: {}", status.ToString());
    failed = !status.ok();
    lock.lock();
    stopping_.wait_for(lock, std::chrono::seconds(1), [this] { return stop_; });
  }
}

}  // namespace plumblane
