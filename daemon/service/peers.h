// Parts of submissions between daemons that share a log of several partitions: handed on to the one
// that owns their partitions, and taken by it (engine/many_engines.h).
//
// A daemon that has no data begins with the copy that another one keeps: both ends of that, too.
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

#include "engine/arriving_state.h"
#include "engine/many_engines.h"
#include "service/one_at_a_time.h"

namespace plumblane {

// Takes a piece of the file with that path below the copy's directory; files come one after the
// other. False: no more is wanted.
using TakeCopyPiece = std::function<bool(const std::string& file, std::string bytes)>;

class PeersService final : public peer::v1::Peers::CallbackService {
 public:
  using Take = std::function<void(uint32_t partition, Submission&& content, Desk::Answer answer)>;
  // Reads the latest copy; NOT_FOUND when there is none. None: this daemon keeps no copies.
  using ReadCopyFiles = std::function<absl::Status(const TakeCopyPiece&)>;
  // As ManyEngines::ReadState. None: there are no partitions.
  using ReadState =
      std::function<absl::Status(uint32_t partition, const ManyEngines::TakeRecord& take)>;
  PeersService(ReadCopyFiles read, Take take, ReadState read_state = {})
      : read_(std::move(read)), take_(std::move(take)), read_state_(std::move(read_state)) {}

  grpc::ServerUnaryReactor* TakeParts(grpc::CallbackServerContext* context,
                                      const peer::v1::TakePartsRequest* request,
                                      peer::v1::TakePartsResponse* response) override;
  grpc::ServerWriteReactor<peer::v1::CopyPiece>* ReadCopy(
      grpc::CallbackServerContext* context, const peer::v1::ReadCopyRequest* request) override;
  grpc::ServerWriteReactor<peer::v1::PartitionPiece>* ReadPartition(
      grpc::CallbackServerContext* context, const peer::v1::ReadPartitionRequest* request) override;

 private:
  const ReadCopyFiles read_;
  const Take take_;
  const ReadState read_state_;
  OneAtATime reading_, reading_state_;
};

// `token` is shown unless it is "". Errors: as the daemon says; CANCELLED when `take` wants no
// more.
absl::Status FetchCopy(const std::shared_ptr<grpc::Channel>& channel, const std::string& token,
                       const TakeCopyPiece& take);

// Likewise the state of a partition, to `arriving`. Errors: as the daemon says, and as `arriving`.
absl::Status FetchPartition(const std::shared_ptr<grpc::Channel>& channel, const std::string& token,
                            uint32_t partition, ArrivingState& arriving);

// Thread-safe.
class Peers final : public OtherDesks {
 public:
  // A channel to the daemon with that address.
  using Dial = std::function<std::shared_ptr<grpc::Channel>(const std::string& address)>;
  // `token`: "" = none is shown.
  Peers(Dial dial, std::string token) : dial_(std::move(dial)), token_(std::move(token)) {}
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

  const Dial dial_;
  const std::string token_;
  std::mutex mutex_;
  std::condition_variable finished_;
  std::map<std::string, Peer> peers_;      // by address; guarded by mutex_
  std::set<std::shared_ptr<Call>> calls_;  // under way or waiting; guarded by mutex_
  bool stopped_ = false;                   // guarded by mutex_
};

}  // namespace plumblane
