#include "app/peer_channel.h"

#include <absl/strings/match.h>

namespace plumblane {
namespace {

constexpr char kTlsMark[] = "tls:";
constexpr int kMostMessageBytes = 8 << 20;
// A peer that says nothing for so long has gone.
constexpr int kPingMillis = 5'000, kPingPatienceMillis = 5'000;

}  // namespace

std::shared_ptr<grpc::Channel> ChannelTo(const std::string& address,
                                         const ClusterSettings& cluster) {
  grpc::ChannelArguments arguments;
  arguments.SetInt(GRPC_ARG_ENABLE_HTTP_PROXY, 0);
  arguments.SetInt(GRPC_ARG_KEEPALIVE_TIME_MS, kPingMillis);
  arguments.SetInt(GRPC_ARG_KEEPALIVE_TIMEOUT_MS, kPingPatienceMillis);
  arguments.SetInt(GRPC_ARG_HTTP2_MAX_PINGS_WITHOUT_DATA, 0);  // no limit
  arguments.SetMaxReceiveMessageSize(kMostMessageBytes);
  if (!absl::StartsWith(address, kTlsMark)) {
    return grpc::CreateCustomChannel(address, grpc::InsecureChannelCredentials(), arguments);
  }
  return grpc::CreateCustomChannel(
      address.substr(sizeof(kTlsMark) - 1),
      grpc::SslCredentials({cluster.ca, cluster.key, cluster.certificate}), arguments);
}

}  // namespace plumblane
