// Parts of submissions between daemons that share a log of several partitions: handed on to the one
// that owns their partitions, and taken by it (engine/many_engines.h).
//
// Who hands on has checked the events, filled them in and seen to what their sender may send; who
// takes sees to it that only an operator's token, or without tokens another daemon's certificate,
// hands on to it. A part that arrives twice changes nothing, so a call that fails leaves nothing to
// be cleared up.
#pragma once

#include <grpcpp/grpcpp.h>
#include <plumblane/peer/v1/peers.grpc.pb.h>

#include <condition_variable>
#include <deque>
#include <functional>
#include <map>
#include <memory>
#include <mutex>
#include <set>
#include <span>
#include <string>
#include <utility>
#include <vector>

#include "engine/many_engines.h"

namespace plumblane {

class PeersService final : public peer::v1::Peers::CallbackService {
 public:
  using Take = std::function<void(uint32_t partition, Submission&& content, Desk::Answer answer)>;
  explicit PeersService(Take take) : take_(std::move(take)) {}

  grpc::ServerUnaryReactor* TakeParts(grpc::CallbackServerContext* context,
                                      const peer::v1::TakePartsRequest* request,
                                      peer::v1::TakePartsResponse* response) override;

 private:
  const Take take_;
};

// Thread-safe.
class Peers final : public OtherDesks {
 public:
  // How the others are spoken to: all alike. `token`: "" = none is shown.
  Peers(std::shared_ptr<grpc::ChannelCredentials> credentials, std::string token)
      : credentials_(std::move(credentials)), token_(std::move(token)) {}
  ~Peers() override { Stop(); }

  // So many calls to one daemon are under way at most; others wait.
  static constexpr size_t kMostCalls = 32;
  void Submit(const std::string& address, std::span<const PartOfSubmission* const> parts,
              Answers answers) override;

  // Calls under way are cut, and answered; no more are made.
  void Stop();

 private:
  struct Call;
  struct Peer {
    std::unique_ptr<peer::v1::Peers::Stub> stub;
    size_t open = 0;
    std::deque<std::shared_ptr<Call>> waiting;
  };
  void Make(const std::shared_ptr<Call>& call);
  void Finish(const std::shared_ptr<Call>& call, const grpc::Status& status);

  const std::shared_ptr<grpc::ChannelCredentials> credentials_;
  const std::string token_;
  std::mutex mutex_;
  std::condition_variable finished_;
  std::map<std::string, Peer> peers_;      // by address; guarded by mutex_
  std::set<std::shared_ptr<Call>> calls_;  // under way or waiting; guarded by mutex_
  bool stopped_ = false;                   // guarded by mutex_
};

}  // namespace plumblane
