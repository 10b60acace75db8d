#include "client/servers.h"

#include <absl/strings/ascii.h>
#include <absl/strings/str_cat.h>
#include <absl/strings/str_join.h>
#include <absl/strings/str_split.h>
#include <absl/time/clock.h>

#include <algorithm>
#include <iterator>
#include <utility>

namespace plumblane::client {
namespace {

constexpr absl::Duration kFirstWait = absl::Milliseconds(100);
constexpr absl::Duration kLongestWait = absl::Milliseconds(500);
constexpr int kAskPatienceSeconds = 5;

// What a daemon says of itself beside its answers.
struct Said {
  bool answered = false;
  bool follows = false;
  bool is_partial = false;  // not all is followed there
  std::string owner;        // where the other one takes events; "" = nobody is known to
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
  said.is_partial = metadata.contains("plumblane-partial");
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
  none_answers_ = false;
  if (at().WaitUntilReady()) return true;
  for (const std::string& address : addresses_) {
    if (address == at().address()) continue;
    auto other = std::make_unique<Connection>(address, access_);
    if (!other->WaitUntilReady()) continue;
    spoken_to_.push_back(std::move(other));
    return true;
  }
  none_answers_ = true;
  return false;
}

void Servers::SeekWhole() {
  if (!Ask(at()).is_partial) return;
  bool somebody_follows = false;
  // Those that follow all are not said to follow one.
  if (auto found = FindOwner("", &somebody_follows)) (void)MoveTo(std::move(found));
}

std::string Servers::Place() const {
  if (!none_answers_ || addresses_.size() == 1) return at().address();
  const auto last = std::prev(addresses_.end());
  return absl::StrCat(absl::StrJoin(addresses_.begin(), last, ", "), " or ", *last);
}

Servers::Role Servers::RoleOf(Connection& connection) {
  if (!connection.WaitUntilReady()) return Role::kIsSilent;
  const Said said = Ask(connection);
  if (!said.answered) return Role::kIsSilent;
  return said.follows ? Role::kFollows : Role::kTakes;
}

std::unique_ptr<Connection> Servers::FindOwner(const std::string& silent, bool* somebody_follows) {
  none_answers_ = true;
  for (const std::string& address : addresses_) {
    if (address == silent) continue;
    auto here = std::make_unique<Connection>(address, access_);
    if (!here->WaitUntilReady()) continue;
    const Said said = Ask(*here);
    if (!said.answered) continue;
    none_answers_ = false;
    if (!said.follows) return here;
    *somebody_follows = true;
    // One that has just given up the log may still be called its owner, by itself too.
    if (said.owner.empty() || said.owner == address || said.owner == silent) continue;
    if (!CheckAccess(said.owner, access_).ok()) continue;
    auto owner = std::make_unique<Connection>(said.owner, access_);
    // One that was killed and is there again is called that until its lease has run out.
    if (RoleOf(*owner) == Role::kTakes) return owner;
  }
  return nullptr;
}

bool Servers::MoveTo(std::unique_ptr<Connection> found) {
  if (found->address() == at().address()) return false;
  spoken_to_.push_back(std::move(found));
  return true;
}

bool Servers::SeekOwner(absl::Duration patience) {
  const Role here = RoleOf(at());
  none_answers_ = false;
  if (here == Role::kTakes) return false;
  std::string silent = here == Role::kIsSilent ? at().address() : "";
  const absl::Time end = absl::Now() + patience;
  for (absl::Duration wait = kFirstWait;; wait = std::min(2 * wait, kLongestWait)) {
    bool somebody_follows = false;
    if (auto found = FindOwner(silent, &somebody_follows)) return MoveTo(std::move(found));
    const bool is_alone = addresses_.size() == 1 && !somebody_follows;
    if (is_alone || absl::Now() + wait > end) return false;
    absl::SleepFor(wait);
    silent.clear();  // it may be there again
  }
}

bool Servers::GoOn(bool is_silent) {
  const Role here = is_silent ? Role::kIsSilent : RoleOf(at());
  none_answers_ = false;
  if (here == Role::kTakes) return false;
  bool somebody_follows = false;
  auto found = FindOwner(here == Role::kIsSilent ? at().address() : "", &somebody_follows);
  return (found && MoveTo(std::move(found))) || here == Role::kFollows;
}

grpc::Status Servers::Repeat(absl::Duration patience,
                             const std::function<grpc::Status(const Connection&)>& call) {
  const grpc::Status status = call(at());
  const bool followed = status.error_code() == grpc::StatusCode::FAILED_PRECONDITION;
  if (status.ok() || (!followed && ExitCodeOf(status) != kOutOfReach)) return status;
  // It may be the same one that takes events again by then.
  const bool is_there = SeekOwner(patience) || (followed && RoleOf(at()) == Role::kTakes);
  return is_there ? call(at()) : status;
}

}  // namespace plumblane::client
