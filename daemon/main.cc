// plumblaned: parse, run, exit code.
#include <absl/synchronization/mutex.h>
#include <google/protobuf/stubs/logging.h>
#include <signal.h>
#include <spdlog/sinks/stdout_color_sinks.h>
#include <spdlog/spdlog.h>
#include <sys/resource.h>
#include <CLI/CLI.hpp>

#include <cerrno>
#include <cstdio>
#include <iostream>
#include <optional>
#include <thread>

#include "access/token_book.h"
#include "app/access_settings.h"
#include "app/daemon.h"
#include "app/offline.h"
#include "app/settings.h"

// Read by jemalloc before anything else runs. What a large question took goes back to the system
// within a second, by a thread of its own, instead of ten seconds after the next one. An arena for
// each processor: what one thread has freed is at hand for the next on it.
extern "C" {
const char* malloc_conf =
    "background_thread:true,dirty_decay_ms:1000,muzzy_decay_ms:0,percpu_arena:percpu";
}

namespace {

struct Flags {
  std::string config, data, clock;
  std::optional<std::string> new_token;
  std::vector<std::string> listen;
  bool check_config = false;
  bool verify = false;
  std::string restore, recover;
  int64_t copy_number = 0;
  uint64_t accept_loss = 0;

  bool is_offline() const { return verify || !restore.empty() || !recover.empty(); }
};

// What is done to data that no daemon serves.
int RunOffline(const Flags& flags, const plumblane::Settings& settings) {
  if (flags.verify) return plumblane::VerifyData(settings, std::cout);
  const plumblane::AcceptedLoss accepted{flags.accept_loss};
  return flags.recover.empty()
             ? plumblane::RestoreData(settings, flags.restore, flags.copy_number, accepted,
                                      std::cout)
             : plumblane::RecoverData(settings, flags.recover, accepted, std::cout);
}

int BadSettings(absl::string_view why) {
  std::cerr << "plumblaned: " << why << "\n";
  return plumblane::kExitBadSettings;
}

int PrintNewToken(const std::string& name) {
  const std::string token = plumblane::NewToken();
  const std::string entry = plumblane::DescribeToken(name, token);
  if (const auto read = plumblane::TokenBook::Read("--new-token", entry); !read.ok()) {
    return BadSettings(read.status().message());
  }
  std::cout << "# The token, which is shown this once: give it to its bearer alone\n# " << token
            << "\n# This goes into the file of access.tokens:\n"
            << entry;
  return plumblane::kExitStopped;
}

absl::Status Apply(const Flags& flags, plumblane::Settings& settings) {
  if (!flags.config.empty()) {
    absl::Status status = plumblane::ReadSettingsFile(flags.config, settings);
    if (!status.ok()) return status;
  }
  if (!flags.data.empty()) settings.data_directory = flags.data;
  if (!flags.listen.empty()) settings.listen = flags.listen;
  if (!flags.clock.empty()) {
    const auto mode = plumblane::ReadClockMode(flags.clock);
    if (!mode.ok()) return mode.status();
    settings.engine.clock_mode = *mode;
  }
  return plumblane::CompleteSettings(settings);
}

// SIGTERM and SIGINT are blocked before any thread starts and waited for here; a second one, or a
// stop that hangs, ends the process at once, which is as safe as a power cut: nothing acknowledged
// is lost. SIGHUP has the tokens read anew.
sigset_t BlockStopSignals() {
  sigset_t signals;
  sigemptyset(&signals);
  sigaddset(&signals, SIGTERM);
  sigaddset(&signals, SIGINT);
  sigaddset(&signals, SIGHUP);
  pthread_sigmask(SIG_BLOCK, &signals, nullptr);
  signal(SIGPIPE, SIG_IGN);
  return signals;
}

// As many open files as the system lets it have: connections and tables each take one.
void RaiseFileLimit() {
  rlimit limit{};
  if (getrlimit(RLIMIT_NOFILE, &limit) != 0) return;
  limit.rlim_cur = limit.rlim_max;
  setrlimit(RLIMIT_NOFILE, &limit);
}

void WaitForStop(const sigset_t& signals, int64_t stop_seconds,
                 const std::function<void()>& reload) {
  int caught = 0;
  while (sigwait(&signals, &caught) == 0 && caught == SIGHUP) reload();
  std::thread([signals, stop_seconds] {
    const timespec patience{.tv_sec = stop_seconds, .tv_nsec = 0};
    int again = SIGHUP;
    while (again == SIGHUP || (again < 0 && errno == EINTR)) {
      again = sigtimedwait(&signals, nullptr, &patience);
    }
    spdlog::critical("stopped short: told twice, or the stop took more than {} s", stop_seconds);
    _exit(plumblane::kExitTryAgain);
  }).detach();
}

}  // namespace

int main(int argc, char** argv) {
  // Debian builds the library with its assertions, and so with a search for deadlocks at each lock
  // that a call takes.
  absl::SetMutexDeadlockDetectionMode(absl::OnDeadlockCycle::kIgnore);
  CLI::App app{
      "plumblaned: keeps order events and says how suppliers and lanes do.\n"
      "  plumblaned --data /var/lib/plumblane\n"
      "  plumblaned --config plumblane.toml --check-config\n"
      "  plumblaned --data /var/lib/plumblane --verify\n"
      "  plumblaned --data /var/lib/new --restore /mnt/backup"};
  Flags flags;
  app.add_option("--data", flags.data, "Directory for the data; made when missing")
      ->type_name("DIR");
  app.add_option(
         "--listen", flags.listen,
         "unix:PATH, HOST:PORT on this machine or tls:HOST:PORT; may be given several times")
      ->type_name("ADDRESS")
      ->take_all();
  app.add_option("--clock", flags.clock,
                 "wall (default), or events: now is the latest event time taken")
      ->type_name("wall|events");
  app.add_option("--config", flags.config, "Settings file (TOML)")->type_name("FILE");
  app.add_flag("--check-config", flags.check_config, "Check the settings and exit");
  app.add_option("--new-token", flags.new_token,
                 "Make a token: print it, and what access.tokens needs to know it by")
      ->type_name("NAME");
  CLI::Option* verify = app.add_flag(
      "--verify", flags.verify, "Count everything anew, compare with what is stored, and exit");
  CLI::Option* restore =
      app.add_option("--restore", flags.restore, "Make the data of the latest copy in a backup")
          ->type_name("BACKUP");
  app.add_option("--number", flags.copy_number, "Restore the copy with this number")
      ->type_name("N")
      ->needs(restore);
  CLI::Option* recover =
      app.add_option("--recover", flags.recover,
                     "Make a new data directory of what damaged data still holds, and say what is "
                     "missing")
          ->type_name("COPY");
  verify->excludes(restore)->excludes(recover);
  restore->excludes(recover);
  CLI::Option* accept_loss =
      app.add_option("--accept-loss", flags.accept_loss,
                     "Restore or recover although so many acknowledged log entries are missing")
          ->type_name("ENTRIES");
  app.set_version_flag("--version", "plumblaned " PLUMBLANE_VERSION);
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    return app.exit(error) == 0 ? 0 : plumblane::kExitBadSettings;
  }

  if (*accept_loss && !*restore && !*recover) {
    return BadSettings("--accept-loss goes with --restore or --recover");
  }
  if (flags.new_token) return PrintNewToken(*flags.new_token);

  plumblane::Settings settings;
  if (const absl::Status status = Apply(flags, settings); !status.ok()) {
    return BadSettings(status.message());
  }
  if (flags.check_config) {
    const auto files = plumblane::ReadAccessFiles(settings.access);
    if (!files.ok()) return BadSettings(files.status().message());
    std::cout << "settings are fine\n";
    return plumblane::kExitStopped;
  }

  // A message that cannot be read is answered; a line each would let its sender fill the log.
  google::protobuf::SetLogHandler(nullptr);
  spdlog::set_default_logger(spdlog::stderr_color_mt("plumblaned"));
  spdlog::set_pattern("%Y-%m-%dT%H:%M:%S.%eZ %l %v", spdlog::pattern_time_type::utc);
  spdlog::set_level(spdlog::level::from_str(settings.log_level));
  if (flags.is_offline()) return RunOffline(flags, settings);
  RaiseFileLimit();
  const sigset_t signals = BlockStopSignals();
  const int code = plumblane::RunDaemon(
      settings, PLUMBLANE_VERSION,
      [](const std::vector<std::string>& addresses) {
        std::string line = "ready";
        for (const std::string& address : addresses) line += " " + address;
        std::cout << line << std::endl;
      },
      [&](const std::function<void()>& reload) {
        WaitForStop(signals, settings.shutdown_seconds + plumblane::kStopGraceSeconds, reload);
      });
  spdlog::shutdown();
  return code;
}
