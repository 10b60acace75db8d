#include "app/cluster_settings.h"

#include <absl/strings/ascii.h>
#include <absl/strings/match.h>
#include <absl/strings/str_cat.h>

#include <algorithm>

#include "app/access_settings.h"
#include "app/setting_keys.h"
#include "engine/partitions.h"

namespace plumblane {
namespace {

// What may be part of a key in etcd.
bool IsName(const std::string& text) {
  return text.size() <= 64 && std::all_of(text.begin(), text.end(), [](unsigned char c) {
           return absl::ascii_isalnum(c) || c == '-' || c == '_' || c == '.';
         });
}

bool IsOnThisMachine(const std::string& endpoint) {
  const std::string host = endpoint.substr(0, endpoint.rfind(':'));
  return host == "127.0.0.1" || host == "localhost" || host == "[::1]";
}

}  // namespace

void AddClusterKeys(ClusterSettings& settings, std::map<std::string, Key>& keys) {
  const char* name = "up to 64 letters, digits, \"-\", \"_\" and \".\"";
  keys.insert({
      {"cluster.etcd", Texts(settings.etcd, "a list of HOST:PORT",
                             [](const std::string& text) {
                               const size_t colon = text.rfind(':');
                               return colon != std::string::npos && colon > 0 &&
                                      colon + 1 < text.size() && !absl::StrContains(text, "/");
                             })},
      {"cluster.name", Text(settings.name, name, IsName)},
      {"cluster.node", Text(settings.node, name, IsName)},
      {"cluster.address", Text(settings.address)},
      {"cluster.lease_seconds", Whole(settings.lease_seconds, 3, 600)},
      {"cluster.reader_hours", Whole(settings.reader_hours, 1, 8760)},
      {"cluster.partitions", Whole(settings.partitions, 1, kMostPartitions)},
      {"cluster.follow", Text(settings.follow, "all or owned",
                              [](const auto& text) { return text == "all" || text == "owned"; })},
      {"cluster.copy_seconds", Whole(settings.copy_seconds, 1, 86'400)},
      {"cluster.token", Text(settings.token_file)},
      {"cluster.ca", Text(settings.ca_file)},
      {"cluster.certificate", Text(settings.certificate_file)},
      {"cluster.key", Text(settings.key_file)},
  });
}

absl::Status CompleteCluster(const std::vector<std::string>& listen, ClusterSettings& settings) {
  if (settings.etcd.empty()) {
    if (settings == ClusterSettings()) return absl::OkStatus();
    return absl::InvalidArgumentError(
        "cluster.etcd: expected HOST:PORT of etcd's members, as there are other keys of [cluster]");
  }
  if (settings.name.empty()) {
    return absl::InvalidArgumentError(
        "cluster.name: expected one that all daemons of the cluster have, or none");
  }
  if (settings.node.empty()) {
    return absl::InvalidArgumentError(
        "cluster.node: expected a name that no other daemon of the cluster has");
  }
  if (settings.address.empty()) {
    for (const std::string& address : listen) {
      if (settings.address.empty() && !absl::StartsWith(address, "unix:")) {
        settings.address = address;
      }
    }
    if (settings.address.empty()) settings.address = listen.front();
  }
  if (!settings.token_file.empty()) {
    auto token = ReadPrivateFile(settings.token_file, Barred::kReadingByAll);
    if (!token.ok()) {
      return absl::InvalidArgumentError(
          absl::StrCat("cluster.token: ", std::string(token.status().message())));
    }
    settings.token = token->substr(0, token->find_first_of("\r\n"));
  }
  const int given =
      !settings.ca_file.empty() + !settings.certificate_file.empty() + !settings.key_file.empty();
  if (given != 0 && given != 3) {
    return absl::InvalidArgumentError("cluster: ca, certificate and key go together");
  }
  if (given == 0) {
    for (const std::string& endpoint : settings.etcd) {
      if (IsOnThisMachine(endpoint)) continue;
      return absl::InvalidArgumentError(absl::StrCat(
          "cluster.etcd: ", endpoint,
          " is on another machine: expected cluster.ca, cluster.certificate and cluster.key"));
    }
    return absl::OkStatus();
  }
  absl::Status status = ReadPem("cluster.ca", settings.ca_file, Barred::kNothing, &settings.ca);
  status.Update(ReadPem("cluster.certificate", settings.certificate_file, Barred::kNothing,
                        &settings.certificate));
  status.Update(ReadPem("cluster.key", settings.key_file, Barred::kReadingByAll, &settings.key));
  return status;
}

}  // namespace plumblane
