// Calls of etcd, one at a time: the members of a cluster as one, with limits of time.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>
#include <etcd/etcd.grpc.pb.h>

#include <atomic>
#include <chrono>
#include <memory>
#include <string>
#include <vector>

namespace plumblane {

struct EtcdOptions {
  // HOST:PORT of each member.
  std::vector<std::string> endpoints;
  // PEM; of who signed the members' certificates, and of this daemon. All "" = without TLS.
  std::string ca = {}, certificate = {}, key = {};
  // All keys start with it and a slash.
  std::string prefix = "plumblane";
  // How long one member may take for one call.
  std::chrono::milliseconds patience{3000};
};

// Thread-safe.
class EtcdClient {
 public:
  // REQUIRES: some endpoints.
  explicit EtcdClient(const EtcdOptions& options);
  ~EtcdClient();
  EtcdClient(const EtcdClient&) = delete;
  EtcdClient& operator=(const EtcdClient&) = delete;

  // Each is one call to one member; after one that does not answer the next call goes to another.
  // Errors: RESOURCE_EXHAUSTED when etcd has no room (what took the last of it may be written and
  // told so nevertheless); UNAVAILABLE for all that leaves the outcome open; INVALID_ARGUMENT and
  // others as etcd says.
  absl::StatusOr<etcdserverpb::TxnResponse> Txn(const etcdserverpb::TxnRequest& request);
  absl::Status Compact(int64_t revision);
  absl::StatusOr<int64_t> GrantLease(std::chrono::seconds time);
  absl::Status RevokeLease(int64_t lease);
  // False: the lease is gone.
  absl::StatusOr<bool> KeepLease(int64_t lease);

  // As Txn, again and again, at each member at least once: for what changes nothing.
  absl::StatusOr<etcdserverpb::TxnResponse> Ask(const etcdserverpb::TxnRequest& request);

  // The full key of what the log calls `name`.
  std::string Key(const std::string& name) const { return prefix_ + name; }

 private:
  struct Member;
  // `number` is the member that was called.
  absl::Status Judge(const grpc::Status& status, size_t number);

  const std::string prefix_;
  const std::chrono::milliseconds patience_;
  std::vector<std::unique_ptr<Member>> members_;
  std::atomic<size_t> current_ = 0;
};

}  // namespace plumblane
