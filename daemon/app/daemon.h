// The composition root: builds everything in the order it depends on each other, takes it down in
// reverse.
#pragma once

#include <absl/status/status.h>

#include <functional>
#include <string>
#include <vector>

#include "app/settings.h"

namespace plumblane {

// Exit codes of the daemon (sysexits).
inline constexpr int kExitStopped = 0;
// Do not restart: files are damaged, or acknowledged entries are missing, or the data is of a newer
// version, or --verify found a difference. A person must look.
inline constexpr int kExitDataDamaged = 65;
inline constexpr int kExitTryAgain = 75;  // disk or address not available now
inline constexpr int kExitBadSettings = 78;

// A stop that takes this much longer than the settings' shutdown_seconds hangs: end the process.
inline constexpr int kStopGraceSeconds = 20;

// Runs until `wait_for_stop` returns; calls `ready` with the addresses in use (ports filled in)
// once requests are served. The exit code; the reason of a failure is logged.
int RunDaemon(const Settings& settings, const std::string& version,
              const std::function<void(const std::vector<std::string>&)>& ready,
              const std::function<void()>& wait_for_stop);

}  // namespace plumblane
