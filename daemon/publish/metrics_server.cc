#include "publish/metrics_server.h"

#include <absl/strings/match.h>
#include <absl/strings/str_cat.h>
#include <prometheus/exposer.h>

#include <exception>
#include <utility>
#include <vector>

namespace plumblane {

MetricsServer::MetricsServer(std::unique_ptr<prometheus::Exposer> exposer,
                             std::shared_ptr<prometheus::Collectable> metrics)
    : metrics_(std::move(metrics)), exposer_(std::move(exposer)) {
  exposer_->RegisterCollectable(metrics_);
}

MetricsServer::~MetricsServer() = default;

int MetricsServer::port() const { return exposer_->GetListeningPorts().front(); }

absl::StatusOr<std::unique_ptr<MetricsServer>> MetricsServer::Listen(
    const std::string& address, std::shared_ptr<prometheus::Collectable> metrics) {
  std::string place = address;
  // The library knows numbers only.
  if (absl::StartsWith(place, "localhost:")) place.replace(0, 9, "127.0.0.1");
  const std::vector<std::string> options = {"listening_ports",    place, "num_threads", "2",
                                            "request_timeout_ms", "5000"};
  try {
    return std::unique_ptr<MetricsServer>(
        new MetricsServer(std::make_unique<prometheus::Exposer>(options), std::move(metrics)));
  } catch (const std::exception&) {
    return absl::UnavailableError(
        absl::StrCat("cannot serve metrics on ", address, ": is another program using it?"));
  }
}

}  // namespace plumblane
