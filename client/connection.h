// The way to the daemon: its address, its services, and what to say when a call fails.
#pragma once

#include <grpcpp/channel.h>
#include <grpcpp/client_context.h>
#include <grpcpp/support/status.h>

#include <memory>
#include <string>

#include "client/access.h"
#include "client/exit_codes.h"
#include "plumblane/v1/agreements.grpc.pb.h"
#include "plumblane/v1/alerts.grpc.pb.h"
#include "plumblane/v1/exports.grpc.pb.h"
#include "plumblane/v1/intake.grpc.pb.h"
#include "plumblane/v1/operations.grpc.pb.h"
#include "plumblane/v1/orders.grpc.pb.h"
#include "plumblane/v1/reviews.grpc.pb.h"
#include "plumblane/v1/scores.grpc.pb.h"
#include "plumblane/v1/sourcing.grpc.pb.h"

namespace plumblane::client {

// The first that is not empty of `given` (--server), PLUMBLANE_SERVER and `usual` (the settings);
// else the socket of the user's own daemon if there is one, else the system's. A path is taken as a
// Unix socket.
std::string ServerAddress(const std::string& given, const std::string& usual = "");

// Thread-safe.
class Connection {
 public:
  // Connects lazily. REQUIRES: CheckAccess(address, access).
  explicit Connection(const std::string& address, const Access& access = {});
  // For tests.
  Connection(std::string address, std::shared_ptr<grpc::Channel> channel,
             std::shared_ptr<Remark> remark = std::make_shared<Remark>());

  // False when no daemon answers; fails at once when the address refuses.
  bool WaitUntilReady();

  const std::string& address() const { return address_; }
  const Remark& remark() const { return *remark_; }
  v1::Intake::Stub* intake() const { return intake_.get(); }
  v1::Agreements::Stub* agreements() const { return agreements_.get(); }
  v1::Alerts::Stub* alerts() const { return alerts_.get(); }
  v1::Exports::Stub* exports() const { return exports_.get(); }
  v1::Operations::Stub* operations() const { return operations_.get(); }
  v1::Orders::Stub* orders() const { return orders_.get(); }
  v1::Reviews::Stub* reviews() const { return reviews_.get(); }
  v1::Scores::Stub* scores() const { return scores_.get(); }
  v1::Sourcing::Stub* sourcing() const { return sourcing_.get(); }

 private:
  Connection(const std::string& address, const Access& access,
             const std::shared_ptr<Remark>& remark);

  const std::string address_;
  const std::shared_ptr<const Remark> remark_;
  const std::shared_ptr<grpc::Channel> channel_;
  const std::unique_ptr<v1::Agreements::Stub> agreements_;
  const std::unique_ptr<v1::Alerts::Stub> alerts_;
  const std::unique_ptr<v1::Intake::Stub> intake_;
  const std::unique_ptr<v1::Operations::Stub> operations_;
  const std::unique_ptr<v1::Orders::Stub> orders_;
  const std::unique_ptr<v1::Reviews::Stub> reviews_;
  const std::unique_ptr<v1::Scores::Stub> scores_;
  const std::unique_ptr<v1::Sourcing::Stub> sourcing_;
  const std::unique_ptr<v1::Exports::Stub> exports_;
};

// A call that waits 30 s at most, or as long as is said.
class CallContext : public grpc::ClientContext {
 public:
  explicit CallContext(int patience_seconds = 30);
};

// The exit code that a failed call stands for. REQUIRES: !status.ok().
ExitCode ExitCodeOf(const grpc::Status& status);

// What a person should read: the daemon's own words, or how to reach it.
std::string Explain(const grpc::Status& status, const std::string& address);

}  // namespace plumblane::client
