#include "client/connection.h"

#include <absl/strings/str_cat.h>
#include <absl/time/clock.h>
#include <absl/time/time.h>

#include <cstdlib>
#include <filesystem>

namespace plumblane::client {
namespace {

constexpr absl::Duration kConnectPatience = absl::Seconds(5);
constexpr char kSystemSocket[] = "/run/plumblane/plumblane.sock";

auto Deadline(absl::Duration patience) { return absl::ToChronoTime(absl::Now() + patience); }

std::string Environment(const char* name) {
  const char* value = std::getenv(name);
  return value == nullptr ? "" : value;
}

}  // namespace

std::string ServerAddress(const std::string& given, const std::string& usual) {
  std::string address = given.empty() ? Environment("PLUMBLANE_SERVER") : given;
  if (address.empty()) address = usual;
  if (address.starts_with('/')) return "unix:" + address;
  if (!address.empty()) return address;
  const std::string runtime = Environment("XDG_RUNTIME_DIR");
  std::error_code ignored;
  if (runtime.starts_with('/') && std::filesystem::exists(runtime + "/plumblane.sock", ignored)) {
    return "unix:" + runtime + "/plumblane.sock";
  }
  return absl::StrCat("unix:", kSystemSocket);
}

Connection::Connection(const std::string& address, const Access& access)
    : Connection(address, access, std::make_shared<Remark>()) {}

Connection::Connection(const std::string& address, const Access& access,
                       const std::shared_ptr<Remark>& remark)
    : Connection(address, MakeChannel(address, access, remark), remark) {}

Connection::Connection(std::string address, std::shared_ptr<grpc::Channel> channel,
                       std::shared_ptr<Remark> remark)
    : address_(std::move(address)),
      remark_(std::move(remark)),
      channel_(std::move(channel)),
      agreements_(v1::Agreements::NewStub(channel_)),
      alerts_(v1::Alerts::NewStub(channel_)),
      intake_(v1::Intake::NewStub(channel_)),
      operations_(v1::Operations::NewStub(channel_)),
      orders_(v1::Orders::NewStub(channel_)),
      reviews_(v1::Reviews::NewStub(channel_)),
      scores_(v1::Scores::NewStub(channel_)),
      sourcing_(v1::Sourcing::NewStub(channel_)),
      exports_(v1::Exports::NewStub(channel_)) {}

bool Connection::WaitUntilReady() {
  const auto deadline = Deadline(kConnectPatience);
  while (true) {
    const grpc_connectivity_state state = channel_->GetState(/*try_to_connect=*/true);
    if (state == GRPC_CHANNEL_READY) return true;
    if (state == GRPC_CHANNEL_TRANSIENT_FAILURE || state == GRPC_CHANNEL_SHUTDOWN) return false;
    if (!channel_->WaitForStateChange(state, deadline)) return false;
  }
}

CallContext::CallContext(int patience_seconds) {
  set_deadline(Deadline(absl::Seconds(patience_seconds)));
}

ExitCode ExitCodeOf(const grpc::Status& status) {
  switch (status.error_code()) {
    case grpc::StatusCode::UNAVAILABLE:
    case grpc::StatusCode::DEADLINE_EXCEEDED:
      return kOutOfReach;
    case grpc::StatusCode::INVALID_ARGUMENT:
      return kUsage;
    default:
      return kFailed;
  }
}

namespace {

// The library's report without its wrapping: "No such file or directory".
std::string ReasonOf(const grpc::Status& status) {
  const std::string& text = status.error_message();
  if (text.find("failed to connect") == std::string::npos) return text;
  const size_t colon = text.rfind(": ");
  return colon == std::string::npos ? text : text.substr(colon + 2);
}

// The daemon names the fields of the API; people know the options.
std::string InOptions(const std::string& message) {
  const std::pair<std::string_view, std::string_view> names[] = {
      {"as_of_time:", "--as-of:"},
      {"half_life:", "--half-life:"},
      {"half_lives:", "--half-life:"},
      {"days_ahead:", "--days-ahead:"},
      {"first_days:", "--first-days:"},
      {"within_days:", "--within:"},
      {"destination:", "--to:"},
      {"origin:", "--from:"},
      {"unit_count:", "--units:"},
      {"item:", "--item:"},
      {"sale:", "--sale:"},
      {"supplier:", "--supplier:"},
      {"first_date:", "PERIOD:"},
      {"last_date:", "PERIOD:"},
      {"reason:", "--reason:"},
      {"instead_of:", "--instead-of:"},
      {"pause.until_date:", "--until:"},
      {"until_date:", "--until:"},
      {"note:", "--note:"},
      {"after_cursor:", "--after:"},
      {"alert_id:", "ID:"},
      {"directory:", "DIR:"},
      {"complete_through_time:", "--complete-through:"}};
  for (const auto& [field, option] : names) {
    if (message.starts_with(field)) return std::string(option) + message.substr(field.size());
  }
  return message;
}

}  // namespace

std::string Explain(const grpc::Status& status, const std::string& address) {
  switch (status.error_code()) {
    case grpc::StatusCode::UNAVAILABLE:
      return absl::StrCat("the daemon at ", address, " cannot be reached: ", ReasonOf(status),
                          "\nIs plumblaned running there",
                          // The library seldom says so.
                          address.find("tls:") == std::string::npos
                              ? ""
                              : ", and has no certificate expired, there or here",
                          "? Name another with --server or PLUMBLANE_SERVER.");
    case grpc::StatusCode::DEADLINE_EXCEEDED:
      return absl::StrCat("the daemon at ", address,
                          " does not answer in time; \"plumblane status\" "
                          "may say why");
    case grpc::StatusCode::RESOURCE_EXHAUSTED:
      // The library's words for a message that is too large; others are the daemon's own.
      if (status.error_message().find("larger than max") == std::string::npos) {
        return status.error_message();
      }
      return absl::StrCat("the daemon at ", address, " takes no more at once (",
                          status.error_message(), " bytes): split the file");
    case grpc::StatusCode::UNAUTHENTICATED:
      return absl::StrCat("the daemon at ", address,
                          " does not let you in: ", status.error_message(),
                          "\nName the file of your token with --token-file, or set "
                          "PLUMBLANE_TOKEN.");
    case grpc::StatusCode::UNIMPLEMENTED:
      return absl::StrCat("the daemon at ", address,
                          " is of another version: it does not know "
                          "this question");
    default:
      return status.error_message().empty() ? "the daemon failed and does not say why"
                                            : InOptions(status.error_message());
  }
}

}  // namespace plumblane::client
