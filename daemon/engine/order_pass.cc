#include "engine/order_pass.h"

#include <condition_variable>
#include <deque>
#include <mutex>
#include <string>
#include <string_view>
#include <thread>
#include <utility>

#include "storage/keys.h"
#include "storage/order_codec.h"

namespace plumblane {
namespace {

constexpr size_t kBytesInBatch = 128 << 10, kBatchesWaiting = 8;

// Keys and values one after the other in one text: many small ones would cost more to make.
class Records {
 public:
  void Add(std::string_view key, std::string_view value) {
    bytes_.append(key).append(value);
    sizes_.emplace_back(key.size(), value.size());
  }
  size_t bytes() const { return bytes_.size(); }

  template <typename Visit>
  void ForEach(const Visit& visit) const {
    std::string_view rest = bytes_;
    for (const auto& [key, value] : sizes_) {
      visit(rest.substr(0, key), rest.substr(key, value));
      rest.remove_prefix(key + value);
    }
  }

 private:
  std::string bytes_;
  std::vector<std::pair<size_t, size_t>> sizes_;
};

// Batches between the thread that reads and those that fold.
class Queue {
 public:
  void Put(Records batch) {
    std::unique_lock lock(mutex_);
    changed_.wait(lock, [this] { return waiting_.size() < kBatchesWaiting; });
    waiting_.push_back(std::move(batch));
    changed_.notify_all();
  }
  // False: there are no more.
  bool Take(Records& batch) {
    std::unique_lock lock(mutex_);
    changed_.wait(lock, [this] { return closed_ || !waiting_.empty(); });
    if (waiting_.empty()) return false;
    batch = std::move(waiting_.front());
    waiting_.pop_front();
    changed_.notify_all();
    return true;
  }
  void Close() {
    const std::lock_guard lock(mutex_);
    closed_ = true;
    changed_.notify_all();
  }
  // The first error of all threads.
  void Fail(const absl::Status& status) {
    const std::lock_guard lock(mutex_);
    status_.Update(status);
  }
  absl::Status status() {
    const std::lock_guard lock(mutex_);
    return status_;
  }

 private:
  std::mutex mutex_;
  std::condition_variable changed_;
  std::deque<Records> waiting_;  // guarded by mutex_, as are the others
  bool closed_ = false;
  absl::Status status_;
};

}  // namespace

absl::Status ForEachOrder(const OrderPass& pass, size_t threads, const EachOrder& each) {
  Queue queue;
  const auto take = [&](size_t thread, std::string_view key, std::string_view record) {
    if (pass.plain) {
      const auto plain = ReadPlainOrder(record);
      if (plain && pass.plain(thread, key, *plain)) return;
    }
    const auto events = DecodeOrder(record);
    if (!events.ok()) {
      queue.Fail(events.status());
      return;
    }
    if (pass.skip && pass.skip(*events)) return;
    const OrderKey order = ParseOrderRecordKey(key);
    each(thread, order, *events, Fold(order, *events, pass.rules, pass.excuses));
  };
  const auto fold = [&](size_t thread) {
    Records batch;
    while (queue.Take(batch)) {
      batch.ForEach([&](auto key, auto record) { take(thread, key, record); });
    }
  };
  std::vector<std::thread> workers;
  for (size_t i = 0; i < threads; ++i) workers.emplace_back(fold, i);
  Records batch;
  const absl::Status scanned =
      pass.snapshot.Scan(Space::kOrders, ShopPrefix(pass.shop), "", [&](auto key, auto record) {
        batch.Add(key, record);
        if (batch.bytes() < kBytesInBatch) return true;
        queue.Put(std::exchange(batch, {}));
        if (pass.give_up && pass.give_up()) queue.Fail(absl::CancelledError("given up"));
        return queue.status().ok();
      });
  queue.Put(std::move(batch));
  queue.Close();
  for (std::thread& worker : workers) worker.join();
  absl::Status status = queue.status();
  status.Update(scanned);
  return status;
}

}  // namespace plumblane
