#include "client/access.h"

#include <absl/strings/str_cat.h>
#include <grpcpp/create_channel.h>
#include <grpcpp/security/credentials.h>
#include <grpcpp/support/channel_arguments.h>
#include <grpcpp/support/client_interceptor.h>

#include <cstdlib>
#include <utility>
#include <vector>

#include "base/private_file.h"
#include "client/retries.h"

namespace plumblane::client {
namespace {

constexpr int kFirstReconnectMillis = 100;
constexpr int kMostReconnectMillis = 2000;  // who follows a file waits longer by itself
// While a call is under way: a daemon that is held up, or a network that is cut, looks like one
// that takes its time. The daemon lets nobody ask much more often.
constexpr int kPingMillis = 5000, kPingPatienceMillis = 5000;
constexpr int kMaxMessageBytes = 64 << 20;  // a supplier with many lanes answers more than 4 MiB
constexpr char kTlsMark[] = "tls:";

bool SaysTls(const std::string& address) { return address.starts_with(kTlsMark); }
bool IsSocket(const std::string& address) { return address.starts_with("unix:"); }
bool UsesTls(const std::string& address, const Access& access) {
  return SaysTls(address) || (!IsSocket(address) && !access.ca.empty());
}

bool StaysHere(const std::string& address) {
  const std::string host = address.substr(0, address.rfind(':'));
  return IsSocket(address) || host == "127.0.0.1" || host == "localhost" || host == "[::1]";
}

absl::Status ReadWhole(const char* what, const std::string& path, Barred barred, std::string* to) {
  if (path.empty()) return absl::OkStatus();
  auto text = ReadPrivateFile(path, barred);
  if (!text.ok()) {
    return absl::InvalidArgumentError(
        absl::StrCat(what, ": ", std::string(text.status().message())));
  }
  *to = *std::move(text);
  return absl::OkStatus();
}

// Shows the token with a call.
class TokenShower final : public grpc::experimental::Interceptor {
 public:
  explicit TokenShower(const std::string& bearer) : bearer_(bearer) {}
  void Intercept(grpc::experimental::InterceptorBatchMethods* methods) override {
    if (methods->QueryInterceptionHookPoint(
            grpc::experimental::InterceptionHookPoints::PRE_SEND_INITIAL_METADATA)) {
      methods->GetSendInitialMetadata()->emplace("authorization", bearer_);
    }
    methods->Proceed();
  }

 private:
  const std::string& bearer_;
};

class TokenShowers final : public grpc::experimental::ClientInterceptorFactoryInterface {
 public:
  explicit TokenShowers(const std::string& token) : bearer_("Bearer " + token) {}
  grpc::experimental::Interceptor* CreateClientInterceptor(
      grpc::experimental::ClientRpcInfo* /*call*/) override {
    return new TokenShower(bearer_);
  }

 private:
  const std::string bearer_;
};

// Hears what the daemon says of itself.
class RemarkHearer final : public grpc::experimental::Interceptor {
 public:
  explicit RemarkHearer(Remark& remark) : remark_(remark) {}
  void Intercept(grpc::experimental::InterceptorBatchMethods* methods) override {
    if (methods->QueryInterceptionHookPoint(
            grpc::experimental::InterceptionHookPoints::POST_RECV_INITIAL_METADATA)) {
      const auto* said = methods->GetRecvInitialMetadata();
      const auto it = said->find(kRemarkKey);
      const bool is_there = it != said->end();
      remark_.Set(is_there ? std::string(it->second.data(), it->second.size()) : "");
    }
    methods->Proceed();
  }

 private:
  static constexpr char kRemarkKey[] = "plumblane-remark";
  Remark& remark_;
};

class RemarkHearers final : public grpc::experimental::ClientInterceptorFactoryInterface {
 public:
  explicit RemarkHearers(std::shared_ptr<Remark> remark) : remark_(std::move(remark)) {}
  grpc::experimental::Interceptor* CreateClientInterceptor(
      grpc::experimental::ClientRpcInfo* /*call*/) override {
    return new RemarkHearer(*remark_);
  }

 private:
  const std::shared_ptr<Remark> remark_;
};

}  // namespace

absl::StatusOr<Access> ReadAccess(const AccessFiles& given, const AccessFiles& usual) {
  const auto either = [](const std::string& a, const std::string& b) { return a.empty() ? b : a; };
  Access access;
  const char* token = std::getenv("PLUMBLANE_TOKEN");
  const bool has_token = token != nullptr && *token != '\0';
  if (given.token.empty() && has_token) {
    access.token = token;
  } else {
    absl::Status status = ReadWhole("--token-file", either(given.token, usual.token),
                                    Barred::kReadingByOthers, &access.token);
    if (!status.ok()) return status;
    access.token.resize(std::min(access.token.size(), access.token.find_first_of("\r\n")));
  }
  const std::string certificate = either(given.certificate, usual.certificate);
  const std::string key = either(given.key, usual.key);
  if (certificate.empty() != key.empty()) {
    return absl::InvalidArgumentError("--tls-cert and --tls-key go together");
  }
  absl::Status status =
      ReadWhole("--tls-ca", either(given.ca, usual.ca), Barred::kNothing, &access.ca);
  status.Update(ReadWhole("--tls-cert", certificate, Barred::kNothing, &access.certificate));
  status.Update(ReadWhole("--tls-key", key, Barred::kReadingByOthers, &access.key));
  if (!status.ok()) return status;
  return access;
}

absl::Status CheckAccess(const std::string& address, const Access& access) {
  if (SaysTls(address) && access.ca.empty()) {
    return absl::InvalidArgumentError(absl::StrCat(
        address, " needs --tls-ca, --tls-cert and --tls-key, or the like in the settings"));
  }
  if (!access.token.empty() && !UsesTls(address, access) && !StaysHere(address)) {
    return absl::InvalidArgumentError(absl::StrCat("the token is not sent to ", address,
                                                   " in plain sight: expected tls:", address,
                                                   " and --tls-ca"));
  }
  return absl::OkStatus();
}

std::shared_ptr<grpc::Channel> MakeChannel(const std::string& address, const Access& access,
                                           std::shared_ptr<Remark> remark) {
  grpc::ChannelArguments arguments;
  arguments.SetInt(GRPC_ARG_ENABLE_HTTP_PROXY, 0);
  arguments.SetInt(GRPC_ARG_INITIAL_RECONNECT_BACKOFF_MS, kFirstReconnectMillis);
  arguments.SetInt(GRPC_ARG_MAX_RECONNECT_BACKOFF_MS, kMostReconnectMillis);
  arguments.SetInt(GRPC_ARG_KEEPALIVE_TIME_MS, kPingMillis);
  arguments.SetInt(GRPC_ARG_KEEPALIVE_TIMEOUT_MS, kPingPatienceMillis);
  arguments.SetInt(GRPC_ARG_HTTP2_MAX_PINGS_WITHOUT_DATA, 0);  // no limit
  arguments.SetMaxReceiveMessageSize(kMaxMessageBytes);
  arguments.SetServiceConfigJSON(RetryConfig());
  std::shared_ptr<grpc::ChannelCredentials> credentials = grpc::InsecureChannelCredentials();
  if (UsesTls(address, access)) {
    grpc::SslCredentialsOptions options;
    options.pem_root_certs = access.ca;
    options.pem_cert_chain = access.certificate;
    options.pem_private_key = access.key;
    credentials = grpc::SslCredentials(options);
  }
  std::vector<std::unique_ptr<grpc::experimental::ClientInterceptorFactoryInterface>> between;
  between.push_back(std::make_unique<RemarkHearers>(std::move(remark)));
  if (!access.token.empty()) between.push_back(std::make_unique<TokenShowers>(access.token));
  return grpc::experimental::CreateCustomChannelWithInterceptors(
      SaysTls(address) ? address.substr(4) : address, credentials, arguments, std::move(between));
}

}  // namespace plumblane::client
