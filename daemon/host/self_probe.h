// Whether the daemon answers who connects to it.
#pragma once

#include <chrono>
#include <string>

namespace plumblane {

// Whether the health service (grpc.health.v1) at `address`, "unix:PATH" or "HOST:PORT", answers in
// `time`, over a connection made for this: gRPC 1.51 hears no new ones for good after it has once
// run out of file descriptors (CVE-2023-4785), while old ones go on.
bool HealthAnswers(const std::string& address, std::chrono::milliseconds time);

}  // namespace plumblane
