#include "client/fake_daemon.h"

#include <grpcpp/security/server_credentials.h>
#include <grpcpp/server_builder.h>
#include <stdlib.h>

#include <algorithm>
#include <deque>
#include <filesystem>
#include <thread>

namespace plumblane::client {
namespace {

grpc::Status NotFound() { return {grpc::StatusCode::NOT_FOUND, "there is none of that name"}; }

class FakeIntake : public v1::Intake::Service {
 public:
  explicit FakeIntake(FakeState* state) : state_(*state) {}

  // Reads ahead while receipts are slow, as a daemon does that takes what all streams have waiting.
  grpc::Status IngestEvents(
      grpc::ServerContext*,
      grpc::ServerReaderWriter<v1::BatchReceipt, v1::EventBatch>* stream) override {
    if (state_.break_after >= 0) return AnswerSome(stream);
    std::deque<v1::EventBatch> waiting;
    std::atomic<bool> is_over = false;
    std::thread reader([&] {
      for (v1::EventBatch batch; stream->Read(&batch);) {
        const std::lock_guard lock(state_.mutex);
        ++state_.batches;
        state_.history_batches += batch.history();
        waiting.push_back(batch);
        state_.most_unanswered = std::max(state_.most_unanswered, static_cast<int>(waiting.size()));
      }
      is_over = true;
    });
    AnswerAll(stream, waiting, is_over);
    reader.join();
    return grpc::Status::OK;
  }

  grpc::Status ReportNews(grpc::ServerContext*, const v1::ReportNewsRequest* request,
                          v1::ReportNewsResponse*) override {
    const std::lock_guard lock(state_.mutex);
    state_.news.push_back(*request);
    return grpc::Status::OK;
  }

  grpc::Status BeginSend(grpc::ServerContext*, const v1::BeginSendRequest* request,
                         v1::Send* response) override {
    const std::lock_guard lock(state_.mutex);
    state_.sends_begun.push_back(*request);
    response->set_send_number(state_.send_number);
    return grpc::Status::OK;
  }
  grpc::Status FinishSend(grpc::ServerContext*, const v1::FinishSendRequest* request,
                          v1::Send*) override {
    const std::lock_guard lock(state_.mutex);
    state_.sends_finished.push_back(*request);
    return grpc::Status::OK;
  }
  grpc::Status ListSends(grpc::ServerContext*, const v1::ListSendsRequest* request,
                         v1::ListSendsResponse* response) override {
    *response = state_.sends;
    const bool has_more = response->sends_size() > request->page_size();
    if (has_more) {
      response->mutable_sends()->DeleteSubrange(request->page_size(),
                                                response->sends_size() - request->page_size());
      response->set_next_page_token("more");
    }
    return grpc::Status::OK;
  }
  grpc::Status UndoSend(grpc::ServerContext*, const v1::UndoSendRequest* request,
                        v1::UndoSendResponse* response) override {
    const std::lock_guard lock(state_.mutex);
    state_.undos.push_back(*request);
    *response = request->validate_only() ? state_.undo_effect : state_.undone;
    return state_.undo_status;
  }

 private:
  using Stream = grpc::ServerReaderWriter<v1::BatchReceipt, v1::EventBatch>;

  grpc::Status AnswerSome(Stream* stream) {
    v1::EventBatch batch;
    for (int answered = 0; stream->Read(&batch); ++answered) {
      if (answered == state_.break_after) {
        return {grpc::StatusCode::UNAVAILABLE, "the daemon is stopping"};
      }
      stream->Write(Receive(batch));
    }
    return grpc::Status::OK;
  }

  void AnswerAll(Stream* stream, std::deque<v1::EventBatch>& waiting, std::atomic<bool>& is_over) {
    HoldReceipts(is_over);
    while (true) {
      v1::EventBatch batch;
      {
        const std::lock_guard lock(state_.mutex);
        if (is_over && (waiting.empty() || state_.is_mute)) return;
        if (!waiting.empty()) batch = waiting.front();
      }
      if (batch.events().empty() || state_.is_mute) {
        std::this_thread::sleep_for(std::chrono::milliseconds(1));
        continue;
      }
      v1::BatchReceipt receipt = Receive(batch);
      {
        const std::lock_guard lock(state_.mutex);
        waiting.pop_front();
      }
      stream->Write(receipt);
    }
  }

  // Waits for the batches that are to pile up, and a moment longer for one too many.
  void HoldReceipts(const std::atomic<bool>& is_over) {
    for (bool is_reached = state_.hold_until == 0; !is_reached && !is_over;) {
      std::this_thread::sleep_for(std::chrono::milliseconds(50));
      const std::lock_guard lock(state_.mutex);
      is_reached = state_.most_unanswered >= state_.hold_until;
    }
    if (state_.hold_until > 0) std::this_thread::sleep_for(std::chrono::milliseconds(100));
  }

  v1::BatchReceipt Receive(const v1::EventBatch& batch) {
    v1::BatchReceipt receipt;
    receipt.set_batch_number(batch.batch_number());
    if (state_.receive) {
      state_.receive(batch, &receipt);
    } else {
      receipt.set_accepted_count(batch.events_size());
    }
    const std::lock_guard lock(state_.mutex);
    state_.events.insert(state_.events.end(), batch.events().begin(), batch.events().end());
    return receipt;
  }

  FakeState& state_;
};

class FakeOrders : public v1::Orders::Service {
 public:
  explicit FakeOrders(FakeState* state) : state_(*state) {}

  grpc::Status GetOrder(grpc::ServerContext*, const v1::GetOrderRequest* request,
                        v1::Order* answer) override {
    for (const v1::Order& order : state_.orders) {
      if (order.shop() != request->shop() || order.order_id() != request->order_id()) continue;
      *answer = order;
      return grpc::Status::OK;
    }
    return NotFound();
  }

  grpc::Status LookUpOrders(grpc::ServerContext* context, const v1::LookUpOrdersRequest* request,
                            v1::LookUpOrdersResponse* response) override {
    const std::lock_guard lock(state_.mutex);
    if (!state_.owner.empty()) {
      context->AddInitialMetadata("plumblane-follows", "yes");
      context->AddInitialMetadata("plumblane-owner", state_.owner);
    }
    if (request->questions_size() > 0) state_.look_ups.push_back(*request);
    for (const auto& question : request->questions()) {
      auto& answer = *response->add_answers();
      if (question.has_tracking()) {
        const auto it = state_.by_tracking.find(question.tracking());
        if (it != state_.by_tracking.end()) answer = it->second;
        continue;
      }
      const std::string key = question.order().shop() + "/" + question.order().order_id();
      const auto it = state_.destinations.find(key);
      if (it == state_.destinations.end()) continue;
      answer.set_shop(question.order().shop());
      answer.set_order_id(question.order().order_id());
      answer.set_part(question.order().part());
      answer.set_destination(it->second);
    }
    return grpc::Status::OK;
  }

  grpc::Status ListUnderway(grpc::ServerContext*, const v1::ListUnderwayRequest* request,
                            v1::ListUnderwayResponse* answer) override {
    const std::lock_guard lock(state_.mutex);
    state_.underway_request = *request;
    *answer = state_.underway;
    Page(state_.underway.orders(), state_.page_size, *request, answer->mutable_orders(), answer);
    return grpc::Status::OK;
  }

  grpc::Status ListClaims(grpc::ServerContext*, const v1::ListClaimsRequest* request,
                          v1::ListClaimsResponse* answer) override {
    const std::lock_guard lock(state_.mutex);
    state_.claims_request = *request;
    *answer = state_.claims;
    Page(state_.claims.claims(), state_.page_size, *request, answer->mutable_claims(), answer);
    return grpc::Status::OK;
  }

  grpc::Status CreateExcuse(grpc::ServerContext*, const v1::CreateExcuseRequest* request,
                            v1::Excuse* answer) override {
    if (request->excuse().reason() == "taken")
      return {grpc::StatusCode::ALREADY_EXISTS, "is taken"};
    *answer = request->excuse();
    answer->set_excuse_id("excuse-" + std::to_string(state_.excuses.size() + 1));
    state_.excuses.push_back(*answer);
    return grpc::Status::OK;
  }

  grpc::Status ListExcuses(grpc::ServerContext*, const v1::ListExcusesRequest*,
                           v1::ListExcusesResponse* answer) override {
    for (const v1::Excuse& excuse : state_.excuses) *answer->add_excuses() = excuse;
    return grpc::Status::OK;
  }

  grpc::Status WithdrawExcuse(grpc::ServerContext*, const v1::WithdrawExcuseRequest* request,
                              v1::Excuse* answer) override {
    for (v1::Excuse& excuse : state_.excuses) {
      if (excuse.excuse_id() != request->excuse_id()) continue;
      excuse.set_withdrawn(true);
      *answer = excuse;
      return grpc::Status::OK;
    }
    return NotFound();
  }

 private:
  FakeState& state_;
};

class FakeScores : public v1::Scores::Service {
 public:
  explicit FakeScores(FakeState* state) : state_(*state) {}

  grpc::Status GetScore(grpc::ServerContext*, const v1::GetScoreRequest* request,
                        v1::Score* answer) override {
    const std::lock_guard lock(state_.mutex);
    state_.score_request = *request;
    const auto it = state_.scores.find(request->name());
    if (it == state_.scores.end()) return NotFound();
    *answer = it->second;
    return grpc::Status::OK;
  }

  grpc::Status ListScores(grpc::ServerContext*, const v1::ListScoresRequest* request,
                          v1::ListScoresResponse* answer) override {
    const std::lock_guard lock(state_.mutex);
    state_.list_request = *request;
    const bool suppliers = request->collection() == v1::ListScoresRequest::COLLECTION_SUPPLIERS;
    Page(suppliers ? state_.suppliers : state_.lanes, state_.page_size, *request,
         answer->mutable_scores(), answer);
    return grpc::Status::OK;
  }

  grpc::Status Backtest(grpc::ServerContext*, const v1::BacktestRequest* request,
                        v1::BacktestResponse* answer) override {
    const std::lock_guard lock(state_.mutex);
    state_.backtest_request = *request;
    *answer = state_.backtest;
    if (!answer->forecasters().empty()) return grpc::Status::OK;
    return {grpc::StatusCode::FAILED_PRECONDITION, "too little history: 3 days"};
  }

 private:
  FakeState& state_;
};

class FakeOperations : public v1::Operations::Service {
 public:
  explicit FakeOperations(FakeState* state) : state_(*state) {}
  grpc::Status GetStatus(grpc::ServerContext*, const v1::GetStatusRequest*,
                         v1::ServerStatus* answer) override {
    *answer = state_.status;
    return grpc::Status::OK;
  }
  grpc::Status Verify(grpc::ServerContext*, const v1::VerifyRequest*,
                      grpc::ServerWriter<v1::VerifyUpdate>* writer) override {
    for (const v1::VerifyUpdate& update : state_.verify_updates) writer->Write(update);
    return state_.verify_status;
  }
  grpc::Status Backup(grpc::ServerContext*, const v1::BackupRequest* request,
                      v1::BackupResponse* answer) override {
    const std::lock_guard lock(state_.mutex);
    state_.backups.push_back(*request);
    *answer = state_.backup;
    return state_.backup_status;
  }

 private:
  FakeState& state_;
};

}  // namespace

class FakeDaemon::Services {
 public:
  explicit Services(FakeState* state)
      : intake(state),
        orders(state),
        scores(state),
        sourcing(MakeFakeSourcing(state)),
        agreements(MakeFakeAgreements(state)),
        alerts(MakeFakeAlerts(state)),
        operations(state) {}
  FakeIntake intake;
  FakeOrders orders;
  FakeScores scores;
  std::unique_ptr<v1::Sourcing::Service> sourcing;
  std::unique_ptr<v1::Agreements::Service> agreements;
  std::unique_ptr<v1::Alerts::Service> alerts;
  FakeOperations operations;
};

FakeDaemon::FakeDaemon() : services_(std::make_unique<Services>(&state)) {
  std::string folder = (std::filesystem::temp_directory_path() / "fake-daemon-XXXXXX").string();
  folder_ = mkdtemp(folder.data());
  address_ = "unix:" + folder_ + "/socket";
  grpc::ServerBuilder builder;
  builder.AddListeningPort(address_, grpc::InsecureServerCredentials());
  builder.RegisterService(&services_->intake);
  builder.RegisterService(&services_->orders);
  builder.RegisterService(&services_->scores);
  builder.RegisterService(services_->sourcing.get());
  builder.RegisterService(services_->agreements.get());
  builder.RegisterService(services_->alerts.get());
  builder.RegisterService(&services_->operations);
  server_ = builder.BuildAndStart();
}

FakeDaemon::~FakeDaemon() {
  server_->Shutdown(std::chrono::system_clock::now());
  server_->Wait();
  std::filesystem::remove_all(folder_);
}

}  // namespace plumblane::client
