#include "eventlog/etcd/etcd_ownership.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_split.h>
#include <spdlog/spdlog.h>

#include <algorithm>
#include <iterator>
#include <utility>
#include <vector>

#include "eventlog/etcd/txn.h"
#include "storage/prefix_end.h"

namespace plumblane {
namespace {

// The third line of what a daemon says of itself.
constexpr char kFollowsOwned[] = "owned";

std::string NodeOf(const std::string& owner) { return owner.substr(0, owner.find('\n')); }

}  // namespace

std::string EtcdOwnership::BeatKey(const std::string& node) const {
  return client_.Key("beat/" + node);
}

void EtcdOwnership::PutBeat(etcdserverpb::TxnRequest& txn, int64_t lease) const {
  const std::lock_guard lock(mutex_);
  Put(txn, BeatKey(node_), absl::StrCat(lease_time_.count(), " ", term_), lease);
}

std::string EtcdOwnership::OwnerKey(uint32_t partition) const {
  return client_.Key(absl::StrCat("owner/", absl::Dec(partition, absl::kZeroPad4)));
}

absl::StatusOr<int64_t> EtcdOwnership::Lease() {
  {
    const std::lock_guard lock(mutex_);
    if (lease_ != 0) return lease_;
  }
  const Stopwatch since;
  const auto granted = client_.GrantLease(lease_time_);
  if (!granted.ok()) return granted.status();
  const std::lock_guard lock(mutex_);
  since_confirmed_ = since;
  return lease_ = *granted;
}

absl::StatusOr<bool> EtcdOwnership::Acquire(uint32_t partition) {
  const std::string key = OwnerKey(partition);
  etcdserverpb::TxnRequest txn;
  std::string silent;
  int64_t written = 0;
  {
    const std::lock_guard lock(mutex_);
    // A try is a write, also one in vain.
    const Claim& claim = claims_[partition];
    const bool is_others = !claim.owner.empty() && claim.owner != value_;
    if (is_others) silent = NodeOf(claim.owner);
    if (is_others && !IsSilent(silent)) return false;
    ForgetSilent();
    if (claim.fence == 0 && !WantsMore(partition)) return false;
    if (is_others) {
      written = claim.written;
      RequireRevision(txn, key, written);
      RequireRevision(txn, BeatKey(silent), beats_[silent].revision);
    } else {
      RequireAbsent(txn, key);
    }
  }
  const Stopwatch since;
  const auto lease = Lease();
  if (!lease.ok()) return lease.status();
  Put(txn, key, value_, *lease);
  PutBeat(txn, *lease);
  *txn.add_failure() = Range(key);
  auto response = client_.Txn(txn);
  if (!silent.empty()) {
    const bool is_refused = response.ok() && !response->succeeded();
    const auto* there = is_refused ? Only(*response, 0) : nullptr;
    // It was heard of, or there is no room: in either case its silence begins anew. Not when
    // another one was quicker, as that says nothing of its other partitions.
    const bool begins_anew = absl::IsResourceExhausted(response.status()) ||
                             (there != nullptr && there->mod_revision() == written);
    const std::lock_guard lock(mutex_);
    if (begins_anew) beats_.erase(silent);
  }
  if (response.ok() && !response->succeeded()) {
    const etcdserverpb::KeyValue* kept = Only(*response, 0);
    if (kept == nullptr || kept->lease() != *lease) {
      Note(partition, kept, response->header().revision());
      return false;
    }
    etcdserverpb::TxnRequest anew;
    RequireRevision(anew, key, kept->mod_revision());
    Put(anew, key, value_, *lease);
    PutBeat(anew, *lease);
    response = client_.Txn(anew);
  }
  if (absl::IsNotFound(response.status())) {  // the lease has gone
    const std::lock_guard lock(mutex_);
    lease_ = 0;
    return absl::UnavailableError(response.status().message());
  }
  if (!response.ok()) return response.status();
  if (!response->succeeded()) return false;
  const std::lock_guard lock(mutex_);
  claims_[partition] = {response->header().revision(), value_, response->header().revision()};
  beats_under_ = *lease;
  since_confirmed_ = since;
  if (!silent.empty()) spdlog::info("takes the log over from {}, which is silent", silent);
  return true;
}

void EtcdOwnership::Release(uint32_t partition) {
  etcdserverpb::TxnRequest txn;
  {
    const std::lock_guard lock(mutex_);
    Claim& claim = claims_[partition];
    if (claim.fence == 0) return;
    RequireRevision(txn, OwnerKey(partition), claim.fence);
    claim = {};
  }
  const std::string key = OwnerKey(partition);
  txn.add_success()->mutable_request_delete_range()->set_key(key);
  client_.Ask(txn).IgnoreError();  // then the lease ends it
}

bool EtcdOwnership::IsMine(uint32_t partition) const { return Fence(partition) != 0; }

void EtcdOwnership::ShareOut(uint32_t partitions) {
  const std::lock_guard lock(mutex_);
  partitions_ = partitions;
}

// Of one partition every daemon wants it: who is alive matters to nobody.
uint32_t EtcdOwnership::Share() const {
  if (partitions_ == 1) return 1;
  if (!alive_.contains(node_)) return 0;
  const auto nodes = static_cast<uint32_t>(alive_.size());
  const auto place = static_cast<uint32_t>(std::distance(alive_.begin(), alive_.find(node_)));
  return partitions_ / nodes + (place < partitions_ % nodes ? 1 : 0);
}

uint32_t EtcdOwnership::OwnedBelow(uint32_t partition) const {
  uint32_t owned = 0;
  for (const auto& [number, claim] : claims_) {
    owned += number < partition && claim.fence != 0 ? 1 : 0;
  }
  return owned;
}

bool EtcdOwnership::MayOwn(uint32_t partition) const {
  if (partition > 0 || follows_all_) return true;
  return std::none_of(alive_.begin(), alive_.end(),
                      [](const auto& one) { return one.second.follows_all; });
}

bool EtcdOwnership::WantsMore(uint32_t partition) const {
  if (!MayOwn(partition)) return false;
  if (OwnedBelow(partitions_) < Share()) return true;
  return partition == 0 && HasFirstBesides() && alive_.contains(node_);
}

bool EtcdOwnership::HasFirstBesides() const {
  return follows_all_ && std::any_of(alive_.begin(), alive_.end(),
                                     [](const auto& one) { return !one.second.follows_all; });
}

bool EtcdOwnership::IsFree(uint32_t partition) const {
  const std::lock_guard lock(mutex_);
  const auto claim = claims_.find(partition);
  const bool is_free = claim == claims_.end() || claim->second.owner.empty() ||
                       IsSilent(NodeOf(claim->second.owner));
  return is_free && WantsMore(partition);
}

std::vector<Ownership::Other> EtcdOwnership::Others() const {
  const std::lock_guard lock(mutex_);
  std::vector<Other> others;
  for (const auto& [node, other] : alive_) {
    if (node != node_) others.push_back(other);
  }
  return others;
}

bool EtcdOwnership::ShallLetGo(uint32_t partition) const {
  const std::lock_guard lock(mutex_);
  if (partitions_ == 1) return false;
  const auto claim = claims_.find(partition);
  if (claim == claims_.end() || claim->second.fence == 0) return false;
  if (!alive_.contains(node_)) return false;  // nobody can say what its share is
  if (partition == 0 && HasFirstBesides()) return false;
  return OwnedBelow(partition) >= Share() || !MayOwn(partition);
}

int64_t EtcdOwnership::Fence(uint32_t partition) const {
  const std::lock_guard lock(mutex_);
  if (!IsConfirmed()) return 0;
  const auto claim = claims_.find(partition);
  return claim == claims_.end() ? 0 : claim->second.fence;
}

bool EtcdOwnership::IsConfirmed() const {
  return since_confirmed_.Seconds() <= static_cast<double>(lease_time_.count());
}

// An owner tries to renew every sixth of the time and waits a third for an answer, which may be
// lost with a leader: so half of it is enough to be heard once there is one.
bool EtcdOwnership::IsSilent(const std::string& node) const {
  const auto beat = beats_.find(node);
  if (node == node_ || !answers_ || beat == beats_.end()) return false;
  const auto time = static_cast<double>(beat->second.lease_seconds);
  return beat->second.since.Seconds() >= time && since_answering_.Seconds() >= time / 2 &&
         since_confirmed_.Seconds() <= static_cast<double>(lease_time_.count()) / 3;
}

void EtcdOwnership::ForgetSilent() {
  std::erase_if(alive_, [this](const auto& one) { return IsSilent(one.first); });
}

std::string EtcdOwnership::OwnersAddress(uint32_t partition) const {
  const std::lock_guard lock(mutex_);
  const auto claim = claims_.find(partition);
  if (claim == claims_.end()) return "";
  const std::string& owner = claim->second.owner;
  if (owner == value_ && !IsConfirmed()) return "";  // it was this daemon
  return owner.substr(std::min(owner.size(), owner.find('\n') + 1));
}

absl::Status EtcdOwnership::Renew() {
  const uint64_t told = Term();
  absl::Status status = RenewOnce();
  if (status.ok() && told != Term()) status = RenewOnce();
  if (!status.ok()) {
    const std::lock_guard lock(mutex_);
    answers_ = false;
  }
  return status;
}

void EtcdOwnership::NoteBeats(const etcdserverpb::TxnResponse& response, int index) {
  const uint64_t term = response.header().raft_term();
  std::map<std::string, Beat> seen;
  for (const auto& kv : response.responses(index).response_range().kvs()) {
    const std::string node = kv.key().substr(BeatKey("").size());
    const std::vector<std::string> words = absl::StrSplit(kv.value(), ' ');
    Beat beat;
    uint64_t told = 0;
    if (words.size() != 2 || !absl::SimpleAtoi(words[0], &beat.lease_seconds) ||
        !absl::SimpleAtoi(words[1], &told)) {
      continue;
    }
    const auto known = beats_.find(node);
    const bool is_sign =
        known == beats_.end() || (known->second.revision != kv.mod_revision() && told == term);
    if (!is_sign) beat.since = known->second.since;
    beat.revision = kv.mod_revision();
    seen[node] = beat;
  }
  beats_ = std::move(seen);
  if (!answers_ || term_ != term) since_answering_ = {};
  answers_ = true;
  term_ = term;
}

uint64_t EtcdOwnership::Term() const {
  const std::lock_guard lock(mutex_);
  return term_;
}

absl::Status EtcdOwnership::RenewOnce() {
  const uint64_t told = Term();
  const auto lease = Lease();
  if (!lease.ok()) return lease.status();
  const Stopwatch since;
  const auto kept = client_.KeepLease(*lease);
  if (!kept.ok()) return kept.status();
  if (!*kept) {
    const std::lock_guard lock(mutex_);
    if (lease_ == *lease) lease_ = 0;
    for (auto& [partition, claim] : claims_) claim.fence = 0;
  } else if (absl::Status status = Register(*lease); !status.ok()) {
    return status;
  }
  etcdserverpb::TxnRequest txn;
  const std::string owners = client_.Key("owner/"), nodes = client_.Key("nodes/");
  *txn.add_success() = Range(owners, EndOfPrefix(owners));
  *txn.add_success() = Range(nodes, EndOfPrefix(nodes));
  const std::string beats = BeatKey("");
  *txn.add_success() = Range(beats, EndOfPrefix(beats));
  const auto response = AskAndBeat(txn, *lease);
  if (!response.ok()) return response.status();
  std::map<std::string, const etcdserverpb::KeyValue*> found;
  for (const auto& kv : response->responses(0).response_range().kvs()) found[kv.key()] = &kv;
  uint32_t partitions = 0;
  {
    const std::lock_guard lock(mutex_);
    partitions = std::max(partitions_, claims_.empty() ? 0 : claims_.rbegin()->first + 1);
    alive_.clear();
    for (const auto& kv : response->responses(1).response_range().kvs()) {
      const std::vector<std::string> lines = absl::StrSplit(kv.value(), '\n');
      alive_[kv.key().substr(nodes.size())] = {lines.size() > 1 ? lines[1] : "",
                                               lines.size() < 3 || lines[2] != kFollowsOwned};
    }
    NoteBeats(*response, 2);
  }
  for (uint32_t partition = 0; partition < partitions; ++partition) {
    const auto owner = found.find(OwnerKey(partition));
    Note(partition, owner == found.end() ? nullptr : owner->second, response->header().revision());
  }
  const std::lock_guard lock(mutex_);
  if (told == term_) since_confirmed_ = since;
  ForgetSilent();
  return absl::OkStatus();
}

absl::StatusOr<etcdserverpb::TxnResponse> EtcdOwnership::AskAndBeat(
    const etcdserverpb::TxnRequest& question, int64_t lease) {
  const auto has_owned = [&] {
    const std::lock_guard lock(mutex_);
    return beats_under_ == lease;
  };
  if (!has_owned()) return client_.Ask(question);
  etcdserverpb::TxnRequest txn = question;
  PutBeat(txn, lease);
  auto response = client_.Ask(txn);  // written twice it is as good as once
  // Without room nobody can take over either.
  if (absl::IsResourceExhausted(response.status())) return client_.Ask(question);
  return response;
}

// Where there is no room nobody hears of this daemon, until there is.
absl::Status EtcdOwnership::Register(int64_t lease) {
  {
    const std::lock_guard lock(mutex_);
    if (registered_ == lease || partitions_ == 1) return absl::OkStatus();
  }
  etcdserverpb::TxnRequest txn;
  Put(txn, client_.Key("nodes/" + node_),
      follows_all_ ? value_ : absl::StrCat(value_, "\n", kFollowsOwned), lease);
  const auto response = client_.Txn(txn);
  if (absl::IsResourceExhausted(response.status())) return absl::OkStatus();
  if (!response.ok()) return response.status();
  const std::lock_guard lock(mutex_);
  registered_ = lease;
  return absl::OkStatus();
}

void EtcdOwnership::Note(uint32_t partition, const etcdserverpb::KeyValue* key, int64_t as_of) {
  const std::lock_guard lock(mutex_);
  Claim& claim = claims_[partition];
  if (as_of < claim.fence) return;
  if (key == nullptr || key->mod_revision() != claim.fence) claim.fence = 0;
  claim.owner = key == nullptr ? "" : key->value();
  claim.written = key == nullptr ? 0 : key->mod_revision();
}

}  // namespace plumblane
