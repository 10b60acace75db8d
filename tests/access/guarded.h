// A server with all services of the API behind the gate. The services themselves do nothing: a call
// that is let in ends with UNIMPLEMENTED, one that is not with the gate's own code.
#pragma once

#include <gmock/gmock.h>
#include <google/protobuf/message.h>
#include <grpc/grpc.h>
#include <grpcpp/generic/generic_stub.h>
#include <grpcpp/grpcpp.h>
#include <grpcpp/support/server_interceptor.h>
#include <plumblane/v1/agreements.grpc.pb.h>
#include <plumblane/v1/alerts.grpc.pb.h>
#include <plumblane/v1/exports.grpc.pb.h>
#include <plumblane/v1/intake.grpc.pb.h>
#include <plumblane/v1/operations.grpc.pb.h>
#include <plumblane/v1/orders.grpc.pb.h>
#include <plumblane/v1/reviews.grpc.pb.h>
#include <plumblane/v1/scores.grpc.pb.h>
#include <plumblane/v1/sourcing.grpc.pb.h>

#include <atomic>
#include <memory>
#include <string>
#include <utility>
#include <vector>

#include "access/audit_log.h"
#include "access/gate.h"
#include "access/guarded_service.h"
#include "access/moment.h"
#include "support/fixed_clock.h"
#include "support/temp_directory.h"

namespace plumblane::test {

inline std::shared_ptr<const TokenBook> Book(const std::string& text) {
  auto book = TokenBook::Read("tokens", text);
  EXPECT_TRUE(book.ok()) << book.status();
  return std::make_shared<TokenBook>(*std::move(book));
}

// A token that is the name itself, with `rest` of its table.
inline std::string TokenNamed(const std::string& name, const std::string& rest) {
  return "[[token]]\nname = \"" + name + "\"\nhash = \"" + WriteHash(HashOf(name)) + "\"\n" + rest +
         "\n";
}

// Answers GetScore.
class FakeScores : public v1::Scores::CallbackService {
 public:
  grpc::ServerUnaryReactor* GetScore(grpc::CallbackServerContext* context,
                                     const v1::GetScoreRequest* /*request*/,
                                     v1::Score* /*response*/) override {
    ++calls;
    auto* reactor = context->DefaultReactor();
    reactor->Finish(grpc::Status::OK);
    return reactor;
  }
  std::atomic<int> calls = 0;
};

class OpenStream final : public grpc::ServerWriteReactor<v1::AlertNotice> {
 public:
  OpenStream() { StartSendInitialMetadata(); }
  void OnCancel() override { Finish(grpc::Status::CANCELLED); }
  void OnDone() override { delete this; }
};

// Keeps a stream of notices open until it is cut, when it is to begin after some.
class FakeAlerts : public v1::Alerts::CallbackService {
 public:
  grpc::ServerWriteReactor<v1::AlertNotice>* WatchAlerts(
      grpc::CallbackServerContext* /*context*/, const v1::WatchAlertsRequest* request) override {
    return request->after_cursor() == 0 ? nullptr : new OpenStream();
  }
  grpc::ServerUnaryReactor* AcknowledgeAlert(grpc::CallbackServerContext* context,
                                             const v1::AcknowledgeAlertRequest* request,
                                             v1::Alert* /*response*/) override {
    auto* reactor = context->DefaultReactor();
    reactor->Finish(request->alert_id() == "none" ? grpc::Status(grpc::NOT_FOUND, "no such alert")
                                                  : grpc::Status::OK);
    return reactor;
  }
};

class Guarded {
 public:
  explicit Guarded(std::shared_ptr<const TokenBook> book, const Gate::Options& options = {})
      : gate(options, std::move(book), clock), audit(folder.path() + "/audit", clock) {
    for (auto& [service, name] : std::vector<std::pair<grpc::Service*, std::string>>{
             {&intake_, v1::Intake::service_full_name()},
             {&scores, v1::Scores::service_full_name()},
             {&sourcing_, v1::Sourcing::service_full_name()},
             {&orders_, v1::Orders::service_full_name()},
             {&agreements_, v1::Agreements::service_full_name()},
             {&alerts_, v1::Alerts::service_full_name()},
             {&reviews_, v1::Reviews::service_full_name()},
             {&exports_, v1::Exports::service_full_name()},
             {&operations_, v1::Operations::service_full_name()}}) {
      guarded_.push_back(std::make_unique<GuardedService>(*service, name, gate));
    }
    // When its last user goes, the library can wait ten seconds for a thread of its own.
    static const bool kIsKept = (grpc_init(), true);
    (void)kIsKept;
    grpc::ServerBuilder builder;
    int port = 0;
    builder.AddListeningPort("127.0.0.1:0", grpc::InsecureServerCredentials(), &port);
    builder.AddListeningPort(socket(), grpc::InsecureServerCredentials());
    for (const auto& service : guarded_) builder.RegisterService(service.get());
    builder.experimental().SetInterceptorCreators(Auditors(audit, gate));
    server_ = builder.BuildAndStart();
    address_ = "127.0.0.1:" + std::to_string(port);
    channel = grpc::CreateChannel(address_, grpc::InsecureChannelCredentials());
  }
  ~Guarded() { server_->Shutdown(std::chrono::system_clock::now()); }

  std::string socket() const { return "unix:" + folder.path() + "/s"; }

  // Makes a call of any kind with one request, which is empty unless given, and waits for its end.
  // `token` is what stands in the header after "Bearer ", null = no header.
  grpc::Status Call(const std::string& method, const char* token,
                    const google::protobuf::Message* request = nullptr,
                    const std::shared_ptr<grpc::Channel>& over = nullptr) {
    return CallWithBytes(method, token, request ? request->SerializeAsString() : "", over);
  }
  grpc::Status CallWithBytes(const std::string& method, const char* token, const std::string& bytes,
                             const std::shared_ptr<grpc::Channel>& over = nullptr) {
    grpc::GenericStub stub(over ? over : channel);
    grpc::ClientContext context;
    context.set_deadline(std::chrono::system_clock::now() + std::chrono::seconds(30));
    if (token) context.AddMetadata("authorization", std::string("Bearer ") + token);
    grpc::CompletionQueue queue;
    void* tag;
    bool ok;
    auto call = stub.PrepareCall(&context, method, &queue);
    call->StartCall(nullptr);
    queue.Next(&tag, &ok);
    const grpc::Slice slice(bytes);
    call->WriteLast(grpc::ByteBuffer(&slice, 1), {}, nullptr);
    queue.Next(&tag, &ok);
    grpc::ByteBuffer answer;
    do {
      call->Read(&answer, nullptr);
      queue.Next(&tag, &ok);
    } while (ok);
    grpc::Status status;
    call->Finish(&status, nullptr);
    queue.Next(&tag, &ok);
    return status;
  }

  FixedClock clock{At("2026-06-01T12:00")};
  TempDirectory folder;
  Gate gate;
  AuditLog audit;
  FakeScores scores;
  std::shared_ptr<grpc::Channel> channel;  // over TCP

 private:
  v1::Intake::CallbackService intake_;
  v1::Sourcing::CallbackService sourcing_;
  v1::Orders::CallbackService orders_;
  v1::Agreements::CallbackService agreements_;
  FakeAlerts alerts_;
  v1::Reviews::CallbackService reviews_;
  v1::Exports::CallbackService exports_;
  v1::Operations::CallbackService operations_;
  std::vector<std::unique_ptr<GuardedService>> guarded_;
  std::unique_ptr<grpc::Server> server_;
  std::string address_;
};

}  // namespace plumblane::test
