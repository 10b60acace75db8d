// A daemon's part in a log in etcd: the log, who owns it, and the two threads that keep both.
#pragma once

#include <functional>
#include <string>
#include <thread>
#include <vector>

#include "base/stop_event.h"
#include "eventlog/etcd/etcd_log.h"

namespace plumblane {

class EtcdMember {
 public:
  struct Options {
    EtcdOptions etcd;
    std::string node, address;  // see EtcdOwnership
    std::chrono::seconds lease{3};
    std::chrono::seconds reader{86'400};
  };
  explicit EtcdMember(const Options& options);
  ~EtcdMember();
  EtcdMember(const EtcdMember&) = delete;
  EtcdMember& operator=(const EtcdMember&) = delete;

  // For a daemon that has no store: the copies that it could begin with, the latest first, when the
  // log does not start with its first entry any more; from then on what follows them stays. None:
  // it needs none. Errors: UNAVAILABLE, also when no copy is told of.
  absl::StatusOr<std::vector<EtcdLog::Copy>> CopiesToBeginWith();

  // Sees to it that `store`, which has applied that many entries, is one of this log, makes the log
  // if there is none, and starts the threads. Errors: DATA_LOSS when the log that the store knows
  // is not there; FAILED_PRECONDITION when the store has entries of its own; UNAVAILABLE.
  absl::Status Join(Store& store, uint64_t applied);

  // Tells `differs` when the cells here are not those of others; what cannot be told is logged.
  void CompareCells(uint64_t sequence, uint64_t hash,
                    const std::function<void(const absl::Status&)>& differs);

  // Up to which entry this daemon's copy holds all, as it told before; 0 = it told of none.
  absl::StatusOr<uint64_t> OwnCopy() const;
  void TellCopy(uint64_t sequence) { log_.TellCopy(0, sequence, address_); }

  EventLog& log() { return log_; }
  Ownership& ownership() { return ownership_; }

 private:
  EtcdClient client_;
  EtcdOwnership ownership_;
  EtcdLog log_;
  const std::string node_, address_;
  const std::chrono::milliseconds renew_every_;
  StopEvent stop_;
  std::thread renewing_, keeping_;
};

}  // namespace plumblane
