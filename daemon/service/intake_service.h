// Intake: batches of events in, receipts out; whole sends begun, listed and taken back
// (send_service.cc).
//
// One stream holds at most kBatchesInFlight batches that were read and not yet answered; beyond
// that, and while the engine has no room, nothing is read, so the sender is slowed by flow control.
// A slow reader of receipts slows only itself. Large batches are read by threads of the service's
// own: the library has few, and who asks would wait for them.
#pragma once

#include <plumblane/v1/intake.grpc.pb.h>

#include <array>
#include <atomic>
#include <functional>
#include <memory>
#include <mutex>
#include <set>
#include <utility>

#include "access/sender_terms.h"
#include "base/zones.h"
#include "engine/desk.h"
#include "service/in_turn.h"
#include "service/one_at_a_time.h"

namespace plumblane {

inline constexpr int kMaxBatchEvents = 1000;
inline constexpr int kBatchesInFlight = 16;

class IngestStream;

// The batches come as bytes, so that it is ours who decodes them.
using IntakeCalls = v1::Intake::WithRawCallbackMethod_IngestEvents<
    v1::Intake::WithCallbackMethod_ReportNews<v1::Intake::WithCallbackMethod_BeginSend<
        v1::Intake::WithCallbackMethod_FinishSend<v1::Intake::WithCallbackMethod_ListSends<
            v1::Intake::WithCallbackMethod_UndoSend<v1::Intake::Service>>>>>>;

class IntakeService final : public IntakeCalls {
 public:
  // What the caller of a stream may send.
  using TermsOf = std::function<SenderTerms(const grpc::ServerContextBase& context)>;
  // `engine` and `zones` must outlive the service and all its streams.
  IntakeService(
      Desk& engine, const Zones& zones,
      TermsOf terms_of = [](const auto&) { return SenderTerms(); })
      : engine_(engine), zones_(zones), terms_of_(std::move(terms_of)) {}

  grpc::ServerBidiReactor<grpc::ByteBuffer, grpc::ByteBuffer>* IngestEvents(
      grpc::CallbackServerContext* context) override;
  grpc::ServerUnaryReactor* ReportNews(grpc::CallbackServerContext* context,
                                       const v1::ReportNewsRequest* request,
                                       v1::ReportNewsResponse* response) override;
  grpc::ServerUnaryReactor* BeginSend(grpc::CallbackServerContext* context,
                                      const v1::BeginSendRequest* request,
                                      v1::Send* response) override;
  grpc::ServerUnaryReactor* FinishSend(grpc::CallbackServerContext* context,
                                       const v1::FinishSendRequest* request,
                                       v1::Send* response) override;
  grpc::ServerUnaryReactor* ListSends(grpc::CallbackServerContext* context,
                                      const v1::ListSendsRequest* request,
                                      v1::ListSendsResponse* response) override;
  grpc::ServerUnaryReactor* UndoSend(grpc::CallbackServerContext* context,
                                     const v1::UndoSendRequest* request,
                                     v1::UndoSendResponse* response) override;

  // Events answered since the start, by what became of them.
  struct Totals {
    std::atomic<int64_t> accepted = 0, duplicates = 0, conflicts = 0, rejected = 0;
  };
  const Totals& totals() const { return totals_; }

  // Open streams read no more, answer what they hold and end with UNAVAILABLE; so do new ones.
  void Drain();

 private:
  friend class IngestStream;
  void Forget(IngestStream* stream);

  Desk& engine_;
  const Zones& zones_;
  const TermsOf terms_of_;
  Totals totals_;
  std::mutex mutex_;
  bool draining_ = false;                                // guarded by mutex_
  std::set<IngestStream*> streams_;                      // guarded by mutex_
  std::array<InTurn, 2> readers_{InTurn(5), InTurn(5)};  // each stream has one
  std::atomic<size_t> next_reader_ = 0;
  OneAtATime undos_;
};

}  // namespace plumblane
