#include "app/access_settings.h"

#include <absl/strings/ascii.h>
#include <absl/strings/match.h>
#include <absl/strings/numbers.h>
#include <absl/strings/str_cat.h>

#include <algorithm>

#include "app/setting_keys.h"

namespace plumblane {
namespace {

absl::Status CheckAddress(const std::string& address, const AccessSettings& settings) {
  if (absl::StartsWith(address, "unix:")) {
    // The kernel's limit for a socket's path.
    if (address.size() <= 5 || address.size() - 5 > 107) {
      return absl::InvalidArgumentError(
          absl::StrCat("listen: expected unix:PATH with a path of 1 to 107 bytes, not ", address));
    }
    return absl::OkStatus();
  }
  const bool has_tls = absl::StartsWith(address, "tls:");
  const std::string place = address.substr(has_tls ? 4 : 0);
  const size_t colon = place.rfind(':');
  const std::string host = place.substr(0, colon);
  if (colon == std::string::npos || colon == 0 || colon + 1 == place.size()) {
    return absl::InvalidArgumentError(
        absl::StrCat("listen: expected unix:PATH, HOST:PORT or tls:HOST:PORT, not ", address));
  }
  if (!has_tls && host != "127.0.0.1" && host != "localhost" && host != "[::1]") {
    return absl::InvalidArgumentError(absl::StrCat(
        "listen: ", address, " can be reached from other machines: expected tls:", address,
        " with tls.certificate, tls.key, tls.client_ca and access.tokens; without them only "
        "unix:PATH, 127.0.0.1, localhost and [::1] are served"));
  }
  if (has_tls && (settings.certificate_file.empty() || settings.token_file.empty())) {
    return absl::InvalidArgumentError(absl::StrCat(
        "listen: ", address, " needs ",
        settings.certificate_file.empty() ? "tls.certificate, tls.key and tls.client_ca"
                                          : "access.tokens"));
  }
  const std::string port = place.substr(colon + 1);
  int number = 0;
  if (!std::all_of(port.begin(), port.end(), absl::ascii_isdigit) ||
      !absl::SimpleAtoi(port, &number) || number > 65535) {
    return absl::InvalidArgumentError(
        absl::StrCat("listen: expected a port from 0 to 65535, not ", address));
  }
  return absl::OkStatus();
}

}  // namespace

absl::Status ReadPem(const char* key, const std::string& path, Barred barred, std::string* to) {
  auto text = ReadPrivateFile(path, barred);
  if (!text.ok()) {
    return absl::InvalidArgumentError(
        absl::StrCat(key, ": ", std::string(text.status().message())));
  }
  if (!absl::StrContains(*text, "-----BEGIN ")) {
    return absl::InvalidArgumentError(absl::StrCat(key, ": ", path, ": expected PEM"));
  }
  *to = *std::move(text);
  return absl::OkStatus();
}

void AddAccessKeys(AccessSettings& settings, std::map<std::string, Key>& keys) {
  keys.insert({
      {"access.tokens", Text(settings.token_file)},
      {"access.audit_file", Text(settings.audit_file)},
      {"tls.certificate", Text(settings.certificate_file)},
      {"tls.key", Text(settings.key_file)},
      {"tls.client_ca", Text(settings.client_ca_file)},
      {"limits.calls_per_client", Whole(settings.gate.calls_per_client, 1, 10'000)},
      {"limits.events_per_second", Whole(settings.gate.events_per_second, 0, 10'000'000)},
      {"limits.memory_mib", Whole(settings.memory_mib, 64, 1 << 20)},
      {"limits.connections", Whole(settings.connections, 1, 1'000'000)},
  });
}

absl::Status CheckListen(const std::vector<std::string>& listen, const AccessSettings& settings) {
  const int given = !settings.certificate_file.empty() + !settings.key_file.empty() +
                    !settings.client_ca_file.empty();
  if (given != 0 && given != 3) {
    return absl::InvalidArgumentError("tls: certificate, key and client_ca go together");
  }
  for (const std::string& address : listen) {
    if (absl::Status status = CheckAddress(address, settings); !status.ok()) return status;
  }
  return absl::OkStatus();
}

absl::StatusOr<AccessFiles> ReadAccessFiles(const AccessSettings& settings) {
  AccessFiles files;
  if (!settings.token_file.empty()) {
    auto book = TokenBook::ReadFile(settings.token_file);
    if (!book.ok()) {
      return absl::InvalidArgumentError(
          absl::StrCat("access.tokens: ", std::string(book.status().message())));
    }
    files.tokens = std::make_shared<TokenBook>(*std::move(book));
  }
  if (settings.certificate_file.empty()) return files;
  absl::Status status =
      ReadPem("tls.certificate", settings.certificate_file, Barred::kNothing, &files.certificate);
  status.Update(ReadPem("tls.key", settings.key_file, Barred::kReadingByAll, &files.key));
  status.Update(
      ReadPem("tls.client_ca", settings.client_ca_file, Barred::kNothing, &files.client_ca));
  if (!status.ok()) return status;
  return files;
}

}  // namespace plumblane
