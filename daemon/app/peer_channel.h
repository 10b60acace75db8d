// How a daemon of a cluster speaks to another.
#pragma once

#include <grpcpp/grpcpp.h>

#include <memory>
#include <string>

#include "app/cluster_settings.h"

namespace plumblane {

// With TLS to a tls: address, by the certificates of the cluster.
std::shared_ptr<grpc::Channel> ChannelTo(const std::string& address,
                                         const ClusterSettings& cluster);

}  // namespace plumblane
