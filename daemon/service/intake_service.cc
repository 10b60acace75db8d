#include "service/intake_service.h"

#include <absl/strings/str_cat.h>

#include <algorithm>
#include <deque>
#include <map>
#include <utility>

#include "service/fill_event.h"
#include "service/read_event.h"
#include "service/read_question.h"
#include "service/status.h"
#include "service/write_answer.h"

namespace plumblane {
namespace {

// What the library's threads read themselves: to wake another costs as much as some events.
constexpr size_t kFewBytes = 2048;

}  // namespace

// One stream. gRPC calls its reactions, the committer its answers; each takes the mutex and leaves
// through Leave(). It ends with exactly one Finish, when nothing of it is with the engine or being
// written any more; after that it may be deleted at any moment.
class IngestStream final : public grpc::ServerBidiReactor<grpc::ByteBuffer, grpc::ByteBuffer> {
 public:
  IngestStream(IntakeService& service, InTurn& reader, grpc::CallbackServerContext& context)
      : service_(service), reader_(reader), context_(context), terms_(service.terms_of_(context)) {
    std::lock_guard lock(mutex_);
    ReadNext();
  }

  void OnReadDone(bool ok) override {
    Lock lock(mutex_);
    reading_ = false;
    // A batch that arrives after the end is dropped: it has no receipt, and may find the stream
    // finished, which then can be deleted while the engine still holds the batch.
    if (!ok || no_more_reads_) {
      no_more_reads_ = true;
      return Leave(lock);
    }
    submitting_ = true;
    lock.unlock();
    if (bytes_.Length() <= kFewBytes) return Take();
    reader_.Do([this] { Take(); });
  }

  void OnWriteDone(bool ok) override {
    Lock lock(mutex_);
    writing_ = false;
    receipts_.pop_front();
    if (!ok) {
      no_more_reads_ = true;
      receipts_.clear();
    }
    WriteNext();
    ReadNext();
    Leave(lock);
  }

  void OnCancel() override { EndFromOutside({grpc::CANCELLED, "cancelled"}); }

  void OnDone() override {
    service_.Forget(this);
    delete this;
  }

  void Drain() {
    EndFromOutside({grpc::UNAVAILABLE, "the daemon is stopping; send what has no receipt again"});
  }

 private:
  using Lock = std::unique_lock<std::mutex>;

  struct Read {
    Submission submission;
    v1::BatchReceipt receipt;
    std::vector<int> indexes;               // of the submitted events in the batch
    std::map<size_t, std::string> remarks;  // by position among the submitted events
    bool is_answered = false;
  };

  void EndFromOutside(grpc::Status status) {
    Lock lock(mutex_);
    End(std::move(status));
    Leave(lock);
  }

  // What was read is its caller's, and the stream cannot end, while submitting_.
  void Take() {
    std::shared_ptr<Read> read;
    grpc::Status status = Decode();
    if (status.ok()) read = std::make_shared<Read>(ReadBatch());
    Lock lock(mutex_);
    if (!status.ok()) {
      submitting_ = false;
      End(std::move(status));
      return Leave(lock);
    }
    ++in_flight_;
    in_order_.push_back(read);
    lock.unlock();
    Submit(read);
  }

  // Into batch_; not OK ends the stream: the batch is more, or of others, than its sender may send.
  grpc::Status Decode() {
    if (!grpc::SerializationTraits<v1::EventBatch>::Deserialize(&bytes_, &batch_).ok()) {
      return {grpc::INVALID_ARGUMENT, "a message that is no batch of events"};
    }
    if (batch_.events_size() > kMaxBatchEvents) {
      return {grpc::RESOURCE_EXHAUSTED,
              absl::StrCat("a batch of ", batch_.events_size(), " events; expected at most ",
                           kMaxBatchEvents)};
    }
    return CheckTerms();
  }

  grpc::Status CheckTerms() {
    if (!terms_.sources.empty()) {
      for (const v1::Event& event : batch_.events()) {
        const std::string source = event.source().empty() ? kDefaultSource : event.source();
        if (terms_.MaySendFrom(source)) continue;
        return {grpc::PERMISSION_DENIED,
                absl::StrCat("the token \"", terms_.name, "\" may not send events of source \"",
                             source, "\"")};
      }
    }
    if (terms_.rate == nullptr) return grpc::Status::OK;
    const int64_t wait_millis = terms_.rate->Take(batch_.events_size(), service_.engine_.WallNow());
    if (wait_millis == 0) return grpc::Status::OK;
    // What the library's own retries look for.
    context_.AddTrailingMetadata("grpc-retry-pushback-ms", absl::StrCat(wait_millis));
    return {grpc::RESOURCE_EXHAUSTED,
            absl::StrCat("\"", terms_.name, "\" sends more events a second than it may; go on in ",
                         wait_millis, " ms with what has no receipt")};
  }

  Read ReadBatch() {
    Read read;
    read.receipt.set_batch_number(batch_.batch_number());
    const Instant now = service_.engine_.WallNow();
    const View view = service_.engine_.Look();
    const auto agreements = view.catalog().agreements;
    if (batch_.history()) read.submission.history_through = view.now();
    std::vector<OrderEvent> events;
    events.reserve(static_cast<size_t>(batch_.events_size()));
    read.indexes.reserve(static_cast<size_t>(batch_.events_size()));
    for (int i = 0; i < batch_.events_size(); ++i) {
      OrderEvent& taken = events.emplace_back();
      if (auto rejection = ReadEvent(batch_.events(i), service_.zones_, now, taken)) {
        events.pop_back();
        Reject(i, *std::move(rejection), read.receipt);
        continue;
      }
      if (batch_.send_number() != 0) {
        taken.event.tellings = {{taken.event.revision.value_or(Instant{0}), batch_.send_number()}};
      }
      std::string remark =
          FillFromAgreements(batch_.events(i), *agreements, service_.zones_, taken.event);
      if (!remark.empty()) read.remarks[read.indexes.size()] = std::move(remark);
      if (auto& history = read.submission.history_through) {
        history = std::max(*history, taken.event.time);
      }
      read.indexes.push_back(i);
    }
    read.submission.events = std::move(events);
    return read;
  }

  static void Reject(int index, Rejection rejection, v1::BatchReceipt& receipt) {
    v1::EventResult* result = receipt.add_results();
    result->set_index(index);
    result->set_outcome(v1::EventResult::OUTCOME_REJECTED);
    result->set_code(std::move(rejection.code));
    result->set_field(std::move(rejection.field));
    result->set_message(std::move(rejection.message));
    receipt.set_rejected_count(receipt.rejected_count() + 1);
  }

  // Tries again whenever the engine has room. Until it has taken the batch the stream cannot end.
  void Submit(const std::shared_ptr<Read>& read) {
    const bool taken =
        service_.engine_.Submit(std::move(read->submission),
                                [this, read](const Receipt& receipt) { Answer(*read, receipt); });
    if (!taken) return service_.engine_.WhenRoom([this, read] { Submit(read); });
    Lock lock(mutex_);
    submitting_ = false;
    ReadNext();
    Leave(lock);
  }

  void Answer(Read& read, const Receipt& receipt) {
    Lock lock(mutex_);
    --in_flight_;
    const auto has_no_send = [](const EventFate& fate) {
      return fate.kind == EventFate::Kind::kNoSend;
    };
    if (std::any_of(receipt.fates.begin(), receipt.fates.end(), has_no_send)) {
      End({grpc::FAILED_PRECONDITION, "the send was taken back, or never began; begin another"});
    } else if (receipt.status.ok()) {
      Count(read, receipt);
      AddTo(service_.totals_, read.receipt);
      read.is_answered = true;
      // Of several partitions a batch may be answered before the one that came before it.
      for (; !in_order_.empty() && in_order_.front()->is_answered; in_order_.pop_front()) {
        bool owned = false;
        receipts_.emplace_back();
        (void)grpc::SerializationTraits<v1::BatchReceipt>::Serialize(in_order_.front()->receipt,
                                                                     &receipts_.back(), &owned);
      }
      WriteNext();
    } else {
      End(ToGrpc(receipt.status));
    }
    Leave(lock);
  }

  // The last thing any caller does.
  void Leave(Lock& lock) {
    const bool idle =
        no_more_reads_ && !submitting_ && in_flight_ == 0 && !writing_ && receipts_.empty();
    if (finished_ || !idle) return lock.unlock();
    finished_ = true;
    const grpc::Status end = end_;
    lock.unlock();
    Finish(end);
  }

  // The rest REQUIRES mutex_ held.

  // Not before the last batch is with the engine: batches are submitted in the order they came.
  void ReadNext() {
    if (reading_ || submitting_ || no_more_reads_) return;
    if (in_order_.size() + receipts_.size() >= static_cast<size_t>(kBatchesInFlight)) return;
    reading_ = true;
    StartRead(&bytes_);
  }

  static void Count(Read& read, const Receipt& receipt) {
    v1::BatchReceipt& out = read.receipt;
    out.set_log_sequence(static_cast<int64_t>(receipt.log_sequence));
    int64_t accepted = 0, duplicates = 0, conflicts = 0, refused = 0;
    for (size_t i = 0; i < receipt.fates.size(); ++i) {
      switch (receipt.fates[i].kind) {
        case EventFate::Kind::kDuplicate:
          ++duplicates;
          break;
        case EventFate::Kind::kConflict:
          ++conflicts;
          break;
        case EventFate::Kind::kOrderFull:
        case EventFate::Kind::kNotKept:
          ++refused;
          break;
        default:
          ++accepted;
          if (const auto remark = read.remarks.find(i); remark != read.remarks.end()) {
            *out.add_results() = WriteItemRemark(read.indexes[i], std::move(remark->second));
          }
      }
      if (auto result = WriteFate(read.indexes[i], receipt.fates[i])) {
        *out.add_results() = *std::move(result);
      }
    }
    out.set_accepted_count(accepted);
    out.set_duplicate_count(duplicates);
    out.set_conflict_count(conflicts);
    out.set_rejected_count(out.rejected_count() + refused);
    out.set_order_delta(receipt.standing.orders);
    out.set_waiting_delta(receipt.standing.waiting);
    out.set_unpromised_delta(receipt.standing.unpromised);
  }

  static void AddTo(IntakeService::Totals& totals, const v1::BatchReceipt& receipt) {
    totals.accepted += receipt.accepted_count();
    totals.duplicates += receipt.duplicate_count();
    totals.conflicts += receipt.conflict_count();
    totals.rejected += receipt.rejected_count();
  }

  void WriteNext() {
    if (writing_ || receipts_.empty() || finished_) return;
    writing_ = true;
    StartWrite(&receipts_.front());
  }

  void End(grpc::Status status) {
    if (end_.ok()) end_ = std::move(status);
    no_more_reads_ = true;
  }

  IntakeService& service_;
  InTurn& reader_;
  grpc::CallbackServerContext& context_;
  const SenderTerms terms_;
  std::mutex mutex_;
  grpc::ByteBuffer bytes_;                      // being read into, or just read
  v1::EventBatch batch_;                        // what they say
  std::deque<std::shared_ptr<Read>> in_order_;  // batches without a receipt yet
  std::deque<grpc::ByteBuffer> receipts_;       // the first is being written when writing_
  int in_flight_ = 0;                           // batches with the engine
  bool reading_ = false;                        // a read is with gRPC
  bool submitting_ = false;                     // a batch is being read or on its way to the engine
  bool writing_ = false;                        // the first receipt is with gRPC
  bool no_more_reads_ = false, finished_ = false;
  grpc::Status end_;
};

grpc::ServerBidiReactor<grpc::ByteBuffer, grpc::ByteBuffer>* IntakeService::IngestEvents(
    grpc::CallbackServerContext* context) {
  auto* stream = new IngestStream(*this, readers_[next_reader_++ % readers_.size()], *context);
  std::lock_guard lock(mutex_);
  streams_.insert(stream);
  if (draining_) stream->Drain();
  return stream;
}

void IntakeService::Forget(IngestStream* stream) {
  std::lock_guard lock(mutex_);
  streams_.erase(stream);
}

void IntakeService::Drain() {
  std::lock_guard lock(mutex_);
  draining_ = true;
  for (IngestStream* stream : streams_) stream->Drain();
}

namespace {

absl::StatusOr<SourceNews> ReadNews(const v1::ReportNewsRequest& request, Instant now) {
  SourceNews news;
  news.source = request.source().empty() ? kDefaultSource : request.source();
  if (absl::Status status = CheckId(news.source); !status.ok()) {
    return absl::InvalidArgumentError(absl::StrCat("source: ", std::string(status.message())));
  }
  if (request.has_complete_through_time()) {
    auto time = ReadTime("complete_through_time", request.complete_through_time(), now);
    if (!time.ok()) return time.status();
    news.news = *time;
  } else if (request.live()) {
    news.news = SourceNews::Live{};
  } else if (request.retired()) {
    news.news = SourceNews::Retired{};
  } else {
    return absl::InvalidArgumentError("expected complete_through_time, live or retired");
  }
  return news;
}

}  // namespace

grpc::ServerUnaryReactor* IntakeService::ReportNews(grpc::CallbackServerContext* context,
                                                    const v1::ReportNewsRequest* request,
                                                    v1::ReportNewsResponse* response) {
  grpc::ServerUnaryReactor* reactor = context->DefaultReactor();
  auto news = ReadNews(*request, engine_.WallNow());
  if (!news.ok()) {
    reactor->Finish(ToGrpc(news.status()));
    return reactor;
  }
  const std::string source = news->source;
  news->send = request->send_number();
  SubmitFact(engine_, Submission{{}, {*std::move(news)}, {}}, reactor,
             [this, response, source](const Receipt& receipt) {
               response->set_log_sequence(static_cast<int64_t>(receipt.log_sequence));
               const View view = engine_.Look();
               const auto known = view.catalog().sources.find(source);
               if (known == view.catalog().sources.end()) return;  // its send was taken back
               const auto& through = known->second.complete_through;
               if (through) WriteTime(*through, response->mutable_complete_through_time());
             });
  return reactor;
}

}  // namespace plumblane
