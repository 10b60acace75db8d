// Who may come from where, and how much they may ask for, as the settings say.
#pragma once

#include <absl/status/statusor.h>

#include <memory>
#include <string>
#include <vector>

#include "access/gate.h"
#include "access/token_book.h"
#include "base/private_file.h"

namespace plumblane {

struct AccessSettings {
  std::string token_file;  // "" = nobody needs a token
  std::string audit_file;  // "" = audit.ndjson in the data directory
  // Files, PEM; of the daemon, and of who signs its clients' certificates.
  std::string certificate_file, key_file, client_ca_file;
  Gate::Options gate;
  int64_t memory_mib = 256;    // for all that is being received and sent
  int64_t connections = 4096;  // open at once
};

// What has been read from the files.
struct AccessFiles {
  std::shared_ptr<const TokenBook> tokens;  // null = nobody needs one
  std::string certificate, key, client_ca;  // "" = no TLS
};

// Checks that every address of `listen` beyond this machine has what it needs: "tls:HOST:PORT",
// with certificates and tokens. Errors name the key.
absl::Status CheckListen(const std::vector<std::string>& listen, const AccessSettings& settings);

// Reads what `settings` names. Errors name the key and the file, and show nothing of a secret.
absl::StatusOr<AccessFiles> ReadAccessFiles(const AccessSettings& settings);

// A file with PEM in it. Errors name `key` and the file.
absl::Status ReadPem(const char* key, const std::string& path, Barred barred, std::string* to);

}  // namespace plumblane
