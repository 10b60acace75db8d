// Several daemons over one log in etcd, as the settings say.
#pragma once

#include <absl/status/status.h>

#include <cstdint>
#include <string>
#include <vector>

namespace plumblane {

struct ClusterSettings {
  std::vector<std::string> etcd;  // HOST:PORT of its members; none = this daemon is alone
  std::string name = "plumblane";
  std::string node, address;
  int64_t lease_seconds = 3;
  int64_t reader_hours = 24;
  int64_t partitions = 1;      // of a log that is made
  std::string follow = "all";  // or "owned", of a log with several
  int64_t copy_seconds = 300;
  // Files, PEM but for the token, an operator's that is shown to the other daemons ("" = none); and
  // what was read from them.
  std::string ca_file, certificate_file, key_file, token_file;
  std::string ca, certificate, key, token;
  bool operator==(const ClusterSettings&) const = default;
};

// Checks what must hold and reads what is named: without TLS only members on this machine are
// spoken to. `listen`: the address that others are told of is the first of them that is not a
// socket, unless one is set. Errors name the key and show nothing of a secret.
absl::Status CompleteCluster(const std::vector<std::string>& listen, ClusterSettings& settings);

}  // namespace plumblane
