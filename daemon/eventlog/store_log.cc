#include <absl/strings/str_cat.h>

#include "eventlog/event_log.h"
#include "storage/bytes.h"
#include "storage/keys.h"

namespace plumblane {
namespace {

uint64_t SequenceOf(std::string_view key) { return ByteReader(key).Big(8); }

}  // namespace

Appended StoreLog::Append(uint32_t /*partition*/, uint64_t sequence, std::string bytes) {
  Batch batch;
  batch.Put(Space::kLog, LogKey(sequence), std::move(bytes));
  if (trimmed_below_ == 0) {
    const auto first = FirstSequence(*store_.TakeSnapshot());
    if (!first.ok()) return Appended::kUnknown;
    trimmed_below_ = *first;
  }
  const uint64_t below = std::min(trim_below_, sequence);
  for (; trimmed_below_ < below; ++trimmed_below_) {
    batch.Delete(Space::kLog, LogKey(trimmed_below_));
  }
  return store_.Write(batch, /*sync=*/true).ok() ? Appended::kDurable : Appended::kUnknown;
}

absl::StatusOr<std::vector<LogRecord>> StoreLog::Read(uint32_t /*partition*/, uint64_t from,
                                                      size_t max_bytes) const {
  const auto snapshot = store_.TakeSnapshot();
  const auto first = FirstSequence(*snapshot);
  if (!first.ok()) return first.status();
  if (from < *first) {
    return absl::OutOfRangeError(absl::StrCat("the log starts at ", *first, ", not at ", from));
  }
  std::vector<LogRecord> records;
  size_t bytes = 0;
  uint64_t next = from;
  const absl::Status scanned =
      snapshot->Scan(Space::kLog, "", LogKey(from), [&](auto key, auto value) {
        const uint64_t sequence = SequenceOf(key);
        if (sequence != next || (!records.empty() && bytes + value.size() > max_bytes))
          return false;
        bytes += value.size();
        records.push_back({next++, std::string(value)});
        return true;
      });
  if (!scanned.ok()) return scanned;
  if (records.empty()) {
    const auto tail = Tail(0);
    if (!tail.ok()) return tail.status();
    if (from <= *tail) return absl::DataLossError(absl::StrCat("log entry ", from, " is missing"));
  }
  return records;
}

absl::StatusOr<uint64_t> StoreLog::Tail(uint32_t /*partition*/) const {
  const auto snapshot = store_.TakeSnapshot();
  // The tail is short: trimmed entries are gone, so walking it is cheap.
  uint64_t tail = 0;
  const absl::Status scanned = snapshot->Scan(Space::kLog, "", "", [&](auto key, auto) {
    tail = SequenceOf(key);
    return true;
  });
  if (!scanned.ok()) return scanned;
  return tail;
}

absl::Status StoreLog::Trim(uint32_t /*partition*/, uint64_t below) {
  trim_below_ = std::max(trim_below_, below);
  return absl::OkStatus();
}

absl::StatusOr<uint64_t> StoreLog::FirstSequence(const Snapshot& snapshot) const {
  uint64_t first = 1;
  const absl::Status scanned = snapshot.Scan(Space::kLog, "", "", [&](auto key, auto) {
    first = SequenceOf(key);
    return false;
  });
  if (!scanned.ok()) return scanned;
  return first;
}

}  // namespace plumblane
