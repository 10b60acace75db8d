#include "host/service_manager.h"

#include <absl/strings/numbers.h>
#include <absl/strings/str_cat.h>
#include <stddef.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#include <cstdlib>

namespace plumblane {
namespace {

std::string Environment(const char* name) {
  const char* value = std::getenv(name);
  return value == nullptr ? "" : value;
}

}  // namespace

ServiceManager::ServiceManager() : address_(Environment("NOTIFY_SOCKET")) {
  if (address_.empty() || address_.size() >= sizeof(sockaddr_un::sun_path)) {
    address_.clear();
    return;
  }
  if (address_[0] == '@') address_[0] = '\0';
  socket_ = socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC, 0);
  const std::string process = Environment("WATCHDOG_PID");
  if (!process.empty() && process != absl::StrCat(getpid())) return;
  int64_t micros = 0;
  if (absl::SimpleAtoi(Environment("WATCHDOG_USEC"), &micros) && micros > 0) {
    patience_ = std::chrono::microseconds(micros);
  }
}

ServiceManager::~ServiceManager() {
  if (socket_ >= 0) close(socket_);
}

void ServiceManager::StillStarting() {
  {
    const std::lock_guard lock(mutex_);
    if (since_last_ && since_last_->Seconds() < 1) return;
    since_last_.emplace();
  }
  Send("EXTEND_TIMEOUT_USEC=30000000");
}

void ServiceManager::Ready() { Send("READY=1"); }

void ServiceManager::AllIsWell() { Send("WATCHDOG=1"); }

void ServiceManager::Stopping(std::chrono::seconds within) {
  Send(absl::StrCat("STOPPING=1\nEXTEND_TIMEOUT_USEC=", std::chrono::microseconds(within).count()));
}

void ServiceManager::Send(const std::string& lines) const {
  if (address_.empty()) return;
  sockaddr_un to{};
  to.sun_family = AF_UNIX;
  address_.copy(to.sun_path, sizeof(to.sun_path) - 1);
  const auto length = static_cast<socklen_t>(offsetof(sockaddr_un, sun_path) + address_.size());
  // Not waited for: who reads it may be stuck, and this is called on the way out too.
  sendto(socket_, lines.data(), lines.size(), MSG_NOSIGNAL | MSG_DONTWAIT,
         reinterpret_cast<const sockaddr*>(&to), length);
}

}  // namespace plumblane
