#include "client/servers.h"

#include <absl/strings/ascii.h>
#include <absl/strings/str_split.h>
#include <absl/time/clock.h>

#include <algorithm>
#include <utility>

namespace plumblane::client {
namespace {

constexpr absl::Duration kFirstWait = absl::Milliseconds(100), kLongestWait = absl::Seconds(2);
constexpr int kAskPatienceSeconds = 5;

// What a daemon says of itself beside its answers.
struct Said {
  bool answered = false;
  bool follows = false;
  std::string owner;  // where the other one takes events; "" = nobody is known to
};

// By a question that asks nothing.
Said Ask(const Connection& connection) {
  CallContext context(kAskPatienceSeconds);
  v1::LookUpOrdersResponse nothing;
  const grpc::Status status = connection.orders()->LookUpOrders(&context, {}, &nothing);
  // Who is not let in hears so when it asks for something.
  Said said;
  said.answered = status.ok() || ExitCodeOf(status) != kOutOfReach;
  if (!said.answered) return said;
  const auto& metadata = context.GetServerInitialMetadata();
  said.follows = metadata.contains("plumblane-follows");
  if (const auto it = metadata.find("plumblane-owner"); it != metadata.end()) {
    said.owner.assign(it->second.data(), it->second.size());
  }
  return said;
}

}  // namespace

std::vector<std::string> SplitServers(const std::string& addresses) {
  std::vector<std::string> all = absl::StrSplit(addresses, ',', absl::SkipWhitespace());
  for (std::string& address : all) {
    address = std::string(absl::StripAsciiWhitespace(address));
    if (address.starts_with('/')) address = "unix:" + address;
  }
  return all;
}

Servers::Servers(std::vector<std::string> addresses, Access access)
    : addresses_(std::move(addresses)), access_(std::move(access)) {
  spoken_to_.push_back(std::make_unique<Connection>(addresses_.front(), access_));
}

bool Servers::WaitUntilReady() {
  if (at().WaitUntilReady()) return true;
  for (const std::string& address : addresses_) {
    if (address == at().address()) continue;
    auto other = std::make_unique<Connection>(address, access_);
    if (!other->WaitUntilReady()) continue;
    spoken_to_.push_back(std::move(other));
    return true;
  }
  return false;
}

bool Servers::Follows() { return at().WaitUntilReady() && Ask(at()).follows; }

std::unique_ptr<Connection> Servers::FindOwner(bool* somebody_follows) const {
  for (const std::string& address : addresses_) {
    auto here = std::make_unique<Connection>(address, access_);
    if (!here->WaitUntilReady()) continue;
    const Said said = Ask(*here);
    if (!said.answered) continue;
    if (!said.follows) return here;
    *somebody_follows = true;
    // One that has just given up the log may still be called its owner, by itself too.
    if (said.owner.empty() || said.owner == address) continue;
    if (!CheckAccess(said.owner, access_).ok()) continue;
    auto owner = std::make_unique<Connection>(said.owner, access_);
    if (owner->WaitUntilReady()) return owner;
  }
  return nullptr;
}

bool Servers::SeekOwner(absl::Duration patience) {
  if (at().WaitUntilReady()) {
    const Said said = Ask(at());
    if (said.answered && !said.follows) return false;
  }
  const absl::Time end = absl::Now() + patience;
  for (absl::Duration wait = kFirstWait;; wait = std::min(2 * wait, kLongestWait)) {
    bool somebody_follows = false;
    if (auto found = FindOwner(&somebody_follows)) {
      if (found->address() == at().address()) return false;
      spoken_to_.push_back(std::move(found));
      return true;
    }
    const bool is_alone = addresses_.size() == 1 && !somebody_follows;
    if (is_alone || absl::Now() + wait > end) return false;
    absl::SleepFor(wait);
  }
}

}  // namespace plumblane::client
