#include "delivery/hook.h"

#include <absl/strings/ascii.h>
#include <absl/strings/str_cat.h>
#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <spawn.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/timerfd.h>
#include <sys/wait.h>
#include <unistd.h>

extern "C" {
#include <sys/pidfd.h>  // of C only in this version of the library
}

#include <algorithm>
#include <cassert>
#include <cerrno>

#include "delivery/cloud_event.h"

namespace plumblane {
namespace {

constexpr size_t kMostErrorBytes = 500;
constexpr int kTempFail = 75;  // EX_TEMPFAIL of sysexits.h

class Fd {
 public:
  explicit Fd(int fd = -1) : fd_(fd) {}
  ~Fd() {
    if (fd_ >= 0) close(fd_);
  }
  Fd(const Fd&) = delete;
  Fd& operator=(const Fd&) = delete;
  int get() const { return fd_; }
  bool ok() const { return fd_ >= 0; }
  void Close() {
    close(fd_);
    fd_ = -1;
  }

 private:
  int fd_;
};

// A file in memory that holds the text, at its beginning.
int FileOf(const std::string& text) {
  const int fd = memfd_create("plumblane-message", MFD_CLOEXEC);
  for (size_t at = 0; fd >= 0 && at < text.size();) {
    const ssize_t written = write(fd, text.data() + at, text.size() - at);
    if (written <= 0) break;
    at += static_cast<size_t>(written);
  }
  if (fd >= 0) lseek(fd, 0, SEEK_SET);
  return fd;
}

// Readable once so much time has passed on the steady clock.
int TimerOf(int64_t seconds) {
  const int fd = timerfd_create(CLOCK_MONOTONIC, TFD_CLOEXEC);
  const itimerspec once{{}, {seconds, 0}};
  if (fd >= 0) timerfd_settime(fd, 0, &once, nullptr);
  return fd;
}

// 0, or the error number.
int Spawn(const std::vector<std::string>& command, int in, int err, pid_t& pid) {
  posix_spawn_file_actions_t files;
  posix_spawn_file_actions_init(&files);
  posix_spawn_file_actions_adddup2(&files, in, STDIN_FILENO);
  posix_spawn_file_actions_addopen(&files, STDOUT_FILENO, "/dev/null", O_WRONLY, 0);
  posix_spawn_file_actions_adddup2(&files, err, STDERR_FILENO);
  posix_spawn_file_actions_addclosefrom_np(&files, STDERR_FILENO + 1);

  posix_spawnattr_t attributes;
  posix_spawnattr_init(&attributes);
  posix_spawnattr_setflags(&attributes,
                           POSIX_SPAWN_SETPGROUP | POSIX_SPAWN_SETSIGMASK | POSIX_SPAWN_SETSIGDEF);
  posix_spawnattr_setpgroup(&attributes, 0);
  sigset_t none, all;
  sigemptyset(&none);
  sigfillset(&all);
  posix_spawnattr_setsigmask(&attributes, &none);
  posix_spawnattr_setsigdefault(&attributes, &all);

  std::vector<char*> arguments;
  arguments.reserve(command.size() + 1);
  for (const std::string& word : command) arguments.push_back(const_cast<char*>(word.c_str()));
  arguments.push_back(nullptr);
  char path[] = "PATH=/usr/local/bin:/usr/bin:/bin", language[] = "LANG=C.UTF-8";
  char* const environment[] = {path, language, nullptr};
  const int error =
      posix_spawn(&pid, arguments[0], &files, &attributes, arguments.data(), environment);
  posix_spawnattr_destroy(&attributes);
  posix_spawn_file_actions_destroy(&files);
  return error;
}

// Keeps the beginning of what can be read; false at its end.
bool ReadSome(int fd, std::string& kept) {
  char bytes[4096];
  const ssize_t count = read(fd, bytes, sizeof(bytes));
  if (count <= 0) return count < 0 && errno == EINTR;
  kept.append(bytes, std::min(static_cast<size_t>(count), kMostErrorBytes - kept.size()));
  return true;
}

enum class End { kExited, kTimeOver, kStopped };

// Until the program exits, its time is over or the daemon stops.
End Watch(int process, int timer, const StopEvent& stop, int err, std::string& said) {
  pollfd waited[] = {
      {process, POLLIN, 0}, {timer, POLLIN, 0}, {stop.fd(), POLLIN, 0}, {err, POLLIN, 0}};
  for (;;) {
    if (poll(waited, 4, -1) < 0) continue;
    if (waited[3].revents != 0 && !ReadSome(err, said)) waited[3].fd = -1;
    if (waited[0].revents != 0) return End::kExited;
    if (waited[1].revents != 0) return End::kTimeOver;
    if (waited[2].revents != 0) return End::kStopped;
  }
}

// One printable line.
std::string Printable(std::string said) {
  for (char& c : said) {
    if (absl::ascii_iscntrl(static_cast<unsigned char>(c))) c = ' ';
  }
  absl::StripAsciiWhitespace(&said);
  return said;
}

SendResult ResultOf(int status, const std::string& said) {
  const std::string words = said.empty() ? "" : ": " + said;
  if (WIFSIGNALED(status)) {
    return {.kind = SendResult::Kind::kFailed,
            .detail = absl::StrCat("ended by signal ", WTERMSIG(status), words)};
  }
  const int code = WEXITSTATUS(status);
  if (code == 0) return {.detail = "exit code 0"};
  return {.kind = code == kTempFail ? SendResult::Kind::kFailed : SendResult::Kind::kRefused,
          .code = code,
          .detail = absl::StrCat("exit code ", code, words)};
}

}  // namespace

SendResult Hook::Send(std::span<const Message> messages, Instant /*now*/, const StopEvent& stop) {
  assert(messages.size() == 1);
  const auto failed = [](int error) {
    return SendResult{.kind = SendResult::Kind::kFailed,
                      .detail = absl::StrCat("cannot be started: ", strerror(error))};
  };
  const Fd in(FileOf(CloudEventOf(messages.front())));
  int ends[2] = {-1, -1};
  if (!in.ok() || pipe2(ends, O_CLOEXEC) != 0) return failed(errno);
  const Fd err(ends[0]);
  Fd err_of_program(ends[1]);
  fcntl(err.get(), F_SETFL, O_NONBLOCK);
  const Fd timer(TimerOf(options_.timeout_seconds));
  if (!timer.ok()) return failed(errno);
  pid_t pid = 0;
  if (const int error = Spawn(options_.command, in.get(), err_of_program.get(), pid); error != 0) {
    return failed(error);
  }
  err_of_program.Close();

  const Fd process(pidfd_open(pid, 0));
  std::string said;
  const End end =
      process.ok() ? Watch(process.get(), timer.get(), stop, err.get(), said) : End::kTimeOver;
  // Before it is reaped, so that its group cannot be another's.
  kill(-pid, SIGKILL);
  int status = 0;
  while (waitpid(pid, &status, 0) < 0 && errno == EINTR) {
  }
  if (end == End::kStopped) return {.kind = SendResult::Kind::kInterrupted};
  while (said.size() < kMostErrorBytes && ReadSome(err.get(), said)) {
  }
  said = Printable(std::move(said));
  if (end == End::kTimeOver) {
    return {.kind = SendResult::Kind::kFailed,
            .detail = absl::StrCat("not done within ", options_.timeout_seconds, " s, killed",
                                   said.empty() ? "" : ": ", said)};
  }
  return ResultOf(status, said);
}

}  // namespace plumblane
