#include "eventlog/etcd/etcd_member.h"

#include <absl/strings/str_cat.h>
#include <spdlog/spdlog.h>

#include <algorithm>
#include <numeric>

#include "eventlog/anchor.h"
#include "eventlog/log_key.h"

namespace plumblane {
namespace {

constexpr std::chrono::milliseconds kKeepEvery{1000}, kRenewAgain{100};

// Until stopped, sooner after it failed; what fails is logged when it begins to fail and when it
// does no more.
void Repeat(const StopEvent& stop, std::chrono::milliseconds every, std::chrono::milliseconds again,
            const char* what, const std::function<absl::Status()>& work) {
  bool failed = false;
  while (!stop.WaitFor(failed ? again : every)) {
    const absl::Status status = work();
    if (!status.ok() && !failed) spdlog::error("{}: {}", what, std::string(status.message()));
    if (status.ok() && failed) spdlog::info("{}: it goes on", what);
    failed = !status.ok();
  }
}

}  // namespace

EtcdMember::EtcdMember(const Options& options)
    : partitions_(options.partitions),
      follows_all_(options.follows_all),
      client_(options.etcd),
      ownership_(client_, options.node, options.address, options.lease, options.follows_all),
      log_(client_, ownership_, {.node = options.node, .reader = options.reader}),
      node_(options.node),
      address_(options.address),
      renew_every_(std::chrono::milliseconds(options.lease) / 6) {}

EtcdMember::~EtcdMember() {
  stop_.Set();
  if (renewing_.joinable()) renewing_.join();
  if (keeping_.joinable()) keeping_.join();
}

void EtcdMember::CompareCells(uint32_t partition, uint64_t sequence, uint64_t hash,
                              const std::function<void(const absl::Status&)>& differs) {
  const absl::Status status = log_.CompareCells(partition, sequence, hash);
  if (absl::IsDataLoss(status)) return differs(status);
  if (!status.ok()) spdlog::warn("cells are not compared: {}", std::string(status.message()));
}

absl::StatusOr<std::map<std::string, EtcdMember::Copy>> EtcdMember::WholeCopies(
    uint32_t partitions) const {
  const auto told = log_.Copies();
  if (!told.ok()) return told.status();
  std::map<std::string, Copy> copies;
  for (const auto& [partition, some] : *told) {
    for (const EtcdLog::Copy& one : some) {
      Copy& copy = copies[one.node];
      // In their order: one that was not told of before is of no use.
      if (copy.holds.size() != partition) continue;
      copy.holds.push_back(one.sequence);
      copy.address = one.address;
    }
  }
  std::erase_if(copies, [&](const auto& one) {
    const auto& holds = one.second.holds;
    return holds.size() != partitions ||
           std::all_of(holds.begin(), holds.end(), [](uint64_t held) { return held == 0; });
  });
  return copies;
}

absl::StatusOr<std::vector<std::string>> EtcdMember::CopiesToBeginWith() {
  const auto count = log_.Partitions();
  if (!count.ok()) return count.status();
  if (*count == 0) return std::vector<std::string>();
  std::vector<uint32_t> partitions(*count);
  std::iota(partitions.begin(), partitions.end(), 0);
  auto first = log_.First(partitions);
  if (!first.ok()) return first.status();
  if (std::all_of(first->begin(), first->end(), [](uint64_t one) { return one <= 1; })) {
    return std::vector<std::string>();
  }
  for (const uint32_t partition : partitions) {
    const absl::Status status = log_.Trim(partition, (*first)[partition]);
    if (!status.ok()) return status;
  }
  TellCopy(std::vector<uint64_t>(*count));  // what it told earlier went with its data
  if (absl::Status status = log_.Keep(); !status.ok()) return status;
  first = log_.First(partitions);  // nothing is removed from now on; it may have been just before
  if (!first.ok()) return first.status();
  const auto told = WholeCopies(*count);
  if (!told.ok()) return told.status();
  std::vector<Copy> copies;
  for (const auto& [node, copy] : *told) {
    const bool goes_on = std::all_of(partitions.begin(), partitions.end(),
                                     [&](uint32_t p) { return copy.holds[p] + 1 >= (*first)[p]; });
    if (goes_on && node != node_) copies.push_back(copy);
  }
  std::sort(copies.begin(), copies.end(), [](const Copy& a, const Copy& b) {
    return std::accumulate(a.holds.begin(), a.holds.end(), uint64_t{0}) >
           std::accumulate(b.holds.begin(), b.holds.end(), uint64_t{0});
  });
  std::vector<std::string> addresses;
  for (const Copy& copy : copies) addresses.push_back(copy.address);
  if (!addresses.empty()) return addresses;
  return absl::UnavailableError(absl::StrCat(
      "the log in etcd starts at entry ", *std::max_element(first->begin(), first->end()),
      ", there is no data here, and no other daemon tells of a copy to begin with. One that runs "
      "makes a copy now and then (cluster.copy_seconds); or restore a backup"));
}

absl::StatusOr<std::vector<uint64_t>> EtcdMember::OwnCopy() {
  const auto count = log_.Partitions();
  if (!count.ok()) return count.status();
  const auto told = WholeCopies(*count);
  if (!told.ok()) return told.status();
  const auto own = told->find(node_);
  return own == told->end() ? std::vector<uint64_t>() : own->second.holds;
}

void EtcdMember::TellCopy(const std::vector<uint64_t>& holds) {
  for (uint32_t partition = 0; partition < holds.size(); ++partition) {
    log_.TellCopy(partition, holds[partition], address_);
  }
}

absl::StatusOr<uint32_t> EtcdMember::Join(Store& store, const std::vector<uint64_t>& applied) {
  const bool has_entries =
      std::any_of(applied.begin(), applied.end(), [](uint64_t entries) { return entries > 0; });
  const auto snapshot = store.TakeSnapshot();
  const auto store_id = StoreId(*snapshot);
  if (!store_id.ok()) return store_id.status();
  const auto known = snapshot->Get(Space::kMeta, kLogElsewhereKey);
  if (!known.ok()) return known.status();
  auto id = log_.Id();
  if (!id.ok()) return id.status();
  if (*known && id->empty()) {
    return absl::DataLossError(absl::StrCat(
        "the log that this data follows (", **known,
        ") is not in etcd: was etcd made anew, or is cluster.name another? Nothing was changed"));
  }
  // The log is named after the store that it began with, so that one that is killed here goes on.
  if (id->empty()) {
    if (has_entries && partitions_ > 1) {
      return absl::FailedPreconditionError(absl::StrCat(
          "a log of ", partitions_,
          " partitions begins with an empty data directory: what is here "
          "was a daemon's own. Send its events again, or make a log of one (cluster.partitions)"));
    }
    id = log_.Create(partitions_, has_entries ? applied.front() : 0, *store_id);
    if (!id.ok()) return id.status();
    if (*id == *store_id) spdlog::info("made a log of {} partitions in etcd", partitions_);
  }
  const bool is_of_this_log = *known ? **known == *id : !has_entries || *id == *store_id;
  if (!is_of_this_log) {
    return absl::FailedPreconditionError(absl::StrCat(
        "the data is not of the log in etcd (", *id, ") but of ", *known ? **known : "its own",
        ". Start with an empty data directory, or with a backup of a daemon of this cluster"));
  }
  const auto partitions = log_.Partitions();
  if (!partitions.ok()) return partitions.status();
  if (has_entries && *partitions != applied.size()) {
    return absl::FailedPreconditionError(absl::StrCat(
        "the data has ", applied.size(), " partitions, the log in etcd ", *partitions));
  }
  ownership_.ShareOut(*partitions);
  if (!*known) {
    Batch batch;
    batch.Put(Space::kMeta, std::string(kLogElsewhereKey), *id);
    if (absl::Status status = store.Write(batch, /*sync=*/true); !status.ok()) return status;
  }
  // From now on nothing after it is removed.
  for (uint32_t partition = 0; partition < *partitions; ++partition) {
    if (partition > 0 && !follows_all_) {
      log_.Leave(partition);
      continue;
    }
    const uint64_t next = has_entries ? applied[partition] + 1 : 1;
    if (absl::Status status = log_.Trim(partition, next); !status.ok()) return status;
  }
  if (absl::Status status = log_.Keep(); !status.ok() && !absl::IsResourceExhausted(status)) {
    return status;
  }
  renewing_ = std::thread([this] {
    Repeat(stop_, renew_every_, kRenewAgain, "the lease cannot be renewed",
           [this] { return ownership_.Renew(); });
  });
  keeping_ = std::thread([this] {
    Repeat(stop_, kKeepEvery, kKeepEvery, "the log cannot be trimmed",
           [this] { return log_.Keep(); });
  });
  return partitions;
}

}  // namespace plumblane
