// The calls about whole sends.
#include <absl/strings/str_cat.h>

#include <algorithm>
#include <utility>

#include "base/ids.h"
#include "engine/sends.h"
#include "service/intake_service.h"
#include "service/page_token.h"
#include "service/status.h"
#include "service/write_answer.h"
#include "storage/bytes.h"

namespace plumblane {
namespace {

using Reactor = grpc::ServerUnaryReactor;

constexpr int kMaxFiles = 1000;
constexpr size_t kMaxFileName = 4096;

v1::Send::State StateOf(SendState state) {
  switch (state) {
    case SendState::kUnderway:
      return v1::Send::STATE_OPEN;
    case SendState::kFinished:
      return v1::Send::STATE_FINISHED;
    case SendState::kBeingTakenBack:
      return v1::Send::STATE_UNDOING;
    case SendState::kTakenBack:
      break;
  }
  return v1::Send::STATE_UNDONE;
}

void WriteSend(const Send& send, v1::Send* out) {
  out->set_send_number(send.number);
  out->set_state(StateOf(send.state));
  WriteTime(send.begun, out->mutable_begin_time());
  if (send.finished) WriteTime(*send.finished, out->mutable_finish_time());
  if (send.taken_back) WriteTime(*send.taken_back, out->mutable_undo_time());
  out->mutable_files()->Assign(send.from.files.begin(), send.from.files.end());
  out->set_shop(send.from.shop);
  out->set_source(send.from.source);
  out->set_accepted_count(send.accepted);
  out->set_duplicate_count(send.repeated);
  out->set_conflict_count(send.conflicts);
  out->set_rejected_count(send.rejected);
  if (send.first_event) WriteTime(*send.first_event, out->mutable_first_event_time());
  if (send.last_event) WriteTime(*send.last_event, out->mutable_last_event_time());
  out->set_first_log_sequence(static_cast<int64_t>(send.first_sequence));
  out->set_last_log_sequence(static_cast<int64_t>(send.last_sequence));
  out->set_gone_event_count(send.events_taken_back.gone);
  out->set_kept_event_count(send.events_taken_back.staying);
}

void WriteEffect(const TakeBackEffect& effect, v1::UndoEffect* out) {
  out->set_order_count(effect.orders);
  out->set_gone_event_count(effect.events.gone);
  out->set_kept_event_count(effect.events.staying);
  out->set_gone_part_count(effect.parts_gone);
  for (const auto& [supplier, change] : effect.suppliers) {
    v1::SupplierChange* one = out->add_suppliers();
    one->set_supplier(supplier);
    one->set_order_delta(change.orders);
    one->set_delivered_delta(change.delivered);
    one->set_late_delta(change.late);
    one->set_defect_delta(change.defects);
  }
}

absl::StatusOr<Send> FindSend(const View& view, int64_t number) {
  auto send = ReadSend(view.snapshot(), number);
  if (!send.ok()) return send.status();
  if (!*send) return absl::NotFoundError(absl::StrCat("there is no send ", number));
  return **std::move(send);
}

absl::Status CheckName(const std::string& field, const std::string& name) {
  const absl::Status status = CheckId(name);
  if (status.ok()) return status;
  return absl::InvalidArgumentError(absl::StrCat(field, ": ", std::string(status.message())));
}

absl::StatusOr<SendBegun> ReadBegun(const v1::BeginSendRequest& request) {
  SendBegun begun{{request.files().begin(), request.files().end()},
                  request.shop().empty() ? kDefaultShop : request.shop(),
                  request.source().empty() ? kDefaultSource : request.source()};
  if (absl::Status status = CheckName("shop", begun.shop); !status.ok()) return status;
  if (absl::Status status = CheckName("source", begun.source); !status.ok()) return status;
  const auto is_long = [](const std::string& name) { return name.size() > kMaxFileName; };
  if (request.files_size() > kMaxFiles ||
      std::any_of(begun.files.begin(), begun.files.end(), is_long)) {
    return absl::InvalidArgumentError("files: expected at most 1,000, each of at most 4,096 bytes");
  }
  return begun;
}

absl::Status ListSendsOf(const View& view, const v1::ListSendsRequest& request,
                         v1::ListSendsResponse* response) {
  const auto size = ReadPageSize(request.page_size());
  if (!size.ok()) return size.status();
  const auto after = ReadToken("sends", request.page_token());
  if (!after.ok()) return after.status();
  const int64_t before = after->empty() ? INT64_MAX : ByteReader(*after).Signed();
  return EachSend(view.snapshot(), before, [&](const Send& send) {
    if (static_cast<size_t>(response->sends_size()) == *size) {
      ByteWriter writer;
      writer.Signed(send.number + 1);
      response->set_next_page_token(MakeToken("sends", writer.Take()));
      return false;
    }
    WriteSend(send, response->add_sends());
    return true;
  });
}

// Step by step until it is done, or the call is.
absl::Status Undo(Desk& engine, int64_t number, const std::function<bool()>& give_up,
                  v1::UndoSendResponse* response) {
  while (!give_up()) {
    Submission step;
    step.sends_taken_back = {number};
    const Receipt receipt = SubmitAndWait(engine, std::move(step));
    if (!receipt.status.ok()) return receipt.status;
    const auto send = FindSend(engine.Look(), number);
    if (!send.ok()) return send.status();
    if (send->state != SendState::kTakenBack) continue;
    WriteSend(*send, response->mutable_send());
    return absl::OkStatus();
  }
  return absl::CancelledError("cut short; undo it again, or restart the daemon, to finish it");
}

absl::Status UndoOrTell(Desk& engine, const v1::UndoSendRequest& request,
                        const std::function<bool()>& give_up, v1::UndoSendResponse* response) {
  const View view = engine.Look();
  const auto send = FindSend(view, request.send_number());
  if (!send.ok()) return send.status();
  if (send->state == SendState::kTakenBack) {
    return absl::FailedPreconditionError(
        absl::StrCat("send ", send->number, " was taken back already"));
  }
  if (!request.validate_only()) return Undo(engine, send->number, give_up, response);
  const auto effect =
      EffectOfTakingBack(view.snapshot(), view.catalog(), view.rules().fold, send->number, give_up);
  if (!effect.ok()) return effect.status();
  WriteSend(*send, response->mutable_send());
  WriteEffect(*effect, response->mutable_effect());
  return absl::OkStatus();
}

}  // namespace

Reactor* IntakeService::BeginSend(grpc::CallbackServerContext* context,
                                  const v1::BeginSendRequest* request, v1::Send* response) {
  Reactor* reactor = context->DefaultReactor();
  auto begun = ReadBegun(*request);
  if (!begun.ok()) {
    reactor->Finish(ToGrpc(begun.status()));
    return reactor;
  }
  Submission submission;
  submission.sends_begun.push_back(*std::move(begun));
  SubmitFact(engine_, std::move(submission), reactor, [this, response](const Receipt& receipt) {
    const auto send = ReadSend(engine_.Look().snapshot(), receipt.sends.front());
    if (send.ok() && *send) WriteSend(**send, response);
  });
  return reactor;
}

Reactor* IntakeService::FinishSend(grpc::CallbackServerContext* context,
                                   const v1::FinishSendRequest* request, v1::Send* response) {
  Reactor* reactor = context->DefaultReactor();
  const int64_t number = request->send_number();
  const auto known = FindSend(engine_.Look(), number);
  absl::Status bad = known.status();
  if (bad.ok() && !known->takes_events()) {
    bad = absl::FailedPreconditionError(absl::StrCat("send ", number, " was taken back"));
  }
  if (!bad.ok()) {
    reactor->Finish(ToGrpc(bad));
    return reactor;
  }
  Submission submission;
  submission.sends_finished.push_back({number, std::max<int64_t>(0, request->rejected_count())});
  SubmitFact(engine_, std::move(submission), reactor, [this, response, number](const Receipt&) {
    const auto send = ReadSend(engine_.Look().snapshot(), number);
    if (send.ok() && *send) WriteSend(**send, response);
  });
  return reactor;
}

Reactor* IntakeService::ListSends(grpc::CallbackServerContext* context,
                                  const v1::ListSendsRequest* request,
                                  v1::ListSendsResponse* response) {
  return ReplyNow(context, [&] { return ListSendsOf(engine_.Look(), *request, response); });
}

Reactor* IntakeService::UndoSend(grpc::CallbackServerContext* context,
                                 const v1::UndoSendRequest* request,
                                 v1::UndoSendResponse* response) {
  Reactor* reactor = context->DefaultReactor();
  const auto status = std::make_shared<absl::Status>();
  const bool started = undos_.Start(
      [this, status, context, request, response] {
        *status = UndoOrTell(
            engine_, *request, [context] { return context->IsCancelled(); }, response);
      },
      [status, reactor] { reactor->Finish(ToGrpc(*status)); });
  if (!started) {
    reactor->Finish({grpc::RESOURCE_EXHAUSTED,
                     "another send is being taken back; ask again when that is done"});
  }
  return reactor;
}

}  // namespace plumblane
