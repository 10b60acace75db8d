// The client's settings file: what need not be typed each time.
//
// TOML; every key optional: `server` (the daemon's address), `plain` (as --plain), `token_file`, of
// [tls] the files `ca`, `certificate` and `key` (as --tls-ca, --tls-cert, --tls-key), and of [send]
// `shop`, `source` and `time_zone` (as the options of `send`). What the command line,
// PLUMBLANE_SERVER or PLUMBLANE_TOKEN says goes before it.
#pragma once

#include <absl/status/statusor.h>

#include <string>

#include "client/access.h"

namespace plumblane::client {

struct Settings {
  std::string server;  // "" = not given; so below
  AccessFiles access;
  bool plain = false;
  std::string shop, source, time_zone;
};

// PLUMBLANE_SETTINGS, else plumblane/client.toml in XDG_CONFIG_HOME, else in ~/.config; "" without
// a home.
std::string SettingsPath();

// Settings as if the file were empty when there is none at `path` (unless `must_exist`).
// Errors: NOT_FOUND; INVALID_ARGUMENT for what is not understood, all of it, one "path:line: key:
// what was expected" a line.
absl::StatusOr<Settings> ReadSettings(const std::string& path, bool must_exist);

}  // namespace plumblane::client
