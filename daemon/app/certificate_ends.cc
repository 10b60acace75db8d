#include "app/certificate_ends.h"

#include <spdlog/spdlog.h>

#include <algorithm>

#include "access/secret.h"

namespace plumblane {
namespace {

constexpr int64_t kWarnMillis = 14 * kMillisPerDay;

}  // namespace

CertificateEnds EndsOfCertificates(const AccessFiles& access, const ClusterSettings& cluster) {
  CertificateEnds ends;
  const auto add_first = [&ends](const char* key, const std::string& pem) {
    if (const auto all = EndsOf(pem); !all.empty()) ends.emplace_back(key, all.front());
  };
  const auto add_last = [&ends](const char* key, const std::string& pem) {
    const auto all = EndsOf(pem);
    if (!all.empty()) ends.emplace_back(key, *std::max_element(all.begin(), all.end()));
  };
  add_first("tls.certificate", access.certificate);
  add_last("tls.client_ca", access.client_ca);
  add_first("cluster.certificate", cluster.certificate);
  add_last("cluster.ca", cluster.ca);
  return ends;
}

void WarnOfEnds(const CertificateEnds& ends, Instant now) {
  for (const auto& [key, end] : ends) {
    if (end <= now) {
      spdlog::error("{}: expired at {}: connections fail", key, FormatInstant(end));
    } else if (end - now < kWarnMillis) {
      spdlog::warn("{}: expires at {}", key, FormatInstant(end));
    }
  }
}

}  // namespace plumblane
