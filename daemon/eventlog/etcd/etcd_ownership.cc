#include "eventlog/etcd/etcd_ownership.h"

#include <absl/strings/str_cat.h>

#include <algorithm>
#include <utility>
#include <vector>

#include "eventlog/etcd/txn.h"

namespace plumblane {

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
  {
    const std::lock_guard lock(mutex_);
    // A try is a write, also one in vain.
    const std::string& owner = claims_[partition].owner;
    if (!owner.empty() && owner != value_) return false;
  }
  const Stopwatch since;
  const auto lease = Lease();
  if (!lease.ok()) return lease.status();
  const std::string key = OwnerKey(partition);
  etcdserverpb::TxnRequest txn;
  RequireAbsent(txn, key);
  Put(txn, key, value_, *lease);
  *txn.add_failure() = Range(key);
  auto response = client_.Txn(txn);
  if (response.ok() && !response->succeeded()) {
    const etcdserverpb::KeyValue* kept = Only(*response, 0);
    if (kept == nullptr || kept->lease() != *lease) {
      Note(partition, kept, response->header().revision());
      return false;
    }
    etcdserverpb::TxnRequest anew;
    RequireRevision(anew, key, kept->mod_revision());
    Put(anew, key, value_, *lease);
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
  claims_[partition] = {response->header().revision(), value_};
  since_confirmed_ = since;
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
  client_.Txn(txn).IgnoreError();  // then the lease ends it
}

bool EtcdOwnership::IsMine(uint32_t partition) const { return Fence(partition) != 0; }

int64_t EtcdOwnership::Fence(uint32_t partition) const {
  const std::lock_guard lock(mutex_);
  if (since_confirmed_.Seconds() > static_cast<double>(lease_time_.count())) return 0;
  const auto claim = claims_.find(partition);
  return claim == claims_.end() ? 0 : claim->second.fence;
}

std::string EtcdOwnership::OwnersAddress(uint32_t partition) const {
  const std::lock_guard lock(mutex_);
  const auto claim = claims_.find(partition);
  if (claim == claims_.end()) return "";
  const std::string& owner = claim->second.owner;
  return owner.substr(std::min(owner.size(), owner.find('\n') + 1));
}

absl::Status EtcdOwnership::Renew() {
  int64_t lease = 0;
  std::vector<uint32_t> partitions;
  {
    const std::lock_guard lock(mutex_);
    lease = lease_;
    for (const auto& [partition, claim] : claims_) partitions.push_back(partition);
  }
  const Stopwatch since;
  if (lease != 0) {
    const auto kept = client_.KeepLease(lease);
    if (!kept.ok()) return kept.status();
    if (!*kept) {
      const std::lock_guard lock(mutex_);
      if (lease_ == lease) lease_ = 0;
      for (auto& [partition, claim] : claims_) claim.fence = 0;
    }
  }
  for (const uint32_t partition : partitions) {
    etcdserverpb::TxnRequest txn;
    *txn.add_success() = Range(OwnerKey(partition));
    const auto response = client_.Ask(txn);
    if (!response.ok()) return response.status();
    Note(partition, Only(*response, 0), response->header().revision());
  }
  const std::lock_guard lock(mutex_);
  since_confirmed_ = since;
  return absl::OkStatus();
}

void EtcdOwnership::Note(uint32_t partition, const etcdserverpb::KeyValue* key, int64_t as_of) {
  const std::lock_guard lock(mutex_);
  Claim& claim = claims_[partition];
  if (as_of < claim.fence) return;
  if (key == nullptr || key->mod_revision() != claim.fence) claim.fence = 0;
  claim.owner = key == nullptr ? "" : key->value();
}

}  // namespace plumblane
