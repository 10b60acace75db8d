#include "access/front_door.h"

#include <absl/strings/str_cat.h>
#include <netdb.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <poll.h>
#include <spdlog/spdlog.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>

namespace plumblane {
namespace {

constexpr int kBacklog = 1024;
constexpr std::chrono::milliseconds kPause{50};  // without a descriptor, or memory

ino_t FileBehind(int fd) {
  struct stat info {};
  return fstat(fd, &info) == 0 && S_ISSOCK(info.st_mode) ? info.st_ino : 0;
}

void SetOn(int fd, int level, int option) {
  const int on = 1;
  setsockopt(fd, level, option, &on, sizeof(on));
}

int PortOf(int fd) {
  sockaddr_storage address{};
  socklen_t size = sizeof(address);
  if (getsockname(fd, reinterpret_cast<sockaddr*>(&address), &size) != 0) return 0;
  return ntohs(address.ss_family == AF_INET6 ? reinterpret_cast<sockaddr_in6&>(address).sin6_port
                                             : reinterpret_cast<sockaddr_in&>(address).sin_port);
}

absl::Status Failed(const std::string& address, const char* why) {
  return absl::UnavailableError(absl::StrCat("cannot listen on ", address, ": ", why));
}

}  // namespace

bool ConnectionCount::Add(int fd) {
  const ino_t file = FileBehind(fd);
  const std::lock_guard lock(mutex_);
  if (open_.size() >= most_) {
    std::erase_if(open_, [](const auto& one) { return FileBehind(one.first) != one.second; });
  }
  if (open_.size() >= most_ && !open_.contains(fd)) return false;
  open_[fd] = file;
  return true;
}

absl::Status FrontDoor::Bind(const std::string& address) {
  const size_t colon = address.rfind(':');
  std::string host = address.substr(0, colon);
  if (host.starts_with('[') && host.ends_with(']')) host = host.substr(1, host.size() - 2);
  addrinfo hints{};
  hints.ai_socktype = SOCK_STREAM;
  hints.ai_flags = AI_PASSIVE | AI_NUMERICSERV;
  addrinfo* found = nullptr;
  const std::string service = address.substr(colon + 1);
  if (const int code = getaddrinfo(host.c_str(), service.c_str(), &hints, &found); code != 0) {
    return Failed(address, gai_strerror(code));
  }
  absl::Status status;
  int failure = 0;
  for (const addrinfo* one = found; one != nullptr && status.ok(); one = one->ai_next) {
    const int fd =
        socket(one->ai_family, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, one->ai_protocol);
    if (fd < 0) {
      failure = errno;
      continue;
    }
    SetOn(fd, SOL_SOCKET, SO_REUSEADDR);
    if (one->ai_family == AF_INET6) SetOn(fd, IPPROTO_IPV6, IPV6_V6ONLY);
    if (port_ != 0 && one->ai_family == AF_INET6) {
      reinterpret_cast<sockaddr_in6*>(one->ai_addr)->sin6_port =
          htons(static_cast<uint16_t>(port_));
    } else if (port_ != 0) {
      reinterpret_cast<sockaddr_in*>(one->ai_addr)->sin_port = htons(static_cast<uint16_t>(port_));
    }
    if (bind(fd, one->ai_addr, one->ai_addrlen) == 0 && listen(fd, kBacklog) == 0) {
      listeners_.push_back(fd);
      port_ = PortOf(fd);
      continue;
    }
    failure = errno;
    close(fd);
    // A name may have an address that this machine has not; one that is taken is another matter.
    if (failure == EADDRINUSE) status = Failed(address, "is another program using it?");
  }
  freeaddrinfo(found);
  if (status.ok() && listeners_.empty()) status = Failed(address, std::strerror(failure));
  return status;
}

absl::Status FrontDoor::BindSocket(const std::string& path) {
  sockaddr_un address{};
  address.sun_family = AF_UNIX;
  path.copy(address.sun_path, sizeof(address.sun_path) - 1);
  const int fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
  if (fd < 0) return Failed(path, std::strerror(errno));
  // Nobody can connect before listen, so nobody comes before the rights are set.
  if (bind(fd, reinterpret_cast<sockaddr*>(&address), sizeof(address)) != 0 ||
      chmod(path.c_str(), 0660) != 0 || listen(fd, kBacklog) != 0) {
    const int failure = errno;
    close(fd);
    return Failed(path, std::strerror(failure));
  }
  listeners_.push_back(fd);
  path_ = path;
  return absl::OkStatus();
}

void FrontDoor::Open(Take take) {
  take_ = std::move(take);
  thread_ = std::thread([this] { Run(); });
}

void FrontDoor::Close() {
  stop_.Set();
  if (thread_.joinable()) thread_.join();
  for (const int fd : listeners_) close(fd);
  listeners_.clear();
  if (!path_.empty()) unlink(path_.c_str());
  path_.clear();
}

void FrontDoor::Run() {
  std::vector<pollfd> waited{{stop_.fd(), POLLIN, 0}};
  for (const int fd : listeners_) waited.push_back({fd, POLLIN, 0});
  while (true) {
    if (poll(waited.data(), waited.size(), -1) < 0 && errno != EINTR) return;
    if (waited[0].revents != 0) return;
    bool has_room = true;
    for (size_t i = 1; i < waited.size(); ++i) {
      if (waited[i].revents != 0) has_room = Accept(waited[i].fd) && has_room;
    }
    if (!has_room && stop_.WaitFor(kPause)) return;
  }
}

// Takes one connection. False: there was no descriptor, or no room, for it.
bool FrontDoor::Accept(int listener) {
  const int fd = accept4(listener, nullptr, nullptr, SOCK_CLOEXEC | SOCK_NONBLOCK);
  if (fd < 0) {
    return errno != EMFILE && errno != ENFILE && errno != ENOBUFS && errno != ENOMEM;
  }
  if (count_ != nullptr && !count_->Add(fd)) {
    close(fd);
    if (!is_full_) spdlog::warn("as many connections are open as may be; more are closed at once");
    is_full_ = true;
    return true;
  }
  is_full_ = false;
  if (path_.empty()) SetOn(fd, IPPROTO_TCP, TCP_NODELAY);
  take_(fd);
  return true;
}

}  // namespace plumblane
