// A daemon's part in a log in etcd: the log, who owns it, and the two threads that keep both.
#pragma once

#include <functional>
#include <map>
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
    uint32_t partitions = 1;  // of a log that is made
    bool follows_all = true;  // see EtcdOwnership
  };
  explicit EtcdMember(const Options& options);
  ~EtcdMember();
  EtcdMember(const EtcdMember&) = delete;
  EtcdMember& operator=(const EtcdMember&) = delete;

  // For a daemon that has no store: where to have copies that it could begin with, the latest
  // first, when some partition does not start with its first entry any more; from then on what
  // follows them stays. None: it needs none. Errors: UNAVAILABLE, also when no copy is told of.
  absl::StatusOr<std::vector<std::string>> CopiesToBeginWith();

  // Sees to it that `store`, which has applied that many entries of each partition, is one of this
  // log, makes the log if there is none, and starts the threads. A store that has applied none goes
  // with any number of partitions; one that was a daemon's own has one. How many the log has.
  // Errors: DATA_LOSS when the log that the store knows is not there; FAILED_PRECONDITION when the
  // store has entries of its own, or another number of partitions; UNAVAILABLE.
  absl::StatusOr<uint32_t> Join(Store& store, const std::vector<uint64_t>& applied);

  // Tells `differs` when the cells here are not those of others; what cannot be told is logged.
  void CompareCells(uint32_t partition, uint64_t sequence, uint64_t hash,
                    const std::function<void(const absl::Status&)>& differs);

  // Up to which entry of each partition this daemon's copy holds all, as it told before; none = it
  // told of none.
  absl::StatusOr<std::vector<uint64_t>> OwnCopy();
  void TellCopy(const std::vector<uint64_t>& holds);

  EventLog& log() { return log_; }
  Ownership& ownership() { return ownership_; }

 private:
  struct Copy {
    std::vector<uint64_t> holds;  // by partition
    std::string address;
  };
  // By node.
  absl::StatusOr<std::map<std::string, Copy>> WholeCopies(uint32_t partitions) const;

  const uint32_t partitions_;
  const bool follows_all_;
  EtcdClient client_;
  EtcdOwnership ownership_;
  EtcdLog log_;
  const std::string node_, address_;
  const std::chrono::milliseconds renew_every_;
  StopEvent stop_;
  std::thread renewing_, keeping_;
};

}  // namespace plumblane
