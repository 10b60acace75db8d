#include "client/cli_parts.h"
#include "client/option_values.h"

namespace plumblane::client {

void AddAccess(CLI::App& app, Invocation& to) {
  AccessFiles& files = to.access;
  AddParsed(app, "--token-file", "FILE", "The token is in it; else in PLUMBLANE_TOKEN", ParseText,
            files.token);
  AddParsed(app, "--tls-ca", "FILE", "TLS: who signs the daemon's certificate (PEM)", ParseText,
            files.ca);
  AddParsed(app, "--tls-cert", "FILE", "TLS: your certificate (PEM)", ParseText, files.certificate);
  AddParsed(app, "--tls-key", "FILE", "TLS: its key (PEM)", ParseText, files.key);
}

}  // namespace plumblane::client
