#include "eventlog/etcd/etcd_member.h"

#include <absl/strings/str_cat.h>
#include <spdlog/spdlog.h>

#include "eventlog/anchor.h"
#include "eventlog/log_key.h"

namespace plumblane {
namespace {

constexpr std::chrono::milliseconds kKeepEvery{1000};

// Until stopped; what fails is logged when it begins to fail and when it does no more.
void Repeat(const StopEvent& stop, std::chrono::milliseconds every, const char* what,
            const std::function<absl::Status()>& work) {
  bool failed = false;
  while (!stop.WaitFor(every)) {
    const absl::Status status = work();
    if (!status.ok() && !failed) spdlog::error("{}: {}", what, std::string(status.message()));
    if (status.ok() && failed) spdlog::info("{}: it goes on", what);
    failed = !status.ok();
  }
}

}  // namespace

EtcdMember::EtcdMember(const Options& options)
    : client_(options.etcd),
      ownership_(client_, options.node, options.address, options.lease),
      log_(client_, ownership_, {.node = options.node, .reader = options.reader}),
      node_(options.node),
      address_(options.address),
      renew_every_(std::chrono::milliseconds(options.lease) / 6) {}

EtcdMember::~EtcdMember() {
  stop_.Set();
  if (renewing_.joinable()) renewing_.join();
  if (keeping_.joinable()) keeping_.join();
}

void EtcdMember::CompareCells(uint64_t sequence, uint64_t hash,
                              const std::function<void(const absl::Status&)>& differs) {
  const absl::Status status = log_.CompareCells(0, sequence, hash);
  if (absl::IsDataLoss(status)) return differs(status);
  if (!status.ok()) spdlog::warn("cells are not compared: {}", std::string(status.message()));
}

absl::StatusOr<std::vector<EtcdLog::Copy>> EtcdMember::CopiesToBeginWith() {
  std::vector<EtcdLog::Copy> copies;
  const auto id = log_.Id();
  if (!id.ok()) return id.status();
  if (id->empty()) return copies;
  auto first = log_.First(0);
  if (!first.ok()) return first.status();
  if (*first <= 1) return copies;
  absl::Status status = log_.Trim(0, *first);
  TellCopy(0);  // what it told earlier went with its data
  if (status.ok()) status = log_.Keep();
  if (!status.ok()) return status;
  first = log_.First(0);  // nothing is removed from now on; it may have been just before
  if (!first.ok()) return first.status();
  const auto told = log_.Copies(0);
  if (!told.ok()) return told.status();
  for (const EtcdLog::Copy& copy : *told) {
    if (copy.sequence + 1 >= *first && copy.node != node_) copies.push_back(copy);
  }
  if (!copies.empty()) return copies;
  return absl::UnavailableError(absl::StrCat(
      "the log in etcd starts at entry ", *first,
      ", there is no data here, and no other daemon tells of a copy to begin with. One that runs "
      "makes a copy now and then (cluster.copy_seconds); or restore a backup"));
}

absl::StatusOr<uint64_t> EtcdMember::OwnCopy() const {
  const auto told = log_.Copies(0);
  if (!told.ok()) return told.status();
  for (const EtcdLog::Copy& copy : *told) {
    if (copy.node == node_) return copy.sequence;
  }
  return 0;
}

absl::Status EtcdMember::Join(Store& store, uint64_t applied) {
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
    id = log_.Create(/*partitions=*/1, applied, *store_id);
    if (!id.ok()) return id.status();
    if (*id == *store_id) spdlog::info("made a log in etcd, from entry {} on", applied + 1);
  }
  const bool is_of_this_log = *known ? **known == *id : applied == 0 || *id == *store_id;
  if (!is_of_this_log) {
    return absl::FailedPreconditionError(absl::StrCat(
        "the data is not of the log in etcd (", *id, ") but of ", *known ? **known : "its own",
        ". Start with an empty data directory, or with a backup of a daemon of this cluster"));
  }
  if (!*known) {
    Batch batch;
    batch.Put(Space::kMeta, std::string(kLogElsewhereKey), *id);
    if (absl::Status status = store.Write(batch, /*sync=*/true); !status.ok()) return status;
  }
  // From now on nothing after it is removed.
  if (absl::Status status = log_.Trim(0, applied + 1); !status.ok()) return status;
  if (absl::Status status = log_.Keep(); !status.ok() && !absl::IsResourceExhausted(status)) {
    return status;
  }
  renewing_ = std::thread([this] {
    Repeat(stop_, renew_every_, "the lease cannot be renewed",
           [this] { return ownership_.Renew(); });
  });
  keeping_ = std::thread([this] {
    Repeat(stop_, kKeepEvery, "the log cannot be trimmed", [this] { return log_.Keep(); });
  });
  return absl::OkStatus();
}

}  // namespace plumblane
