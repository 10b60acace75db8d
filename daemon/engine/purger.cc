#include "engine/purger.h"

#include <spdlog/spdlog.h>

#include <algorithm>
#include <chrono>
#include <future>
#include <string>
#include <utility>

#include "base/give_way.h"
#include "engine/leaving.h"
#include "storage/keys.h"
#include "storage/order_codec.h"

namespace plumblane {
namespace {

// Read on one view, and let go by one entry.
constexpr int kOrdersRead = 10'000;
constexpr size_t kOrdersAnEntry = 1000;

// The orders after `place` that were over before; `place` is then that of the last one read, ""
// at the end.
absl::StatusOr<std::vector<OrderKey>> SomeOver(const View& view, Instant before,
                                               std::string& place) {
  std::vector<OrderKey> orders;
  int read = 0;
  std::string last;
  absl::Status bad;
  const ReadRules& rules = view.rules();
  const absl::Status scanned =
      view.snapshot().Scan(Space::kOrders, "", place, [&](auto key, auto value) {
        if (key == place) return true;
        last = key;
        const auto events = DecodeOrder(value);
        bad = events.status();
        if (!bad.ok()) return false;
        const OrderKey order = ParseOrderRecordKey(key);
        const OrderState state = Fold(order, *events, rules.fold, *view.catalog().excuses);
        const auto over = OverSince(state, *events, rules.fold, rules.claim_window_days,
                                    view.catalog().agreements->terms);
        if (over && *over < before) orders.push_back(order);
        return ++read < kOrdersRead && orders.size() < kOrdersAnEntry;
      });
  bad.Update(scanned);
  if (!bad.ok()) return bad;
  const bool is_end = read < kOrdersRead && orders.size() < kOrdersAnEntry;
  place = is_end ? "" : last;
  return orders;
}

}  // namespace

absl::Status Purger::Pass() {
  if (days_ == 0) return absl::OkStatus();
  std::string place;
  int64_t purged = 0;
  do {
    if (IsStopping()) return absl::CancelledError("stopped");
    const View view = engine_.Look();
    if (!view.catalog().latest_event) return absl::OkStatus();
    const Instant now = std::min(view.now(), *view.catalog().latest_event);
    Purge purge{now - days_ * kMillisPerDay, view.rules().claim_window_days, {}};
    auto orders = SomeOver(view, purge.before, place);
    if (!orders.ok()) return orders.status();
    if (orders->empty()) continue;
    purge.orders = *std::move(orders);
    Submission submission;
    submission.purges.push_back(std::move(purge));
    std::promise<absl::Status> done;
    const bool queued = engine_.Submit(
        std::move(submission), [&done](const Receipt& receipt) { done.set_value(receipt.status); });
    if (!queued) return absl::UnavailableError("too many events are waiting");
    if (absl::Status status = done.get_future().get(); !status.ok()) return status;
    purged += engine_.Look().catalog().purged_count - view.catalog().purged_count;
  } while (!place.empty());
  if (purged > 0) spdlog::info("{} orders are no longer kept: over for {} days", purged, days_);
  return absl::OkStatus();
}

void Purger::Start() {
  if (days_ > 0) thread_ = std::thread([this] { Run(); });
}

void Purger::Stop() {
  {
    const std::lock_guard lock(mutex_);
    stop_ = true;
  }
  stopping_.notify_all();
  if (thread_.joinable()) thread_.join();
}

bool Purger::IsStopping() {
  const std::lock_guard lock(mutex_);
  return stop_;
}

void Purger::Run() {
  GiveWay(10);
  std::optional<Day> done;
  while (!IsStopping()) {
    const Day today = DayOf(engine_.Look().now());
    // Of several daemons that share a log one is enough.
    const auto shared = engine_.shared_log();
    const bool is_ours =
        engine_.AcceptsEvents() && (!shared || (!shared->follows && shared->HoldsAll()));
    if (done != today && is_ours) {
      const absl::Status status = Pass();
      if (absl::IsCancelled(status)) return;
      if (status.ok() || !absl::IsUnavailable(status)) done = today;
      if (!status.ok()) spdlog::error("old orders: {}", status.ToString());
    }
    std::unique_lock lock(mutex_);
    stopping_.wait_for(lock, std::chrono::seconds(1), [this] { return stop_; });
  }
}

}  // namespace plumblane
