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
    std::chrono::seconds lease{5};
    std::chrono::seconds reader{86'400};
    uint32_t partitions = 1;  // of a log that is made
  };
  explicit EtcdMember(const Options& options);
  ~EtcdMember();
  EtcdMember(const EtcdMember&) = delete;
  EtcdMember& operator=(const EtcdMember&) = delete;

  // Sees to it that `store`, which has applied that many entries of each partition, is one of this
  // log, makes the log if there is none, and starts the threads. A store that has applied none goes
  // with any number of partitions; one that was a daemon's own has one. How many the log has.
  // Errors: DATA_LOSS when the log that the store knows is not there; FAILED_PRECONDITION when the
  // store has entries of its own, or another number of partitions; UNAVAILABLE.
  absl::StatusOr<uint32_t> Join(Store& store, const std::vector<uint64_t>& applied);

  // Tells `differs` when the cells here are not those of others; what cannot be told is logged.
  void CompareCells(uint32_t partition, uint64_t sequence, uint64_t hash,
                    const std::function<void(const absl::Status&)>& differs);

  EventLog& log() { return log_; }
  Ownership& ownership() { return ownership_; }

 private:
  const uint32_t partitions_;
  EtcdClient client_;
  EtcdOwnership ownership_;
  EtcdLog log_;
  const std::chrono::milliseconds renew_every_;
  StopEvent stop_;
  std::thread renewing_, keeping_;
};

}  // namespace plumblane
