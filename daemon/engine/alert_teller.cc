#include "engine/alert_teller.h"

#include <spdlog/spdlog.h>

#include <algorithm>
#include <chrono>
#include <future>
#include <utility>

#include "base/give_way.h"
#include "base/stopwatch.h"

namespace plumblane {
namespace {

// A tenth of a core, however much comes in and is stored, but never long for who reads of days.
std::chrono::duration<double> RestAfter(double step_seconds) {
  return std::chrono::duration<double>(std::clamp(9 * step_seconds, 1.0, 60.0));
}

bool Has(const PairDirectory& pairs, const std::string& supplier) {
  const auto first = pairs.by_supplier.lower_bound(Pair{supplier, {}});
  return first != pairs.by_supplier.end() && first->supplier == supplier;
}

}  // namespace

absl::Status AlertTeller::Step() {
  const View view = engine_.Look();
  const auto stopping = [this] {
    const std::lock_guard lock(mutex_);
    return stop_;
  };
  // Also where another daemon tells, since questions read what is watched.
  if (absl::Status status = view.UpdateAlerts(stopping); !status.ok()) return status;
  if (!IsOurs()) return absl::OkStatus();
  Submission submission;
  submission.alert_notices = view.alerts().News(*view.catalog().alerts, view.now());
  // Looking takes seconds; who was erased meanwhile is not to be named again.
  const auto pairs = engine_.Look().catalog().pairs;
  std::erase_if(submission.alert_notices, [&](const AlertNotice& notice) {
    return Has(*view.catalog().pairs, notice.key.supplier) && !Has(*pairs, notice.key.supplier);
  });
  if (submission.empty()) return absl::OkStatus();
  // The next step must see what this one tells.
  std::promise<absl::Status> told;
  const bool queued = engine_.Submit(
      std::move(submission), [&told](const Receipt& receipt) { told.set_value(receipt.status); });
  if (!queued) return absl::UnavailableError("too many events are waiting");
  return told.get_future().get();
}

// Of a log that is shared its owner tells, of partitions the owner of the first; and none while
// some are not followed, since what is missing looks like orders that did not arrive.
bool AlertTeller::IsOurs() const {
  const auto shared = engine_.shared_log();
  if (shared && (shared->follows || shared->MissingParts(engine_.WallNow()) > 0)) return false;
  return engine_.AcceptsEvents();
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
    const Stopwatch step;
    const absl::Status status = Step();
    if (absl::IsCancelled(status)) return;
    if (!status.ok() && !failed) spdlog::error("alerts: {}", status.ToString());
    failed = !status.ok();
    lock.lock();
    stopping_.wait_for(lock, RestAfter(step.Seconds()), [this] { return stop_; });
  }
}

}  // namespace plumblane
