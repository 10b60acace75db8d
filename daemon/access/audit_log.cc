#include "access/audit_log.h"

#include <absl/strings/str_cat.h>
#include <fcntl.h>
#include <google/protobuf/util/json_util.h>
#include <grpcpp/support/server_interceptor.h>
#include <spdlog/spdlog.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <nlohmann/json.hpp>
#include <utility>

#include "access/gate.h"
#include "access/permissions.h"

namespace plumblane {
namespace {

constexpr size_t kMostRequestBytes = 4096;

const char* NameOf(grpc::StatusCode code) {
  static constexpr const char* kNames[] = {
      "OK", "CANCELLED", "UNKNOWN", "INVALID_ARGUMENT", "DEADLINE_EXCEEDED", "NOT_FOUND",
      "ALREADY_EXISTS", "PERMISSION_DENIED", "RESOURCE_EXHAUSTED", "FAILED_PRECONDITION", "ABORTED",
      "OUT_OF_RANGE",
      // What a call that the gate refused ends with: each of our calls is there.
      "REFUSED", "INTERNAL", "UNAVAILABLE", "DATA_LOSS", "UNAUTHENTICATED"};
  return code >= 0 && code <= grpc::UNAUTHENTICATED ? kNames[code] : "UNKNOWN";
}

class Auditor final : public grpc::experimental::Interceptor {
 public:
  Auditor(grpc::experimental::ServerRpcInfo& call, const Permission& permission, AuditLog& log,
          Gate& gate)
      : call_(call), permission_(permission), log_(log), gate_(gate) {}

  void Intercept(grpc::experimental::InterceptorBatchMethods* methods) override {
    using Point = grpc::experimental::InterceptionHookPoints;
    if (methods->QueryInterceptionHookPoint(Point::POST_RECV_MESSAGE)) {
      const void* request = methods->GetRecvMessage();
      if (request != nullptr && !permission_.hides_request) {
        entry_.request = AuditLog::Describe(permission_.message(request));
      }
      const auto who = gate_.CallerOf(*call_.server_context());
      entry_.who = who == nullptr ? "" : who->name;
      entry_.peer = call_.server_context()->peer();
      entry_.action = call_.method();
    }
    if (methods->QueryInterceptionHookPoint(Point::PRE_SEND_STATUS)) {
      // Whom nobody knows is in the log alone, which does not grow by every try.
      grpc::Status outcome = methods->GetSendStatus();
      if (permission_.hides_request) outcome = {outcome.error_code(), ""};
      if (!entry_.who.empty()) log_.Write(entry_, outcome);
    }
    methods->Proceed();
  }

 private:
  grpc::experimental::ServerRpcInfo& call_;
  const Permission& permission_;
  AuditLog& log_;
  Gate& gate_;
  AuditLog::Entry entry_;
};

class AuditorFactory final : public grpc::experimental::ServerInterceptorFactoryInterface {
 public:
  AuditorFactory(AuditLog& log, Gate& gate) : log_(log), gate_(gate) {}

  grpc::experimental::Interceptor* CreateServerInterceptor(
      grpc::experimental::ServerRpcInfo* call) override {
    const Permission* permission = PermissionFor(call->method());
    if (permission == nullptr || !permission->is_audited) return nullptr;
    return new Auditor(*call, *permission, log_, gate_);
  }

 private:
  AuditLog& log_;
  Gate& gate_;
};

}  // namespace

AuditLog::AuditLog(std::string path, const Clock& clock) : path_(std::move(path)), clock_(clock) {
  const std::lock_guard lock(mutex_);
  Open();
}

AuditLog::~AuditLog() {
  if (fd_ >= 0) close(fd_);
}

void AuditLog::Open() {
  if (fd_ >= 0) close(fd_);
  fd_ = open(path_.c_str(), O_WRONLY | O_APPEND | O_CREAT | O_CLOEXEC, 0600);
}

void AuditLog::Reopen() {
  const std::lock_guard lock(mutex_);
  Open();
}

std::string AuditLog::Describe(const google::protobuf::Message& request) {
  const size_t bytes = request.ByteSizeLong();
  std::string json;
  if (bytes <= kMostRequestBytes &&
      google::protobuf::util::MessageToJsonString(request, &json).ok()) {
    return json;
  }
  return absl::StrCat("{\"bytes\":", bytes, "}");
}

void AuditLog::Write(const Entry& entry, const grpc::Status& outcome) {
  nlohmann::ordered_json line = {{"time", FormatInstant(clock_.Now())},
                                 {"who", entry.who},
                                 {"peer", entry.peer},
                                 {"action", entry.action}};
  if (!entry.request.empty()) {
    line["request"] = nlohmann::ordered_json::parse(entry.request, nullptr, false);
  }
  line["outcome"] = NameOf(outcome.error_code());
  if (!outcome.error_message().empty()) line["message"] = outcome.error_message();
  std::string text = line.dump(-1, ' ', false, nlohmann::json::error_handler_t::replace) + "\n";
  const std::lock_guard lock(mutex_);
  if (fd_ < 0) Open();
  // One write: a line is there whole or not at all, whoever else appends.
  const bool is_written =
      fd_ >= 0 && write(fd_, text.data(), text.size()) == static_cast<ssize_t>(text.size()) &&
      fdatasync(fd_) == 0;
  if (!is_written && !has_failed_) {
    spdlog::error("the audit cannot be written: {}: {}", path_, std::strerror(errno));
  }
  has_failed_ = !is_written;
}

std::vector<std::unique_ptr<grpc::experimental::ServerInterceptorFactoryInterface>> Auditors(
    AuditLog& log, Gate& gate) {
  std::vector<std::unique_ptr<grpc::experimental::ServerInterceptorFactoryInterface>> auditors;
  auditors.push_back(std::make_unique<AuditorFactory>(log, gate));
  return auditors;
}

}  // namespace plumblane
