// How the client shows who it is: TLS towards daemons on other machines, and a token.
#pragma once

#include <absl/status/statusor.h>
#include <grpcpp/channel.h>

#include <memory>
#include <mutex>
#include <string>
#include <utility>

namespace plumblane::client {

// Files as the command line or the settings name them; "" = not given.
struct AccessFiles {
  std::string token;             // its first line is the token
  std::string ca;                // PEM: who signs the daemon's certificate
  std::string certificate, key;  // PEM: the client's own
};

// What has been read from them. It shows in no message.
struct Access {
  std::string token;  // "" = none
  std::string ca, certificate, key;
};

// What `given` names, and where it names nothing, what `usual` does. The token comes from
// PLUMBLANE_TOKEN when no file is named for it, never from the command line, which others can see.
// Errors INVALID_ARGUMENT: a file that cannot be read, a token or a key that others can read, a
// certificate without its key.
absl::StatusOr<Access> ReadAccess(const AccessFiles& given, const AccessFiles& usual);

// "tls:HOST:PORT" is spoken to with TLS, as is HOST:PORT when there is a `ca`; all else plainly.
// Errors INVALID_ARGUMENT: TLS without a ca; a token for a plain connection that leaves this
// machine.
absl::Status CheckAccess(const std::string& address, const Access& access);

// What the daemon said of itself beside its answers. Thread-safe.
class Remark {
 public:
  void Set(std::string text) {
    const std::lock_guard lock(mutex_);
    text_ = std::move(text);
  }
  // That it follows another daemon and how far it has come; "" = it said nothing.
  std::string text() const {
    const std::lock_guard lock(mutex_);
    return text_;
  }

 private:
  mutable std::mutex mutex_;
  std::string text_;  // guarded by mutex_
};

// A channel to the daemon that shows the token with every call, and tries again by itself what is
// safe to (retries.h). Connects lazily, never through a proxy. `remark` is kept up to date with
// what is said in answers. REQUIRES: CheckAccess.
std::shared_ptr<grpc::Channel> MakeChannel(const std::string& address, const Access& access,
                                           std::shared_ptr<Remark> remark);

}  // namespace plumblane::client
