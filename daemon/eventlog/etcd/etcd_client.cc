#include "eventlog/etcd/etcd_client.h"

#include <absl/strings/match.h>
#include <absl/strings/str_cat.h>
#include <grpcpp/grpcpp.h>

#include <utility>

namespace plumblane {
namespace {

// A member that comes back is used soon; one that is slow gets time for its greeting.
constexpr int kReconnectMillis = 500, kConnectMillis = 10'000;
constexpr std::chrono::milliseconds kConnectWait{200};

std::shared_ptr<grpc::Channel> ChannelTo(const std::string& endpoint, const EtcdOptions& options) {
  grpc::ChannelArguments arguments;
  arguments.SetInt(GRPC_ARG_MIN_RECONNECT_BACKOFF_MS, kConnectMillis);
  arguments.SetInt(GRPC_ARG_INITIAL_RECONNECT_BACKOFF_MS, kReconnectMillis);
  arguments.SetInt(GRPC_ARG_MAX_RECONNECT_BACKOFF_MS, kReconnectMillis);
  // A member that stops in order may end calls without a status, at which the library's own retries
  // end the process.
  arguments.SetInt(GRPC_ARG_ENABLE_RETRIES, 0);
  arguments.SetMaxReceiveMessageSize(-1);  // a range holds what etcd took piece by piece
  auto credentials = options.ca.empty()
                         ? grpc::InsecureChannelCredentials()
                         : grpc::SslCredentials({options.ca, options.key, options.certificate});
  return grpc::CreateCustomChannel(endpoint, credentials, arguments);
}

gpr_timespec In(std::chrono::milliseconds time) {
  return gpr_time_from_millis(time.count(), GPR_TIMESPAN);
}

}  // namespace

struct EtcdClient::Member {
  Member(const std::string& name, const EtcdOptions& options)
      : endpoint(name),
        channel(ChannelTo(name, options)),
        kv(etcdserverpb::KV::NewStub(channel)),
        lease(etcdserverpb::Lease::NewStub(channel)) {}

  // Between calls nobody looks after a connection that is being made, but every 5 s; so it is
  // waited for before a call.
  void Prepare(grpc::ClientContext& context, std::chrono::milliseconds patience) const {
    if (channel->GetState(/*try_to_connect=*/true) != GRPC_CHANNEL_READY) {
      channel->WaitForConnected(In(kConnectWait));
    }
    context.set_deadline(In(patience));
  }

  const std::string endpoint;
  const std::shared_ptr<grpc::Channel> channel;
  const std::unique_ptr<etcdserverpb::KV::Stub> kv;
  const std::unique_ptr<etcdserverpb::Lease::Stub> lease;
};

EtcdClient::EtcdClient(const EtcdOptions& options)
    : prefix_(options.prefix + "/"), patience_(options.patience) {
  for (const std::string& endpoint : options.endpoints) {
    members_.push_back(std::make_unique<Member>(endpoint, options));
  }
}

EtcdClient::~EtcdClient() = default;

absl::Status EtcdClient::Judge(const grpc::Status& status, size_t number) {
  if (status.ok()) return absl::OkStatus();
  const std::string why =
      absl::StrCat("etcd at ", members_[number]->endpoint, ": ", status.error_message());
  switch (status.error_code()) {
    case grpc::StatusCode::RESOURCE_EXHAUSTED:
      // The same code stands for too many requests at once.
      if (absl::StrContains(status.error_message(), "space")) {
        return absl::ResourceExhaustedError(why);
      }
      break;
    case grpc::StatusCode::INVALID_ARGUMENT:
    case grpc::StatusCode::OUT_OF_RANGE:
    case grpc::StatusCode::NOT_FOUND:
    case grpc::StatusCode::FAILED_PRECONDITION:
    case grpc::StatusCode::PERMISSION_DENIED:
    case grpc::StatusCode::UNAUTHENTICATED:
    case grpc::StatusCode::UNIMPLEMENTED:
      return absl::Status(static_cast<absl::StatusCode>(status.error_code()), why);
    default:
      break;
  }
  // Two threads may find out at once: one step is enough.
  size_t expected = number;
  current_.compare_exchange_strong(expected, (number + 1) % members_.size());
  return absl::UnavailableError(why);
}

absl::StatusOr<etcdserverpb::TxnResponse> EtcdClient::Txn(const etcdserverpb::TxnRequest& request) {
  const size_t number = current_;
  grpc::ClientContext context;
  members_[number]->Prepare(context, patience_);
  etcdserverpb::TxnResponse response;
  absl::Status status = Judge(members_[number]->kv->Txn(&context, request, &response), number);
  if (!status.ok()) return status;
  return response;
}

absl::StatusOr<etcdserverpb::TxnResponse> EtcdClient::Ask(const etcdserverpb::TxnRequest& request) {
  auto response = Txn(request);
  for (size_t i = 1; i < members_.size() && absl::IsUnavailable(response.status()); ++i) {
    response = Txn(request);
  }
  return response;
}

absl::Status EtcdClient::Compact(int64_t revision) {
  const size_t number = current_;
  grpc::ClientContext context;
  members_[number]->Prepare(context, patience_);
  etcdserverpb::CompactionRequest request;
  request.set_revision(revision);
  etcdserverpb::CompactionResponse response;
  return Judge(members_[number]->kv->Compact(&context, request, &response), number);
}

absl::StatusOr<int64_t> EtcdClient::GrantLease(std::chrono::seconds time) {
  const size_t number = current_;
  grpc::ClientContext context;
  members_[number]->Prepare(context, patience_);
  etcdserverpb::LeaseGrantRequest request;
  request.set_ttl(time.count());
  etcdserverpb::LeaseGrantResponse response;
  absl::Status status =
      Judge(members_[number]->lease->LeaseGrant(&context, request, &response), number);
  if (!status.ok()) return status;
  return response.id();
}

absl::Status EtcdClient::RevokeLease(int64_t lease) {
  const size_t number = current_;
  grpc::ClientContext context;
  members_[number]->Prepare(context, patience_);
  etcdserverpb::LeaseRevokeRequest request;
  request.set_id(lease);
  etcdserverpb::LeaseRevokeResponse response;
  return Judge(members_[number]->lease->LeaseRevoke(&context, request, &response), number);
}

absl::StatusOr<bool> EtcdClient::KeepLease(int64_t lease) {
  const size_t number = current_;
  grpc::ClientContext context;
  members_[number]->Prepare(context, patience_);
  auto stream = members_[number]->lease->LeaseKeepAlive(&context);
  etcdserverpb::LeaseKeepAliveRequest request;
  request.set_id(lease);
  etcdserverpb::LeaseKeepAliveResponse response;
  const bool answered = stream->Write(request) && stream->WritesDone() && stream->Read(&response);
  absl::Status status = Judge(stream->Finish(), number);
  if (answered) return response.ttl() > 0;
  return status.ok() ? absl::UnavailableError("etcd did not answer") : status;
}

}  // namespace plumblane
