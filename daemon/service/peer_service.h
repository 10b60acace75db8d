// A daemon's copy of its data on its way to another that has none: both ends.
#pragma once

#include <absl/status/status.h>
#include <grpcpp/channel.h>
#include <plumblane/v1/peers.grpc.pb.h>

#include <functional>
#include <memory>
#include <string>

#include "service/one_at_a_time.h"

namespace plumblane {

// Takes a piece of the file with that path below the copy's directory; files come one after the
// other. False: no more is wanted.
using TakeCopyPiece = std::function<bool(const std::string& file, std::string bytes)>;

class PeersService final : public v1::Peers::CallbackService {
 public:
  // Reads the latest copy; NOT_FOUND when there is none. None: this daemon keeps no copies.
  using ReadCopyFiles = std::function<absl::Status(const TakeCopyPiece&)>;
  explicit PeersService(ReadCopyFiles read = {}) : read_(std::move(read)) {}

  grpc::ServerWriteReactor<v1::CopyPiece>* ReadCopy(grpc::CallbackServerContext* context,
                                                    const v1::ReadCopyRequest* request) override;

 private:
  const ReadCopyFiles read_;
  OneAtATime reading_;
};

// The other end. `token` is shown unless it is "". Errors: as the daemon says; CANCELLED when
// `take` wants no more.
absl::Status FetchCopy(const std::shared_ptr<grpc::Channel>& channel, const std::string& token,
                       const TakeCopyPiece& take);

}  // namespace plumblane
