// What is told of readers and copies, and what is removed because of it.
#include <absl/strings/str_cat.h>
#include <absl/strings/str_split.h>

#include <algorithm>
#include <utility>

#include "eventlog/etcd/etcd_log.h"
#include "eventlog/etcd/txn.h"
#include "storage/prefix_end.h"

namespace plumblane {
namespace {

using etcdserverpb::TxnRequest;
using etcdserverpb::TxnResponse;

// etcd makes 128 operations in one transaction.
constexpr int kPutsAtOnce = 100;
constexpr int64_t kRevisionsKept = 10'000;

absl::StatusOr<EtcdLog::Copy> CopyIn(const etcdserverpb::KeyValue& kv) {
  const std::vector<std::string> words = absl::StrSplit(kv.value(), absl::MaxSplits(' ', 1));
  const auto sequence = NumberIn(words[0], "what a copy holds");
  if (!sequence.ok()) return sequence.status();
  return EtcdLog::Copy{*sequence, kv.key().substr(kv.key().rfind('/') + 1),
                       words.size() > 1 ? words[1] : ""};
}

// The partition in KIND/PPPP/NODE.
absl::StatusOr<uint32_t> PartitionIn(const std::string& key) {
  const auto partition = NumberIn(key.substr(0, key.rfind('/')), "a partition");
  if (!partition.ok()) return partition.status();
  return static_cast<uint32_t>(*partition);
}

}  // namespace

void EtcdLog::AskAllBounds(const std::vector<uint32_t>& partitions, TxnRequest& txn) const {
  const std::string tails = client_.Key("tail/");
  *txn.add_success() = Range(tails, EndOfPrefix(tails));
  for (const uint32_t partition : partitions) {
    const std::string entries = Place("log", partition);
    *txn.add_success() = FirstKey(entries, EndOfPrefix(entries));
  }
}

absl::StatusOr<std::vector<EtcdLog::Bounds>> EtcdLog::AllBoundsIn(
    const TxnResponse& response, int index, const std::vector<uint32_t>& partitions) const {
  const auto tails = TailsIn(response, index);
  if (!tails.ok()) return tails.status();
  std::vector<Bounds> all;
  for (const uint32_t partition : partitions) {
    const auto tail = tails->find(partition);
    if (tail == tails->end()) {
      return absl::DataLossError("the log is not in etcd any more: was etcd made anew?");
    }
    const auto* first_key = Only(response, ++index);
    const auto first = first_key == nullptr ? absl::StatusOr<uint64_t>(tail->second + 1)
                                            : NumberIn(first_key->key(), "an entry");
    if (!first.ok()) return first.status();
    all.push_back({*first, tail->second});
  }
  return all;
}

absl::StatusOr<std::vector<uint64_t>> EtcdLog::First(
    const std::vector<uint32_t>& partitions) const {
  TxnRequest txn;
  AskAllBounds(partitions, txn);
  const auto response = client_.Ask(txn);
  if (!response.ok()) return response.status();
  const auto bounds = AllBoundsIn(*response, 0, partitions);
  if (!bounds.ok()) return bounds.status();
  std::vector<uint64_t> first;
  for (const Bounds& one : *bounds) first.push_back(one.first);
  return first;
}

absl::Status EtcdLog::Trim(uint32_t partition, uint64_t below) {
  const std::lock_guard lock(mutex_);
  Standing& standing = standings_[partition];
  standing.left = false;
  standing.unneeded_below = std::max(standing.unneeded_below, below);
  return absl::OkStatus();
}

void EtcdLog::Leave(uint32_t partition) {
  const std::lock_guard lock(mutex_);
  standings_[partition].left = true;
}

void EtcdLog::TellCopy(uint32_t partition, uint64_t sequence, const std::string& address) {
  const std::lock_guard lock(mutex_);
  standings_[partition].copied = sequence;
  standings_[partition].copy = absl::StrCat(sequence, " ", address);
}

absl::StatusOr<std::map<uint32_t, std::vector<EtcdLog::Copy>>> EtcdLog::Copies() const {
  const std::string place = client_.Key("copy/");
  TxnRequest txn;
  *txn.add_success() = Range(place, EndOfPrefix(place));
  const auto response = client_.Ask(txn);
  if (!response.ok()) return response.status();
  std::map<uint32_t, std::vector<Copy>> copies;
  for (const etcdserverpb::KeyValue& kv : response->responses(0).response_range().kvs()) {
    const auto partition = PartitionIn(kv.key());
    if (!partition.ok()) return partition.status();
    const auto copy = CopyIn(kv);
    if (!copy.ok()) return copy.status();
    copies[*partition].push_back(*copy);
  }
  for (auto& [partition, some] : copies) {
    std::sort(some.begin(), some.end(),
              [](const Copy& a, const Copy& b) { return a.sequence > b.sequence; });
  }
  return copies;
}

absl::Status EtcdLog::Keep() {
  std::map<uint32_t, Standing> standings;
  {
    const std::lock_guard lock(mutex_);
    standings = standings_;
  }
  if (standings.empty()) return absl::OkStatus();
  std::map<std::string, std::string> values;
  for (const auto& [partition, standing] : standings) {
    values[Place("reader", partition) + options_.node] =
        standing.left ? "" : absl::StrCat(standing.unneeded_below);
    if (!standing.copy.empty()) values[Place("copy", partition) + options_.node] = standing.copy;
  }
  // Where there is no room it is told later; what can be removed is.
  absl::Status status = Tell(values);
  if (!status.ok() && !absl::IsResourceExhausted(status)) return status;
  std::erase_if(standings, [this](const auto& one) { return ownership_.Fence(one.first) == 0; });
  if (standings.empty()) return status;
  // Asked for at once, whatever there is of it.
  std::vector<uint32_t> partitions;
  for (const auto& [partition, standing] : standings) partitions.push_back(partition);
  TxnRequest ask;
  const std::string readers = client_.Key("reader/");
  *ask.add_success() = Range(readers, EndOfPrefix(readers));
  AskAllBounds(partitions, ask);
  const auto known = client_.Ask(ask);
  if (!known.ok()) return known.status();
  const auto bounds = AllBoundsIn(*known, 1, partitions);
  if (!bounds.ok()) return bounds.status();
  const auto copies = Copies();
  if (!copies.ok()) return copies.status();
  std::map<uint32_t, uint64_t> below;
  for (size_t i = 0; i < partitions.size(); ++i) {
    const Standing& standing = standings[partitions[i]];
    uint64_t copied = standing.copied;
    const auto told = copies->find(partitions[i]);
    if (told != copies->end()) copied = std::max(copied, told->second.front().sequence);
    // The last entry stays.
    below[partitions[i]] = std::min({standing.unneeded_below, copied + 1, (*bounds)[i].tail});
  }
  std::map<uint32_t, int> holders;
  for (const etcdserverpb::KeyValue& kv : known->responses(0).response_range().kvs()) {
    const auto partition = PartitionIn(kv.key());
    if (!partition.ok()) return partition.status();
    ++holders[*partition];
    const auto needed = NumberIn(kv.value(), "a reader's position");
    if (!needed.ok()) return needed.status();
    const auto place = below.find(*partition);
    if (place != below.end()) place->second = std::min(place->second, *needed);
  }
  const bool is_alone = ownership_.Others().empty();
  int64_t last_removal = 0;
  for (size_t i = 0; i < partitions.size(); ++i) {
    if (below[partitions[i]] <= (*bounds)[i].first) continue;
    if (!is_alone && holders[partitions[i]] < 2) continue;
    const auto removed = Remove(partitions[i], below[partitions[i]]);
    if (!removed.ok()) return removed.status();
    last_removal = std::max(last_removal, *removed);
  }
  // What an owner writes to be heard grows as well where nothing is sent.
  const int64_t now = known->header().revision();
  if (last_removal == 0 && now > compacted_ + kRevisionsKept) last_removal = now;
  if (last_removal == 0) return status;
  compacted_ = std::max(compacted_, last_removal);
  const absl::Status compacted = client_.Compact(last_removal);
  // Another one has done so meanwhile.
  return compacted.ok() || absl::IsOutOfRange(compacted) ? status : compacted;
}

absl::Status EtcdLog::Tell(const std::map<std::string, std::string>& values) {
  if (lease_ != 0) {
    const auto kept = client_.KeepLease(lease_);
    if (!kept.ok()) return kept.status();
    if (!*kept) lease_ = 0;
  }
  if (lease_ == 0) {
    const auto granted = client_.GrantLease(options_.reader);
    if (!granted.ok()) return granted.status();
    lease_ = *granted;
    told_.clear();
  }
  auto at = values.begin();
  while (at != values.end()) {
    TxnRequest txn;
    std::map<std::string, std::string> telling;
    for (; at != values.end() && txn.success_size() < kPutsAtOnce; ++at) {
      const auto told = told_.find(at->first);
      if (told != told_.end() && told->second == at->second) continue;
      if (at->second.empty()) {
        DeleteRange(txn, at->first, "");
      } else {
        Put(txn, at->first, at->second, lease_);
      }
      telling.insert(*at);
    }
    if (telling.empty()) break;
    const auto response = client_.Txn(txn);
    if (!response.ok()) return response.status();
    for (auto& [key, value] : telling) told_[key] = value;
  }
  return absl::OkStatus();
}

absl::StatusOr<int64_t> EtcdLog::Remove(uint32_t partition, uint64_t below) {
  TxnRequest txn;
  RequireRevision(txn, ownership_.OwnerKey(partition), ownership_.Fence(partition));
  DeleteRange(txn, Place("log", partition), EntryKey(partition, below));
  DeleteRange(txn, Place("piece", partition), Place("piece", partition) + Padded(below));
  const uint64_t compared = below - std::min(below, options_.cells_kept);
  DeleteRange(txn, Place(kCellsPlace, partition), Place(kCellsPlace, partition) + Padded(compared));
  const auto removed = client_.Txn(txn);
  if (!removed.ok()) return removed.status();
  return removed->succeeded() ? removed->header().revision() : 0;
}

}  // namespace plumblane
