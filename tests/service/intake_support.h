// Intake over a real server on a socket in a directory of its own, and its clients.
#pragma once

#include <absl/strings/str_cat.h>
#include <grpc/grpc.h>
#include <grpcpp/grpcpp.h>
#include <gtest/gtest.h>
#include <stdlib.h>

#include <chrono>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "service/gated_store.h"
#include "service/intake_service.h"
#include "service/service_support.h"

namespace plumblane::test {

// Taking the library down can wait ten seconds for one of its pollers, so it is kept.
[[maybe_unused]] inline const bool kKept = [] {
  grpc_init();
  return true;
}();

inline v1::EventBatch Batch(int64_t number, int events) {
  v1::EventBatch batch;
  batch.set_batch_number(number);
  for (int i = 0; i < events; ++i) {
    *batch.add_events() = SentPaid(absl::StrCat("e", number, ".", i), absl::StrCat(number, ".", i));
  }
  return batch;
}

// One stream of one client, on a connection of its own.
class Client {
 public:
  explicit Client(const std::string& address)
      : stub_(v1::Intake::NewStub(Connect(address))), stream_(stub_->IngestEvents(&context_)) {}

  bool Send(const v1::EventBatch& batch) { return stream_->Write(batch); }
  bool CloseSending() { return stream_->WritesDone(); }
  // The next receipt, or none when there are no more.
  std::optional<v1::BatchReceipt> Receive() {
    v1::BatchReceipt receipt;
    if (!stream_->Read(&receipt)) return std::nullopt;
    return receipt;
  }
  v1::BatchReceipt Exchange(const v1::EventBatch& batch) {
    EXPECT_TRUE(Send(batch));
    return Receive().value_or(v1::BatchReceipt());
  }
  // Batch numbers of all receipts that still come.
  std::vector<int64_t> RemainingNumbers() {
    std::vector<int64_t> numbers;
    while (const auto receipt = Receive()) numbers.push_back(receipt->batch_number());
    return numbers;
  }
  grpc::Status Finish() { return stream_->Finish(); }
  void Cancel() { context_.TryCancel(); }

  static std::shared_ptr<grpc::Channel> Connect(const std::string& address) {
    grpc::ChannelArguments arguments;
    arguments.SetInt(GRPC_ARG_USE_LOCAL_SUBCHANNEL_POOL, 1);
    return grpc::CreateCustomChannel(address, grpc::InsecureChannelCredentials(), arguments);
  }

 private:
  grpc::ClientContext context_;
  std::unique_ptr<v1::Intake::Stub> stub_;
  std::unique_ptr<grpc::ClientReaderWriter<v1::EventBatch, v1::BatchReceipt>> stream_;
};

class Intake : public ::testing::Test {
 protected:
  explicit Intake(const EngineOptions& options = {}) : engine_(&store_, options) {
    std::string name = (std::filesystem::temp_directory_path() / "plumblane.XXXXXX").string();
    EXPECT_NE(mkdtemp(name.data()), nullptr);
    directory_ = name;
    grpc::ServerBuilder builder;
    builder.AddListeningPort(address(), grpc::InsecureServerCredentials());
    builder.RegisterService(&service_);
    server_ = builder.BuildAndStart();
    EXPECT_NE(server_, nullptr);
  }
  ~Intake() override {
    store_.Open();
    service_.Drain();
    server_->Shutdown(std::chrono::system_clock::now() + std::chrono::seconds(5));
    std::filesystem::remove_all(directory_);
  }
  std::string address() const { return "unix:" + directory_ + "/socket"; }
  int64_t EventsTaken() { return engine_->Look().catalog().event_count; }

  std::string directory_;
  GatedStore store_;
  RunningEngine engine_;
  IntakeService service_{*engine_, SystemZones()};
  std::unique_ptr<grpc::Server> server_;
};

}  // namespace plumblane::test
