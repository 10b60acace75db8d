// Serves metrics over HTTP at /metrics: in the text format 0.0.4, or as OpenMetrics 1.0 to who asks
// for that.
#pragma once

#include <absl/status/statusor.h>
#include <prometheus/collectable.h>

#include <memory>
#include <string>

class CivetServer;

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
  class Page;
  MetricsServer(std::unique_ptr<CivetServer> server,
                std::shared_ptr<prometheus::Collectable> metrics);

  const std::unique_ptr<Page> page_;
  const std::unique_ptr<CivetServer> server_;  // ends before the page
};

}  // namespace plumblane
