// Whether the daemon answers who connects to it.
#pragma once

#include <grpcpp/channel.h>

#include <chrono>
#include <memory>
#include <string>

namespace plumblane {

// Whether a connection made to `address` ("unix:PATH", "HOST:PORT" or "tls:HOST:PORT") for this is
// taken up in `time`: its other end says something or hangs up after nothing was said. A listener
// can go deaf while open connections live; gRPC 1.51's own does for good, once it has run out of
// file descriptors (CVE-2023-4785).
bool Listens(const std::string& address, std::chrono::milliseconds time);

// Whether the health service (grpc.health.v1) answers in `time`.
bool HealthAnswers(const std::shared_ptr<grpc::Channel>& channel, std::chrono::milliseconds time);

}  // namespace plumblane
