// Until when the certificates are valid that the daemon has read. From then on connections fail,
// for reasons that are told badly where they fail; so it is told before.
#pragma once

#include <string>
#include <utility>
#include <vector>

#include "app/access_settings.h"
#include "app/cluster_settings.h"
#include "base/time.h"

namespace plumblane {

// By the key of the setting that names it. Of a certificate with those of who signed it, the first;
// of several authorities, the one that is valid longest: a new one is trusted beside the old one.
using CertificateEnds = std::vector<std::pair<std::string, Instant>>;

CertificateEnds EndsOfCertificates(const AccessFiles& access, const ClusterSettings& cluster);

// Logs those that are over, or will be within 14 days.
void WarnOfEnds(const CertificateEnds& ends, Instant now);

}  // namespace plumblane
