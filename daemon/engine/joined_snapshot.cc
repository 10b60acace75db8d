#include "engine/joined_snapshot.h"

#include <algorithm>
#include <utility>

#include "engine/joining.h"
#include "engine/partitions.h"
#include "engine/records.h"
#include "storage/prefixed_store.h"

namespace plumblane {
namespace {

// Read at a time from each partition: few at first, for most questions end soon.
constexpr size_t kFirstItems = 32, kMostItems = 1024;
constexpr size_t kMostBytes = 64 << 10;

// What a partition has of a range, some at a time.
class Cursor {
 public:
  Cursor(const Snapshot& snapshot, Space space, std::string_view prefix, std::string_view from)
      : snapshot_(snapshot), space_(space), prefix_(prefix), from_(from) {}

  // Whether there is another; reads on where needed.
  absl::StatusOr<bool> Has() {
    if (at_ < items_.size()) return true;
    if (ended_) return false;
    items_.clear();
    at_ = 0;
    size_t bytes = 0;
    ended_ = true;
    const absl::Status scanned = snapshot_.Scan(space_, prefix_, from_, [&](auto key, auto value) {
      if (items_.size() >= most_ || bytes >= kMostBytes) {
        ended_ = false;
        from_ = key;
        return false;
      }
      bytes += key.size() + value.size();
      items_.emplace_back(key, value);
      return true;
    });
    most_ = std::min(2 * most_, kMostItems);
    if (!scanned.ok()) return scanned;
    return !items_.empty();
  }
  const std::string& key() const { return items_[at_].first; }
  const std::string& value() const { return items_[at_].second; }
  void Next() { ++at_; }

 private:
  const Snapshot& snapshot_;
  const Space space_;
  const std::string_view prefix_;
  std::string from_;
  size_t most_ = kFirstItems;
  bool ended_ = false;
  std::vector<std::pair<std::string, std::string>> items_;
  size_t at_ = 0;
};

}  // namespace

absl::StatusOr<std::optional<std::string>> JoinedSnapshot::Get(Space space,
                                                               std::string_view key) const {
  if (space == Space::kOrders) return parts_[PartitionOfRecord(key, count())]->Get(space, key);
  std::vector<std::pair<uint32_t, std::string>> found;
  for (uint32_t part = 0; part < count(); ++part) {
    auto value = parts_[part]->Get(space, key);
    if (!value.ok()) return value.status();
    if (*value) found.emplace_back(part, **std::move(value));
  }
  if (found.empty()) return std::nullopt;
  std::vector<Held<std::string_view>> held;
  for (const auto& [part, value] : found) held.push_back({part, value});
  auto joined = JoinValues(space, key, held, count());
  if (!joined.ok()) return joined.status();
  return *std::move(joined);
}

absl::StatusOr<std::vector<std::optional<std::string>>> JoinedSnapshot::GetAll(
    Space space, const std::vector<std::string>& keys) const {
  std::vector<std::optional<std::string>> values(keys.size());
  if (space != Space::kOrders) {
    for (size_t i = 0; i < keys.size(); ++i) {
      auto value = Get(space, keys[i]);
      if (!value.ok()) return value.status();
      values[i] = *std::move(value);
    }
    return values;
  }
  std::vector<std::vector<size_t>> places(count());
  for (size_t i = 0; i < keys.size(); ++i) {
    places[PartitionOfRecord(keys[i], count())].push_back(i);
  }
  for (uint32_t part = 0; part < count(); ++part) {
    if (places[part].empty()) continue;
    std::vector<std::string> wanted;
    for (const size_t i : places[part]) wanted.push_back(keys[i]);
    auto found = parts_[part]->GetAll(space, wanted);
    if (!found.ok()) return found.status();
    for (size_t at = 0; at < wanted.size(); ++at)
      values[places[part][at]] = std::move((*found)[at]);
  }
  return values;
}

absl::Status JoinedSnapshot::Scan(Space space, std::string_view prefix, std::string_view from,
                                  const Each& each) const {
  std::vector<Cursor> cursors;
  cursors.reserve(parts_.size());
  for (const auto& part : parts_) cursors.emplace_back(*part, space, prefix, from);
  std::vector<uint32_t> heap;  // partitions that have more; the lowest key first
  const auto is_later = [&](uint32_t a, uint32_t b) {
    const int order = cursors[a].key().compare(cursors[b].key());
    return order > 0 || (order == 0 && a > b);
  };
  for (uint32_t part = 0; part < count(); ++part) {
    const auto has = cursors[part].Has();
    if (!has.ok()) return has.status();
    if (*has) heap.push_back(part);
  }
  std::make_heap(heap.begin(), heap.end(), is_later);
  std::vector<uint32_t> same;
  std::vector<Held<std::string_view>> held;
  while (!heap.empty()) {
    same.clear();
    held.clear();
    do {
      std::pop_heap(heap.begin(), heap.end(), is_later);
      same.push_back(heap.back());
      heap.pop_back();
      held.push_back({same.back(), cursors[same.back()].value()});
    } while (!heap.empty() && cursors[heap.front()].key() == cursors[same.front()].key());
    const std::string& key = cursors[same.front()].key();
    const auto joined = JoinValues(space, key, held, count());
    if (!joined.ok()) return joined.status();
    if (!each(key, *joined)) return absl::OkStatus();
    for (const uint32_t part : same) {
      cursors[part].Next();
      const auto has = cursors[part].Has();
      if (!has.ok()) return has.status();
      if (!*has) continue;
      heap.push_back(part);
      std::push_heap(heap.begin(), heap.end(), is_later);
    }
  }
  return absl::OkStatus();
}

absl::StatusOr<uint32_t> PartitionsIn(const Snapshot& snapshot) {
  const auto record = snapshot.Get(Space::kMeta, kPartitionsKey);
  if (!record.ok()) return record.status();
  if (!*record) return 1;
  const auto count = DecodeCount(**record);
  if (!count.ok()) return count.status();
  if (*count < 2 || *count > kMostPartitions) {
    return absl::DataLossError("malformed record of the number of partitions");
  }
  return static_cast<uint32_t>(*count);
}

absl::StatusOr<std::shared_ptr<const Snapshot>> WholeOf(std::shared_ptr<const Snapshot> snapshot) {
  const auto count = PartitionsIn(*snapshot);
  if (!count.ok()) return count.status();
  if (*count == 1) return snapshot;
  std::vector<std::shared_ptr<const Snapshot>> parts;
  for (uint32_t part = 0; part < *count; ++part) {
    parts.push_back(std::make_shared<PrefixedSnapshot>(snapshot, PartitionPrefix(part)));
  }
  return std::make_shared<JoinedSnapshot>(std::move(parts));
}

}  // namespace plumblane
