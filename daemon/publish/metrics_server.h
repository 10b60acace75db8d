// Serves metrics over HTTP at /metrics, in the text format 0.0.4.
#pragma once

#include <absl/status/statusor.h>
#include <prometheus/collectable.h>

#include <memory>
#include <string>

namespace prometheus {
class Exposer;
}

namespace plumblane {

class MetricsServer {
 public:
  // `address` is "HOST:PORT" with 127.0.0.1, localhost or [::1]. Error UNAVAILABLE: it cannot be
  // listened on.
  static absl::StatusOr<std::unique_ptr<MetricsServer>> Listen(
      const std::string& address, std::shared_ptr<prometheus::Collectable> metrics);
  // Waits for scrapes that are being answered.
  ~MetricsServer();

  int port() const;

 private:
  MetricsServer(std::unique_ptr<prometheus::Exposer> exposer,
                std::shared_ptr<prometheus::Collectable> metrics);

  const std::shared_ptr<prometheus::Collectable> metrics_;
  const std::unique_ptr<prometheus::Exposer> exposer_;
};

}  // namespace plumblane
