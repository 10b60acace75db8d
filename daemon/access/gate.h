// Lets calls in or not, each by itself: who calls, may they do this, and not too many at once.
//
// Who calls is told by the token of the call ("authorization: Bearer ...") alone. Nothing of it is
// kept with the connection, so a token lets one call in and not the next. A call without a token is
// let in as kLocalName on the Unix socket, which file rights guard, and everywhere as long as no
// tokens are set; the settings see to it that addresses beyond the machine need them.
//
// Thread-safe.
#pragma once

#include <grpcpp/server_context.h>

#include <cstdint>
#include <map>
#include <memory>
#include <mutex>
#include <string>
#include <string_view>
#include <unordered_map>

#include "access/principal.h"
#include "access/sender_terms.h"
#include "access/token_book.h"
#include "base/clock.h"

namespace plumblane {

class Gate {
 public:
  struct Options {
    int64_t calls_per_client = 64;  // open at once, of one token
    int64_t events_per_second = 0;  // of one client; 0 = as they come
  };
  // Without `book` nobody needs a token, and a token that is shown is not looked at. `clock` must
  // outlive this.
  Gate(const Options& options, std::shared_ptr<const TokenBook> book, const Clock& clock);
  ~Gate();
  Gate(const Gate&) = delete;
  Gate& operator=(const Gate&) = delete;

  struct Verdict {
    grpc::Status status;
    std::shared_ptr<const Principal> who;  // null when not let in for want of a name
    uint64_t call = 0;                     // not 0: give it to End when the call is over
  };
  // UNAUTHENTICATED, PERMISSION_DENIED or RESOURCE_EXHAUSTED when not let in; that is logged,
  // without the token, and at most once in ten seconds for each peer. `request` as MayCall has it.
  Verdict Admit(std::string_view method, const grpc::ServerContextBase& context,
                const void* request);
  void End(uint64_t id);

  // Who calls; null = nobody who is known.
  std::shared_ptr<const Principal> CallerOf(const grpc::ServerContextBase& context) const;

  // What the caller of a stream of events that was let in may send.
  SenderTerms TermsOf(const grpc::ServerContextBase& context);

  // From now on who may come. Open calls of those who may no longer are cut.
  void Replace(std::shared_ptr<const TokenBook> book);

  // Cuts open calls of tokens that have expired since. Called now and then.
  void Sweep();

  bool asks_for_tokens() const { return asks_for_tokens_; }
  // Calls not let in since the start.
  int64_t refusals() const;

 private:
  struct OpenCall {
    grpc_call* call;
    std::shared_ptr<const Principal> who;
    std::string certificate;  // its fingerprint, where some are refused
  };
  struct Refused {
    Instant told;
    int64_t untold = 0;
  };

  std::shared_ptr<const TokenBook> book() const;
  grpc::Status Refuse(std::string_view method, const grpc::ServerContextBase& context,
                      const std::shared_ptr<const Principal>& who, const absl::Status& why);
  // Cuts all open calls that `book` would not let in now.
  void CutStrangers(const TokenBook& book);

  const Options options_;
  const bool asks_for_tokens_;
  const Clock& clock_;
  const std::shared_ptr<const Principal> local_;

  mutable std::mutex mutex_;  // guards what follows
  std::shared_ptr<const TokenBook> book_;
  std::unordered_map<uint64_t, OpenCall> calls_;
  std::unordered_map<std::string, int64_t> calls_of_;  // by name
  uint64_t last_call_ = 0;
  std::map<std::string, std::unique_ptr<EventRate>> rates_;  // by name; none ever goes
  std::map<std::string, Refused> refused_;                   // by peer
  int64_t refusals_ = 0;
};

}  // namespace plumblane
