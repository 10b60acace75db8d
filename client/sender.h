// Keeps batches of events in flight over one IngestEvents stream.
//
// At most `max_in_flight` batches are without a receipt at any time; Add() waits while that many
// are. Receipts come in the order of their batches and are handed on as they are read, which is
// whenever this object is called.
//
// A stream that breaks because the daemon goes away, or asks for a pause, is begun anew with the
// batches that have no receipt, oldest first: events have ids, so sending them again does no harm.
// It waits before, 0.1 s at first, twice as long each time up to 5 s, each shortened by up to half
// by chance, or as long as the daemon says. When `retry_for` passes without a receipt it gives up.
//
// Where daemons share a log it goes on at the one that takes events (Options::reroute): the same
// batches again, which the log knows by their events, so each counts once.
//
// Then, when the stream breaks for another reason, and when it gives no receipt for `patience`
// while one is due and there is no other daemon, this object's use ends: every later call returns
// the same error. Batches without a receipt are in doubt; first_open_line() says from where on.
//
// Not thread-safe, and needs no thread: it drives the stream while it is called.
#pragma once

#include <absl/time/time.h>
#include <grpcpp/client_context.h>
#include <grpcpp/completion_queue.h>
#include <grpcpp/support/async_stream.h>

#include <deque>
#include <functional>
#include <memory>
#include <optional>
#include <random>
#include <string>
#include <vector>

#include "plumblane/v1/event.pb.h"
#include "plumblane/v1/intake.grpc.pb.h"

namespace plumblane::client {

// An event and where it came from, for what the receipt may say about it.
struct Outgoing {
  int64_t line = 0;
  std::string text;
  v1::Event event;
};

class Sender {
 public:
  struct Options {
    int batch_events = 500;          // the daemon takes up to 1,000 ...
    size_t batch_bytes = 512 << 10;  // ... and 1 MiB; counts the kept lines as well
    int max_in_flight = 8;
    absl::Duration patience = absl::Seconds(60);
    bool history = false;  // batches say that they tell of the past
    int64_t send = 0;      // the send that they belong to
    absl::Duration retry_for = absl::ZeroDuration();
    // Asked before a stream is begun anew, with why it broke, also after a daemon that refused it
    // or gave no receipt in time: where to go on; null = nowhere else, so those two stand.
    std::function<v1::Intake::StubInterface*(const grpc::Status&)> reroute =
        [](const grpc::Status&) { return nullptr; };
  };
  // Given with each receipt: the batch it is for, events by index.
  using OnReceipt = std::function<void(const std::vector<Outgoing>&, const v1::BatchReceipt&)>;

  // Told before a broken stream is begun anew: why it broke.
  using OnBreak = std::function<void(const grpc::Status&)>;

  // `intake` must outlive this object. The stream starts with the first batch.
  Sender(
      v1::Intake::StubInterface* intake, Options options, OnReceipt on_receipt,
      OnBreak on_break = [](const auto&) {});
  ~Sender();
  Sender(const Sender&) = delete;
  Sender& operator=(const Sender&) = delete;

  // Adds an event to the batch, and sends the batch when it is full.
  grpc::Status Add(Outgoing event);

  // Sends what is there and waits for every receipt.
  grpc::Status Flush();

  // Flushes and ends the stream in good order. OK when nothing was ever sent.
  grpc::Status Finish();

  // The lowest line added that has no receipt yet; 0 = none.
  int64_t first_open_line() const;

 private:
  struct Batch {
    int64_t number = 0;
    std::vector<Outgoing> events;
    size_t bytes = 0;
  };

  void Start();
  void WriteNext();
  // Begins the stream anew after Break, unless that would be in vain.
  bool Resume();
  grpc::Status SendBatch();
  void TakeReceipt();
  void Handle(void* tag, bool ok);
  // Drives the stream until `done` holds or it breaks for good.
  template <typename Done>
  grpc::Status DriveUntil(Done done);
  grpc::Status Break(const grpc::Status& reason);

  v1::Intake::StubInterface* intake_;
  const Options options_;
  const OnReceipt on_receipt_;
  const OnBreak on_break_;

  grpc::CompletionQueue queue_;
  std::unique_ptr<grpc::ClientContext> context_;  // of the stream
  std::unique_ptr<grpc::ClientAsyncReaderWriterInterface<v1::EventBatch, v1::BatchReceipt>> stream_;
  bool is_writing_ = false;  // the start counts as writing: nothing may be written before it
  bool is_reading_ = false;
  bool is_ending_ = false;    // WritesDone() was called
  bool is_over_ = false;      // the stream gives no more
  bool is_finished_ = false;  // its last word is in final_
  grpc::Status final_;
  grpc::Status error_;  // what every call returns from now on, unless OK

  Batch batch_;                  // being filled
  std::deque<Batch> in_flight_;  // without receipt, oldest first
  size_t written_ = 0;           // of these, on this stream
  int64_t next_number_ = 1;
  v1::EventBatch message_;    // being written
  v1::BatchReceipt receipt_;  // being read

  std::optional<absl::Time> broken_since_;  // without a receipt from then on
  int breaks_ = 0;                          // since the last receipt
  std::mt19937 random_{std::random_device{}()};
};

}  // namespace plumblane::client
