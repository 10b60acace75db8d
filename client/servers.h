// The daemons that were named, and the one that is spoken to.
//
// Daemons that share a log: one takes events and all else that changes something, the others
// follow, refuse that and say where it is taken. Going on there is done here and not by the daemon
// that was asked: so the owner of the log sees who sends, by the token and the certificate that are
// shown to it, and its audit names the sender; and what became of a batch that broke off is settled
// as ever, by sending it again.
#pragma once

#include <absl/time/time.h>

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
  // none or it does not answer, asks again for so long, with waits from 0.1 s up to 2 s; one that
  // is alone is not waited for. True when it is another than before; otherwise all stays.
  bool SeekOwner(absl::Duration patience);

  // Whether the one that is spoken to says now that it follows another.
  bool Follows();

 private:
  // Null = nobody says.
  std::unique_ptr<Connection> FindOwner(bool* somebody_follows) const;

  const std::vector<std::string> addresses_;
  const Access access_;
  std::vector<std::unique_ptr<Connection>> spoken_to_;
};

}  // namespace plumblane::client
