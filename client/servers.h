// The daemons that were named, and the one that is spoken to.
//
// Daemons that share a log: one takes events and all else that changes something, the others
// follow, refuse that and say where it is taken. Going on there is done here and not by the daemon
// that was asked: so the owner of the log sees who sends, by the token and the certificate that are
// shown to it, and its audit names the sender; and what became of a batch that broke off is settled
// as ever, by sending it again.
#pragma once

#include <absl/time/time.h>

#include <functional>
#include <memory>
#include <string>
#include <vector>

#include "client/connection.h"

namespace plumblane::client {

// "A,B,C": daemons that share a log. A path is a socket.
std::vector<std::string> SplitServers(const std::string& addresses);

// Not thread-safe.
class Servers {
 public:
  // REQUIRES: some addresses, and CheckAccess of each.
  Servers(std::vector<std::string> addresses, Access access);

  // Of one daemon; what it was before stays usable.
  Connection& at() const { return *spoken_to_.back(); }

  // As Connection's; where the one that is spoken to does not answer, goes to another that does.
  bool WaitUntilReady();

  // Goes to the daemon that takes events, by what those that were named say. While they know of
  // none or it does not answer, asks again for so long, with waits from 0.1 s up to 0.5 s; one that
  // is alone is not waited for. True when it is another than before; otherwise all stays.
  bool SeekOwner(absl::Duration patience);

  // Goes to another daemon, where there is one, if the one that is spoken to does not follow all.
  void SeekWhole();

  // After a break: whether there is somewhere to go on, at another daemon by now, or at the same,
  // which follows and may soon know whom. False: at the same, if at all. `is_silent`: the one that
  // is spoken to gave no answer in time, so it is not asked.
  bool GoOn(bool is_silent);

  // Makes a call that may be made again. Where the daemon does not answer or follows another, once
  // more at the one that takes events, which is waited for so long.
  grpc::Status Repeat(absl::Duration patience,
                      const std::function<grpc::Status(const Connection&)>& call);

  // Where it failed: the one that is spoken to, or all that were named, when none of them answered.
  std::string Place() const;

 private:
  enum class Role { kTakes, kFollows, kIsSilent };

  static Role RoleOf(Connection& connection);
  // Null = nobody says. Asks all but `silent`, as that takes its time.
  std::unique_ptr<Connection> FindOwner(const std::string& silent, bool* somebody_follows);
  // Whether it is another than before.
  bool MoveTo(std::unique_ptr<Connection> found);

  const std::vector<std::string> addresses_;
  const Access access_;
  std::vector<std::unique_ptr<Connection>> spoken_to_;
  bool none_answers_ = false;  // when all were asked last
};

}  // namespace plumblane::client
