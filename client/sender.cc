#include "client/sender.h"

#include <absl/strings/numbers.h>
#include <absl/time/clock.h>

#include <algorithm>
#include <cmath>
#include <utility>

namespace plumblane::client {
namespace {

constexpr double kFirstWaitMillis = 100, kLastWaitMillis = 5000;

// What an operation on the stream is known by in the queue.
enum Operation { kStart, kWrite, kRead, kWritesDone, kFinish };

// An operation's tag is the place of its own in this array.
constexpr Operation kOperations[] = {kStart, kWrite, kRead, kWritesDone, kFinish};
void* Tag(Operation operation) { return const_cast<Operation*>(&kOperations[operation]); }

}  // namespace

Sender::Sender(v1::Intake::StubInterface* intake, Options options, OnReceipt on_receipt,
               OnBreak on_break)
    : intake_(intake),
      options_(options),
      on_receipt_(std::move(on_receipt)),
      on_break_(std::move(on_break)) {}

Sender::~Sender() {
  if (stream_ != nullptr && !is_finished_) (void)Break(grpc::Status::CANCELLED);
  queue_.Shutdown();
  void* tag;
  bool ok;
  while (queue_.Next(&tag, &ok)) {
  }
}

void Sender::Start() {
  stream_.reset();  // it lives in what the context keeps
  context_ = std::make_unique<grpc::ClientContext>();
  stream_ = intake_->AsyncIngestEvents(context_.get(), &queue_, Tag(kStart));
  is_writing_ = true;
  written_ = 0;
}

void Sender::WriteNext() {
  if (is_writing_ || written_ == in_flight_.size()) return;
  const Batch& batch = in_flight_[written_++];
  message_.Clear();
  message_.set_batch_number(batch.number);
  message_.set_history(options_.history);
  message_.set_send_number(options_.send);
  for (const Outgoing& outgoing : batch.events) *message_.add_events() = outgoing.event;
  is_writing_ = true;
  stream_->Write(message_, Tag(kWrite));
}

void Sender::Handle(void* tag, bool ok) {
  switch (*static_cast<const Operation*>(tag)) {
    case kStart:
      is_writing_ = false;
      is_over_ = is_over_ || !ok;
      if (!ok) return;
      is_reading_ = true;
      stream_->Read(&receipt_, Tag(kRead));
      return WriteNext();
    case kWrite:
      is_writing_ = false;
      is_over_ = is_over_ || !ok;
      if (ok) WriteNext();
      return;
    case kRead:
      is_reading_ = false;
      if (!ok) {
        is_over_ = true;
        return;
      }
      TakeReceipt();
      is_reading_ = true;
      return stream_->Read(&receipt_, Tag(kRead));
    case kWritesDone:
      is_writing_ = false;
      return;
    case kFinish:
      is_finished_ = true;
      return;
  }
}

void Sender::TakeReceipt() {
  // Receipts come in order; one that is out of it settles nothing.
  if (written_ == 0 || in_flight_.front().number != receipt_.batch_number()) {
    error_ =
        grpc::Status(grpc::StatusCode::INTERNAL, "the daemon answered a batch it was not sent");
    return;
  }
  on_receipt_(in_flight_.front().events, receipt_);
  in_flight_.pop_front();
  --written_;
  broken_since_.reset();
  breaks_ = 0;
}

template <typename Done>
grpc::Status Sender::DriveUntil(Done done) {
  while (error_.ok() && !done()) {
    grpc::Status trouble;
    void* tag;
    bool ok;
    const auto deadline = absl::ToChronoTime(absl::Now() + options_.patience);
    if (is_over_ && !is_ending_) {
      trouble = {grpc::StatusCode::UNAVAILABLE, "the daemon ended the connection"};
    } else if (queue_.AsyncNext(&tag, &ok, deadline) != grpc::CompletionQueue::GOT_EVENT) {
      trouble = {grpc::StatusCode::DEADLINE_EXCEEDED, "the daemon does not answer"};
    } else {
      Handle(tag, ok);
      continue;
    }
    (void)Break(trouble);
    if (!Resume()) return error_;
  }
  return error_.ok() ? error_ : Break(error_);
}

bool Sender::Resume() {
  const auto& said = context_->GetServerTrailingMetadata();
  const auto pause = said.find("grpc-retry-pushback-ms");
  int pause_millis = 0;
  const bool asks_for_pause =
      error_.error_code() == grpc::StatusCode::RESOURCE_EXHAUSTED && pause != said.end() &&
      absl::SimpleAtoi(absl::string_view(pause->second.data(), pause->second.size()),
                       &pause_millis) &&
      pause_millis >= 0;
  const bool only_elsewhere = error_.error_code() == grpc::StatusCode::FAILED_PRECONDITION ||
                              error_.error_code() == grpc::StatusCode::DEADLINE_EXCEEDED;
  if (!asks_for_pause && !only_elsewhere && error_.error_code() != grpc::StatusCode::UNAVAILABLE) {
    return false;
  }
  const absl::Time now = absl::Now();
  if (!broken_since_) broken_since_ = now;
  const absl::Duration left = *broken_since_ + options_.retry_for - now;
  if (left <= absl::ZeroDuration()) return false;
  v1::Intake::StubInterface* const other = asks_for_pause ? nullptr : options_.reroute(error_);
  if (other != nullptr) intake_ = other;
  if (only_elsewhere && other == nullptr) return false;
  on_break_(error_);
  absl::Duration wait = absl::Milliseconds(pause_millis);
  if (!asks_for_pause) {
    const double most = std::min(kLastWaitMillis, kFirstWaitMillis * std::exp2(breaks_));
    wait = absl::Milliseconds(std::uniform_real_distribution<double>(most / 2, most)(random_));
  }
  ++breaks_;
  absl::SleepFor(std::min(wait, left));
  is_writing_ = is_reading_ = is_ending_ = is_over_ = is_finished_ = false;
  final_ = error_ = grpc::Status();
  Start();
  return true;
}

// Ends the stream; what it has to say itself goes before the reason.
grpc::Status Sender::Break(const grpc::Status& reason) {
  const grpc::Status why = reason;  // it may be error_ itself, which changes below
  if (is_finished_) return error_;
  const bool by_us = !is_over_;
  if (by_us) context_->TryCancel();
  while (is_writing_ || is_reading_ || !is_finished_) {
    if (!is_writing_ && !is_reading_) stream_->Finish(&final_, Tag(kFinish));
    void* tag;
    bool ok;
    if (!queue_.Next(&tag, &ok)) break;
    Handle(tag, ok && !by_us);
  }
  error_ = by_us || final_.ok() ? why : final_;
  return error_;
}

grpc::Status Sender::Add(Outgoing event) {
  if (!error_.ok()) return error_;
  const size_t bytes = event.event.ByteSizeLong() + event.text.size();
  const bool is_full = static_cast<int>(batch_.events.size()) >= options_.batch_events ||
                       batch_.bytes + bytes > options_.batch_bytes;
  if (is_full && !batch_.events.empty()) {
    if (const grpc::Status status = SendBatch(); !status.ok()) {
      batch_.events.push_back(std::move(event));  // so that its line counts as open
      return status;
    }
  }
  batch_.bytes += bytes;
  batch_.events.push_back(std::move(event));
  return grpc::Status::OK;
}

grpc::Status Sender::SendBatch() {
  if (stream_ == nullptr) Start();
  const auto has_room = [this] {
    return static_cast<int>(in_flight_.size()) < options_.max_in_flight;
  };
  if (const grpc::Status status = DriveUntil(has_room); !status.ok()) return status;
  batch_.number = next_number_++;
  in_flight_.push_back(std::exchange(batch_, Batch()));
  WriteNext();
  return grpc::Status::OK;
}

grpc::Status Sender::Flush() {
  if (!error_.ok()) return error_;
  if (!batch_.events.empty()) {
    if (const grpc::Status status = SendBatch(); !status.ok()) return status;
  }
  return DriveUntil([this] { return in_flight_.empty() && !is_writing_; });
}

grpc::Status Sender::Finish() {
  if (const grpc::Status status = Flush(); !status.ok() || stream_ == nullptr || is_finished_) {
    return status;
  }
  is_ending_ = is_writing_ = true;
  stream_->WritesDone(Tag(kWritesDone));
  // The end of the stream ends the read that is under way.
  if (const grpc::Status status = DriveUntil([this] { return is_over_ && !is_writing_; });
      !status.ok()) {
    return status;
  }
  stream_->Finish(&final_, Tag(kFinish));
  const grpc::Status status = DriveUntil([this] { return is_finished_; });
  return status.ok() ? final_ : status;
}

int64_t Sender::first_open_line() const {
  int64_t first = 0;
  const auto look = [&first](const Batch& batch) {
    for (const Outgoing& event : batch.events) {
      first = first == 0 ? event.line : std::min(first, event.line);
    }
  };
  for (const Batch& batch : in_flight_) look(batch);
  look(batch_);
  return first;
}

}  // namespace plumblane::client
