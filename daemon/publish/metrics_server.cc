#include "publish/metrics_server.h"

#include <CivetServer.h>
#include <absl/strings/match.h>
#include <absl/strings/str_cat.h>
#include <prometheus/text_serializer.h>

#include <exception>
#include <utility>
#include <vector>

#include "publish/open_metrics.h"

namespace plumblane {

class MetricsServer::Page final : public CivetHandler {
 public:
  explicit Page(std::shared_ptr<prometheus::Collectable> metrics) : metrics_(std::move(metrics)) {}

  bool handleGet(CivetServer*, mg_connection* connection) override {
    const char* const accept = CivetServer::getHeader(connection, "Accept");
    const bool is_open = accept != nullptr && PrefersOpenMetrics(accept);
    const auto families = metrics_->Collect();
    const std::string text =
        is_open ? OpenMetricsText(families) : prometheus::TextSerializer().Serialize(families);
    const std::string head =
        absl::StrCat("HTTP/1.1 200 OK\r\nContent-Type: ",
                     is_open ? kOpenMetricsType : "text/plain; version=0.0.4; charset=utf-8",
                     "\r\nContent-Length: ", text.size(), "\r\n\r\n");
    mg_write(connection, head.data(), head.size());
    mg_write(connection, text.data(), text.size());
    return true;
  }

 private:
  const std::shared_ptr<prometheus::Collectable> metrics_;
};

MetricsServer::MetricsServer(std::unique_ptr<CivetServer> server,
                             std::shared_ptr<prometheus::Collectable> metrics)
    : page_(std::make_unique<Page>(std::move(metrics))), server_(std::move(server)) {
  server_->addHandler("/metrics", *page_);
}

MetricsServer::~MetricsServer() = default;

int MetricsServer::port() const { return server_->getListeningPorts().front(); }

absl::StatusOr<std::unique_ptr<MetricsServer>> MetricsServer::Listen(
    const std::string& address, std::shared_ptr<prometheus::Collectable> metrics) {
  std::string place = address;
  // The library knows numbers only.
  if (absl::StartsWith(place, "localhost:")) place.replace(0, 9, "127.0.0.1");
  const std::vector<std::string> options = {"listening_ports",    place, "num_threads", "2",
                                            "request_timeout_ms", "5000"};
  try {
    return std::unique_ptr<MetricsServer>(
        new MetricsServer(std::make_unique<CivetServer>(options), std::move(metrics)));
  } catch (const std::exception&) {
    return absl::UnavailableError(
        absl::StrCat("cannot serve metrics on ", address, ": is another program using it?"));
  }
}

}  // namespace plumblane
