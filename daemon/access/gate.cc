#include "access/gate.h"

#include <absl/strings/str_cat.h>
#include <grpc/grpc.h>
#include <spdlog/spdlog.h>

#include <utility>
#include <vector>

#include "access/permissions.h"

namespace plumblane {
namespace {

constexpr int64_t kTellAgainMillis = 10'000;
constexpr size_t kMostPeersKept = 1000;
constexpr std::string_view kBearer = "Bearer ";

std::shared_ptr<const Principal> Local() {
  Principal local;
  local.name = kLocalName;
  local.roles = kAllRoles;
  return std::make_shared<Principal>(std::move(local));
}

// "ipv4:192.0.2.7" of "ipv4:192.0.2.7:50123".
std::string HostOf(const std::string& peer) {
  return peer.starts_with("unix") ? "unix" : peer.substr(0, peer.rfind(':'));
}

bool IsOnSocket(const grpc::ServerContextBase& context) {
  return context.peer().starts_with("unix");
}

// The token of a call; nothing = it has none. Several, or another form, are the empty token, which
// is nobody's.
std::optional<std::string_view> TokenOf(const grpc::ServerContextBase& context) {
  const auto [first, last] = context.client_metadata().equal_range("authorization");
  if (first == last) return std::nullopt;
  std::string_view text(first->second.data(), first->second.size());
  if (std::next(first) != last || !text.starts_with(kBearer)) return "";
  text.remove_prefix(kBearer.size());
  return text;
}

std::string CertificateOf(const grpc::ServerContextBase& context) {
  const auto found = context.auth_context()->FindPropertyValues("x509_pem_cert");
  return found.empty() ? "" : FingerprintOf({found[0].data(), found[0].size()});
}

grpc::Status ToGrpc(const absl::Status& status) {
  return {static_cast<grpc::StatusCode>(status.raw_code()), std::string(status.message())};
}

}  // namespace

Gate::Gate(const Options& options, std::shared_ptr<const TokenBook> book, const Clock& clock)
    : options_(options),
      asks_for_tokens_(book != nullptr),
      clock_(clock),
      local_(Local()),
      book_(std::move(book)) {}

Gate::~Gate() = default;

std::shared_ptr<const TokenBook> Gate::book() const {
  const std::lock_guard lock(mutex_);
  return book_;
}

std::shared_ptr<const Principal> Gate::CallerOf(const grpc::ServerContextBase& context) const {
  if (!asks_for_tokens_) return local_;
  const auto token = TokenOf(context);
  if (!token) return IsOnSocket(context) ? local_ : nullptr;
  return book()->Find(*token, clock_.Now());
}

Gate::Verdict Gate::Admit(std::string_view method, const grpc::ServerContextBase& context,
                          const void* request) {
  Verdict verdict;
  verdict.who = CallerOf(context);
  if (verdict.who == nullptr) {
    verdict.status =
        Refuse(method, context, nullptr,
               absl::UnauthenticatedError(TokenOf(context) ? "this token is not known here, or has "
                                                             "expired"
                                                           : "a token is needed here"));
    return verdict;
  }
  if (absl::Status may = MayCall(*verdict.who, PermissionFor(method), request); !may.ok()) {
    verdict.status = Refuse(method, context, verdict.who, may);
    return verdict;
  }
  if (verdict.who == local_) return verdict;
  const bool looks_at_certificates = book()->RefusesSome();
  std::string certificate = looks_at_certificates ? CertificateOf(context) : "";
  std::unique_lock lock(mutex_);
  absl::Status why;
  if (book_->Refuses(certificate)) {
    why = absl::UnauthenticatedError("this certificate counts no longer");
  } else if (!book_->Knows(*verdict.who, clock_.Now())) {  // replaced since
    why = absl::UnauthenticatedError("this token is not known here any more");
  } else if (int64_t& open = calls_of_[verdict.who->name]; open >= options_.calls_per_client) {
    why = absl::ResourceExhaustedError(absl::StrCat("\"", verdict.who->name, "\" has ", open,
                                                    " calls open; try again when one has ended"));
  } else {
    ++open;
    verdict.call = ++last_call_;
    grpc_call* call = const_cast<grpc::ServerContextBase&>(context).c_call();
    grpc_call_ref(call);  // the library lets go of it before it says that the call is over
    calls_.emplace(verdict.call, OpenCall{call, verdict.who, std::move(certificate)});
    return verdict;
  }
  lock.unlock();
  verdict.status = Refuse(method, context, verdict.who, why);
  return verdict;
}

void Gate::End(uint64_t id) {
  grpc_call* call = nullptr;
  {
    const std::lock_guard lock(mutex_);
    const auto it = calls_.find(id);
    const auto of = calls_of_.find(it->second.who->name);
    if (--of->second == 0) calls_of_.erase(of);
    call = it->second.call;
    calls_.erase(it);
  }
  grpc_call_unref(call);
}

SenderTerms Gate::TermsOf(const grpc::ServerContextBase& context) {
  SenderTerms terms;
  const auto who = CallerOf(context);
  if (who == nullptr) {  // replaced since; until the call is cut it may send nothing
    terms.sources = {""};
    return terms;
  }
  terms.name = who->name;
  terms.sources = who->sources;
  if (options_.events_per_second == 0) return terms;
  const std::lock_guard lock(mutex_);
  auto& rate = rates_[who->name];
  if (rate == nullptr) rate = std::make_unique<EventRate>(options_.events_per_second);
  terms.rate = rate.get();
  return terms;
}

void Gate::Replace(std::shared_ptr<const TokenBook> book) {
  {
    const std::lock_guard lock(mutex_);
    book_ = book;
  }
  CutStrangers(*book);
}

void Gate::Sweep() {
  if (asks_for_tokens_) CutStrangers(*book());
}

void Gate::CutStrangers(const TokenBook& book) {
  const Instant now = clock_.Now();
  // Cut outside the lock: a call that ends may call End.
  std::vector<std::pair<grpc_call*, std::string>> strangers;
  {
    const std::lock_guard lock(mutex_);
    for (const auto& [id, open] : calls_) {
      if (book.Knows(*open.who, now) && !book.Refuses(open.certificate)) continue;
      grpc_call_ref(open.call);
      strangers.emplace_back(open.call, open.who->name);
    }
  }
  for (const auto& [call, name] : strangers) {
    spdlog::warn("cut an open call of \"{}\": its token or certificate counts no longer", name);
    grpc_call_cancel_with_status(call, GRPC_STATUS_UNAUTHENTICATED,
                                 "this token or certificate counts no longer", nullptr);
    grpc_call_unref(call);
  }
}

grpc::Status Gate::Refuse(std::string_view method, const grpc::ServerContextBase& context,
                          const std::shared_ptr<const Principal>& who, const absl::Status& why) {
  const std::string host = HostOf(context.peer());
  const Instant now = clock_.Now();
  int64_t untold = 0;
  {
    const std::lock_guard lock(mutex_);
    ++refusals_;
    if (refused_.size() >= kMostPeersKept && !refused_.contains(host)) refused_.clear();
    const auto [it, is_new] = refused_.try_emplace(host);
    Refused& peer = it->second;
    if (!is_new && now - peer.told < kTellAgainMillis && now >= peer.told) {
      ++peer.untold;
      return ToGrpc(why);
    }
    untold = std::exchange(peer.untold, 0);
    peer.told = now;
  }
  spdlog::warn("refused {} to {}{}: {}{}", method, host,
               who == nullptr ? "" : absl::StrCat(" (\"", who->name, "\")"),
               std::string(why.message()),
               untold == 0 ? "" : absl::StrCat(" (and ", untold, " more from there)"));
  return ToGrpc(why);
}

int64_t Gate::refusals() const {
  const std::lock_guard lock(mutex_);
  return refusals_;
}

}  // namespace plumblane
