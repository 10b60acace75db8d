#include "client/follow.h"

#include <absl/strings/str_cat.h>
#include <signal.h>
#include <time.h>
#include <unistd.h>

#include <algorithm>
#include <filesystem>
#include <memory>
#include <random>
#include <set>
#include <sstream>
#include <utility>

#include "base/zones.h"
#include "client/event_drafts.h"
#include "client/new_lines.h"
#include "client/send.h"
#include "client/send_sources.h"
#include "client/text.h"

namespace plumblane::client {
namespace {

namespace fs = std::filesystem;

constexpr int64_t kLookMillis = 1000;
constexpr int64_t kFirstRetryMillis = 1000, kLastRetryMillis = 60'000;
constexpr int kMostLooksHeld = 60;  // at a quoted field that is not closed

sigset_t StopSignals() {
  sigset_t signals;
  sigemptyset(&signals);
  sigaddset(&signals, SIGINT);
  sigaddset(&signals, SIGTERM);
  return signals;
}

// True when the program is to stop.
bool WaitForStop(int64_t millis) {
  const sigset_t signals = StopSignals();
  const timespec patience{millis / 1000, millis % 1000 * 1'000'000};
  return sigtimedwait(&signals, nullptr, &patience) > 0;
}

bool IsToBeFollowed(const fs::path& path, bool is_mapped) {
  const std::string end = path.extension().string();
  if (path.filename().string().starts_with('.')) return false;
  if (is_mapped) return end == ".csv" || end == ".tsv" || end == ".txt";
  return end == ".csv" || end == ".json" || end == ".ndjson" || end == ".jsonl";
}

class Follower {
 public:
  Follower(const SendOptions& options, const SendSources& with, bool json, const Zones& zones,
           Servers& servers, const Io& io)
      : options_(options),
        with_(with),
        json_(json),
        zones_(zones),
        servers_(servers),
        io_(io),
        state_(FollowStatePath(options.follow, servers.at().address())) {
    if (!state_.Save()) {
      io_.err << "how far it has come cannot be kept: neither XDG_STATE_HOME nor HOME names a "
                 "place for it; when started again it sends everything again\n";
    }
  }

  ExitCode Run() {
    int64_t retry_millis = kFirstRetryMillis;
    while (!is_stopped_) {
      const bool is_reached = SendAllNew();
      int64_t millis = kLookMillis;
      if (is_reached) {
        retry_millis = kFirstRetryMillis;
      } else {
        millis = std::uniform_int_distribution<int64_t>(retry_millis / 2, retry_millis)(random_);
        retry_millis = std::min(2 * retry_millis, kLastRetryMillis);
      }
      is_stopped_ = is_stopped_ || WaitForStop(millis);
    }
    for (const auto& [path, followed] : followed_) {
      if (followed.way.send != 0) {
        (void)FinishSend(followed.way.send, followed.rejected, absl::ZeroDuration(), servers_);
      }
    }
    return kDone;
  }

 private:
  struct Followed {
    FileWay way;
    int64_t size = -1;  // at the last look
    int held = 0;       // looks that found a quoted field open
    int64_t rejected = 0;
    std::string error;  // said last
  };

  std::vector<std::string> Paths() const {
    std::error_code ignored;
    const fs::path root = fs::absolute(options_.follow, ignored).lexically_normal();
    if (!fs::is_directory(root, ignored)) return {root.string()};
    std::vector<std::string> paths;
    for (const fs::directory_entry& entry : fs::directory_iterator(root, ignored)) {
      if (IsToBeFollowed(entry.path(), with_.map != nullptr) && entry.is_regular_file(ignored)) {
        paths.push_back(entry.path().string());
      }
    }
    std::sort(paths.begin(), paths.end());
    return paths;
  }

  bool FollowsDirectory() const {
    std::error_code ignored;
    return fs::is_directory(options_.follow, ignored);
  }

  // False when the daemon could not be reached, or broke off.
  bool SendAllNew() {
    for (const std::string& path : Paths()) {
      if (!FinishReplaced(path) || !SendNew(path, path, /*at_end=*/false)) return false;
      if (is_stopped_) return true;
    }
    return true;
  }

  // Of a file that another one stands in place of now: sends what was left of it.
  bool FinishReplaced(const std::string& path) {
    struct stat now {};
    const auto place = state_.files().find(path);
    if (stat(path.c_str(), &now) != 0) return true;
    if (place == state_.files().end()) {
      KnowByInode(path, now);
      return true;
    }
    if (IsAt(now, place->second)) return true;
    std::error_code ignored;
    for (const fs::directory_entry& entry :
         fs::directory_iterator(fs::path(path).parent_path(), ignored)) {
      struct stat other {};
      if (stat(entry.path().c_str(), &other) == 0 && IsAt(other, place->second)) {
        return SendNew(path, entry.path().string(), /*at_end=*/true);
      }
    }
    return true;
  }

  // A file that was followed under another name goes on where it was.
  void KnowByInode(const std::string& path, const struct stat& now) {
    for (const auto& [name, place] : state_.files()) {
      if (!IsAt(now, place)) continue;
      const FilePlace known = place;
      state_.files()[path] = known;
      return;
    }
  }

  // Sends what came to the file at `from`, which is known as `path`.
  bool SendNew(const std::string& path, const std::string& from, bool at_end) {
    Followed& followed = followed_[path];
    while (!is_stopped_) {
      std::string error;
      const LookHow how = {.whole = with_.map != nullptr,
                           .patient = followed.held < kMostLooksHeld,
                           .at_end = at_end};
      Looked looked = LookForLines(from, state_.files()[path], followed.size, how, &error);
      followed.size = looked.size;
      followed.held = looked.is_held ? followed.held + 1 : 0;
      if (error != std::exchange(followed.error, error) && !error.empty()) {
        io_.err << path << ": " << error << "\n";
      }
      if (!looked.portion) return true;
      if (!SendPortion(path, from, *looked.portion, followed)) return false;
      state_.files()[path] = looked.portion->after;
      state_.Save();
      is_stopped_ = WaitForStop(0);
    }
    return true;
  }

  // The lines, or by the map the whole table, of the file at `from`.
  std::variant<std::unique_ptr<DraftSource>, Refusal> Open(const std::string& path,
                                                           const std::string& from,
                                                           const Portion& portion) {
    if (with_.map) {
      close(portion.fd);
      return OpenSource(from, options_, io_, with_);
    }
    EventFile::Opened opened =
        EventFile::OpenPart(path, portion.fd, portion.lines_before, options_.format);
    if (Refusal* refusal = std::get_if<Refusal>(&opened)) return std::move(*refusal);
    return std::make_unique<EventDrafts>(std::get<std::unique_ptr<EventFile>>(std::move(opened)),
                                         DefaultsOf(options_));
  }

  bool SendPortion(const std::string& path, const std::string& from, const Portion& portion,
                   Followed& followed) {
    auto opened = Open(path, from, portion);
    if (const Refusal* refusal = std::get_if<Refusal>(&opened)) {
      io_.err << refusal->message << "; it is passed over\n";
      return true;
    }
    DraftSource& drafts = *std::get<std::unique_ptr<DraftSource>>(opened);
    if (!servers_.WaitUntilReady()) return Say("the daemon cannot be reached");
    (void)servers_.SeekOwner(absl::ZeroDuration());
    if (followed.way.send == 0) {
      followed.way.reports_news = FollowsDirectory();
      followed.way.adds_to_rejected = !with_.map;  // a whole table is told of whole
      const grpc::Status begun = BeginSend({path}, options_, servers_.at(), &followed.way.send);
      if (!begun.ok()) return Say(Explain(begun, servers_.Place()));
    }
    if (!resolver_) resolver_ = std::make_unique<Resolver>(&zones_, LookUpBy(servers_));
    std::ostringstream said;
    const Io quiet{io_.out, said, io_.in_fd, /*err_is_terminal=*/false, io_.width};
    FileReport report;
    const ExitCode code =
        SendFile(options_, drafts, followed.way, *resolver_, servers_, quiet, &report);
    if (code != kDone && code != kSomeRejected) {
      resolver_.reset();                           // it may hold some of it
      if (code == kFailed) followed.way.send = 0;  // it may have been taken back
      return Say(said.str());
    }
    if (!trouble_.empty()) io_.err << "the daemon is there again\n";
    trouble_.clear();
    io_.err << said.str();
    followed.rejected += report.rejected;
    if (report.events > 0) {
      io_.out << (json_ ? ToJsonLine(report) : ToLine(report)) << "\n" << std::flush;
    }
    return true;
  }

  // Says once what is wrong until something else is; false.
  bool Say(const std::string& trouble) {
    if (trouble_.empty()) {
      io_.err << trouble.substr(0, trouble.find('\n')) << "; trying again\n" << std::flush;
    }
    trouble_ = trouble;
    return false;
  }

  const SendOptions& options_;
  const SendSources& with_;
  const bool json_;
  const Zones& zones_;
  Servers& servers_;
  const Io& io_;
  FollowState state_;
  std::map<std::string, Followed> followed_;
  std::unique_ptr<Resolver> resolver_;
  std::string trouble_;  // "" = none
  std::mt19937_64 random_{std::random_device{}()};
  bool is_stopped_ = false;
};

}  // namespace

void BlockStopSignals() {
  const sigset_t signals = StopSignals();
  pthread_sigmask(SIG_BLOCK, &signals, nullptr);
}

ExitCode RunFollow(const SendOptions& options, bool json, Servers& servers, const Io& io) {
  const absl::StatusOr<Zones> zones = Zones::Load(options.time_zone);
  if (!zones.ok()) {
    io.err << std::string(zones.status().message()) << "\n";
    return absl::IsInvalidArgument(zones.status()) ? kUsage : kFailed;
  }
  SendSources with;
  if (const ExitCode code = LoadMap(options, io, with); code != kDone) return code;
  return Follower(options, with, json, *zones, servers, io).Run();
}

}  // namespace plumblane::client
