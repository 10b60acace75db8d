// Intake over a real server on a socket in a directory of its own: what is answered, in what order,
// and how streams end.
#include "service/intake_service.h"

#include <absl/strings/str_cat.h>
#include <gmock/gmock.h>
#include <grpc/grpc.h>
#include <grpcpp/generic/generic_stub.h>
#include <grpcpp/grpcpp.h>
#include <gtest/gtest.h>
#include <stdlib.h>

#include <atomic>
#include <chrono>
#include <filesystem>
#include <numeric>
#include <thread>
#include <vector>

#include "service/forwarding_desk.h"
#include "service/intake_support.h"

namespace plumblane {
namespace {

using test::Batch;
using test::Client;
using test::Intake;
using test::Sent;
using test::SentPaid;
using test::Stamp;
using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;
using ::testing::SizeIs;

int64_t Counted(const v1::BatchReceipt& receipt) {
  return receipt.accepted_count() + receipt.duplicate_count() + receipt.conflict_count() +
         receipt.rejected_count();
}

TEST_F(Intake, ReceiptsComeInTheOrderOfTheBatchesAndAddUpToThem) {
  Client client(address());
  const std::vector<int> sizes = {3, 0, 1, 1000, 7, 250, 0, 40, 1, 1,
                                  1, 1, 1, 1,    1, 1,   1, 1,  2, 999};
  std::thread sender([&] {
    for (size_t i = 0; i < sizes.size(); ++i) {
      EXPECT_TRUE(client.Send(Batch(static_cast<int64_t>(100 + i), sizes[i])));
    }
    client.CloseSending();
  });
  int64_t sequence = 0;
  for (size_t i = 0; i < sizes.size(); ++i) {
    const auto receipt = client.Receive();
    ASSERT_TRUE(receipt);
    EXPECT_EQ(receipt->batch_number(), static_cast<int64_t>(100 + i));
    EXPECT_EQ(Counted(*receipt), sizes[i]);
    EXPECT_EQ(receipt->accepted_count(), sizes[i]);
    EXPECT_EQ(receipt->order_delta(), sizes[i]);
    EXPECT_EQ(receipt->unpromised_delta(), sizes[i]);
    EXPECT_GE(receipt->log_sequence(), sequence);
    sequence = receipt->log_sequence();
  }
  sender.join();
  EXPECT_EQ(client.Receive(), std::nullopt);
  EXPECT_TRUE(client.Finish().ok());
  EXPECT_EQ(EventsTaken(), std::accumulate(sizes.begin(), sizes.end(), 0));
}

TEST_F(Intake, EachEventIsAnsweredByWhatBecameOfIt) {
  Client client(address());
  client.Exchange(Batch(1, 2));
  v1::EventBatch batch;
  *batch.add_events() = SentPaid("", "2.1");  // wrong in itself
  batch.MergeFrom(Batch(1, 2));               // two repeats
  batch.set_batch_number(2);
  v1::Event conflict = SentPaid("e1.0", "1.0");  // known, with another supplier
  conflict.set_supplier("copper");
  *batch.add_events() = conflict;
  *batch.add_events() = SentPaid("fresh", "2.0");
  v1::Event contradiction = Sent(v1::EVENT_TYPE_SHIPPED, "early", "2.0");
  Stamp("2026-03-01", contradiction.mutable_event_time());
  *batch.add_events() = contradiction;
  v1::Event waiting = Sent(v1::EVENT_TYPE_RETRACTED, "undo", "2.0");
  waiting.set_retracts("unseen");
  *batch.add_events() = waiting;
  const v1::BatchReceipt receipt = client.Exchange(batch);
  EXPECT_EQ(receipt.duplicate_count(), 2);
  EXPECT_EQ(receipt.conflict_count(), 1);
  EXPECT_EQ(receipt.accepted_count(), 3);
  EXPECT_EQ(receipt.rejected_count(), 1);
  std::vector<std::string> results;
  for (const v1::EventResult& result : receipt.results()) {
    results.push_back(absl::StrCat(result.index(), " ", result.code()));
  }
  EXPECT_THAT(results, ::testing::UnorderedElementsAre("0 MISSING_FIELD", "3 ID_CONFLICT",
                                                       "5 CONTRADICTION", "6 UNKNOWN_RETRACTED"));
}

TEST_F(Intake, AReceiptSaysWhatItChangedInTheNumberOfOrders) {
  const auto deltas = [](const v1::BatchReceipt& receipt) {
    return std::vector<int64_t>{receipt.order_delta(), receipt.waiting_delta(),
                                receipt.unpromised_delta()};
  };
  Client client(address());
  v1::EventBatch shipped, paid;
  *shipped.add_events() = Sent(v1::EVENT_TYPE_SHIPPED, "s", "1");
  *paid.add_events() = SentPaid("p", "1");
  EXPECT_THAT(deltas(client.Exchange(shipped)), ElementsAre(1, 1, 0));  // of whom, nobody knows
  EXPECT_THAT(deltas(client.Exchange(paid)), ElementsAre(0, -1, 1));
  paid.mutable_events(0)->set_event_id("again");
  paid.mutable_events(0)->set_promise_days(7);
  EXPECT_THAT(deltas(client.Exchange(paid)), ElementsAre(0, 0, -1));
}

TEST_F(Intake, TheNeighboursOfARejectedEventCount) {
  v1::EventBatch batch = Batch(1, 5);
  batch.mutable_events(0)->clear_order_id();
  batch.mutable_events(3)->set_part(1000);
  Client client(address());
  const v1::BatchReceipt receipt = client.Exchange(batch);
  EXPECT_EQ(receipt.accepted_count(), 3);
  EXPECT_EQ(receipt.rejected_count(), 2);
  ASSERT_THAT(receipt.results(), SizeIs(2));
  EXPECT_EQ(receipt.results(0).index(), 0);
  EXPECT_EQ(receipt.results(0).outcome(), v1::EventResult::OUTCOME_REJECTED);
  EXPECT_EQ(receipt.results(0).field(), "order_id");
  EXPECT_EQ(receipt.results(1).index(), 3);
  EXPECT_EQ(receipt.results(1).field(), "part");
  EXPECT_THAT(receipt.results(1).message(), HasSubstr("1 to 999"));
  EXPECT_EQ(EventsTaken(), 3);
}

TEST_F(Intake, ABatchOfRejectedEventsOnlyHasAReceiptToo) {
  v1::EventBatch batch = Batch(1, 2);
  for (v1::Event& event : *batch.mutable_events()) event.clear_event_time();
  Client client(address());
  client.Exchange(Batch(0, 1));
  const v1::BatchReceipt receipt = client.Exchange(batch);
  EXPECT_EQ(receipt.batch_number(), 1);
  EXPECT_EQ(receipt.rejected_count(), 2);
  EXPECT_EQ(receipt.log_sequence(), 1);
}

TEST_F(Intake, ABatchOfTooManyEventsEndsTheStreamAfterTheReceiptsBeforeIt) {
  Client client(address());
  ASSERT_TRUE(client.Send(Batch(1, 1000)));
  ASSERT_TRUE(client.Send(Batch(2, 1001)));
  EXPECT_THAT(client.RemainingNumbers(), ElementsAre(1));
  const grpc::Status status = client.Finish();
  EXPECT_EQ(status.error_code(), grpc::RESOURCE_EXHAUSTED);
  EXPECT_THAT(status.error_message(), HasSubstr("1001 events; expected at most 1000"));
  EXPECT_EQ(EventsTaken(), 1000);
}

TEST_F(Intake, BytesThatAreNoBatchEndTheStreamAndNothingElse) {
  for (const size_t size : {2, 100'000}) {
    grpc::GenericStub stub(Client::Connect(address()));
    grpc::ClientContext context;
    grpc::CompletionQueue queue;
    const auto call = stub.PrepareCall(&context, "/plumblane.v1.Intake/IngestEvents", &queue);
    void* tag = nullptr;
    bool ok = false;
    call->StartCall(nullptr);
    ASSERT_TRUE(queue.Next(&tag, &ok) && ok);
    const grpc::Slice slice(std::string(size, '\xff'));
    call->Write(grpc::ByteBuffer(&slice, 1), nullptr);
    ASSERT_TRUE(queue.Next(&tag, &ok) && ok);
    grpc::Status status;
    call->Finish(&status, nullptr);
    ASSERT_TRUE(queue.Next(&tag, &ok) && ok);
    EXPECT_EQ(status.error_code(), grpc::INVALID_ARGUMENT) << size;
    EXPECT_THAT(status.error_message(), HasSubstr("no batch of events"));
    queue.Shutdown();
  }
  EXPECT_EQ(Client(address()).Exchange(Batch(1, 3)).accepted_count(), 3);
}

TEST_F(Intake, TheFirstReasonToEndIsTheOneThatIsGiven) {
  Client client(address());
  store_.Close();
  ASSERT_TRUE(client.Send(Batch(1, 1)));
  store_.AwaitWrite();
  ASSERT_TRUE(client.Send(Batch(2, 1001)));
  std::this_thread::sleep_for(std::chrono::milliseconds(100));  // until it is read
  service_.Drain();
  store_.Open();
  EXPECT_THAT(client.RemainingNumbers(), ElementsAre(1));
  EXPECT_EQ(client.Finish().error_code(), grpc::RESOURCE_EXHAUSTED);
}

TEST_F(Intake, AStreamThatIsHalfClosedEndsWellAfterAllReceipts) {
  Client client(address());
  store_.Close();
  for (int64_t number = 1; number <= 5; ++number) ASSERT_TRUE(client.Send(Batch(number, 2)));
  ASSERT_TRUE(client.CloseSending());
  store_.AwaitWrite();
  store_.Open();
  EXPECT_THAT(client.RemainingNumbers(), ElementsAre(1, 2, 3, 4, 5));
  EXPECT_TRUE(client.Finish().ok());
}

TEST_F(Intake, AStreamWithoutAnyBatchEndsWell) {
  Client client(address());
  client.CloseSending();
  EXPECT_EQ(client.Receive(), std::nullopt);
  EXPECT_TRUE(client.Finish().ok());
}

TEST_F(Intake, DrainingAnswersWhatIsHeldThenSaysToSendTheRestAgain) {
  Client idle(address()), busy(address());
  idle.Exchange(Batch(1, 1));
  store_.Close();
  ASSERT_TRUE(busy.Send(Batch(2, 1)));
  store_.AwaitWrite();
  service_.Drain();
  EXPECT_EQ(idle.Receive(), std::nullopt);
  const grpc::Status status = idle.Finish();
  EXPECT_EQ(status.error_code(), grpc::UNAVAILABLE);
  EXPECT_THAT(status.error_message(), HasSubstr("send what has no receipt again"));

  store_.Open();
  EXPECT_THAT(busy.RemainingNumbers(), ElementsAre(2));
  EXPECT_EQ(busy.Finish().error_code(), grpc::UNAVAILABLE);

  Client late(address());
  EXPECT_EQ(late.Receive(), std::nullopt);
  EXPECT_EQ(late.Finish().error_code(), grpc::UNAVAILABLE);
}

TEST_F(Intake, WhatHasAReceiptWhenDrainedIsStoredAndNothingIsAnsweredTwice) {
  for (int round = 0; round < 60; ++round) {
    IntakeService service(*engine_, test::SystemZones());
    const std::string address = absl::StrCat("unix:", directory_, "/socket", round);
    grpc::ServerBuilder builder;
    builder.AddListeningPort(address, grpc::InsecureServerCredentials());
    builder.RegisterService(&service);
    const auto server = builder.BuildAndStart();
    Client client(address);
    const int64_t first = 1000 * (round + 1);
    client.Exchange(Batch(first, 1));
    std::thread sender([&] {
      for (int64_t number = first + 1; client.Send(Batch(number, 3)); ++number) continue;
    });
    std::this_thread::sleep_for(std::chrono::milliseconds(round % 5));
    service.Drain();
    const std::vector<int64_t> numbers = client.RemainingNumbers();
    EXPECT_EQ(client.Finish().error_code(), grpc::UNAVAILABLE);
    sender.join();
    for (size_t i = 0; i < numbers.size(); ++i) {
      EXPECT_EQ(numbers[i], first + 1 + static_cast<int64_t>(i));
    }
    server->Shutdown(std::chrono::system_clock::now() + std::chrono::seconds(5));
    server->Wait();
    for (const int64_t number : numbers) {
      EXPECT_TRUE(engine_->Look().Order({"default", absl::StrCat(number, ".2")}).ok()) << number;
    }
  }
}

TEST_F(Intake, ACancelledStreamHarmsNobody) {
  for (int round = 0; round < 20; ++round) {
    {
      Client client(address());
      store_.Close();
      ASSERT_TRUE(client.Send(Batch(round * 10, 5)));
      if (round % 2) store_.AwaitWrite();
      for (int64_t i = 1; i <= round % 4; ++i) ASSERT_TRUE(client.Send(Batch(round * 10 + i, 5)));
      client.Cancel();
      if (round % 3 == 0) store_.Open();
      EXPECT_EQ(client.Finish().error_code(), grpc::CANCELLED);
    }
    store_.Open();
    Client next(address());
    EXPECT_EQ(next.Exchange(Batch(1000 + round, 1)).accepted_count(), 1);
  }
}

TEST_F(Intake, AClientThatReadsNoReceiptsIsStoppedAndNobodyElse) {
  // All rejected, so that the receipts are long and soon fill what may be on its way.
  v1::EventBatch wrong = Batch(1, 1000);
  for (v1::Event& event : *wrong.mutable_events()) event.clear_event_time();
  Client deaf(address());
  std::atomic<int> sent = 0;
  std::thread sender([&] {
    while (deaf.Send(wrong)) ++sent;
  });
  const auto deadline = std::chrono::steady_clock::now() + std::chrono::seconds(20);
  for (int before = -1; before != sent && std::chrono::steady_clock::now() < deadline;) {
    before = sent;
    std::this_thread::sleep_for(std::chrono::milliseconds(200));
  }
  EXPECT_GE(sent, kBatchesInFlight);
  EXPECT_LT(sent, 1000) << "receipts pile up";
  Client other(address());
  for (int64_t number = 1; number <= 20; ++number) {
    EXPECT_EQ(other.Exchange(Batch(number, 10)).batch_number(), number);
  }
  other.CloseSending();
  EXPECT_TRUE(other.Finish().ok());
  deaf.Cancel();
  sender.join();
  EXPECT_EQ(deaf.Finish().error_code(), grpc::CANCELLED);
}

TEST_F(Intake, AfterAFailedWriteNothingIsAnsweredAsTaken) {
  Client client(address());
  client.Exchange(Batch(1, 1));
  store_.Break();
  ASSERT_TRUE(client.Send(Batch(2, 1)));
  EXPECT_EQ(client.Receive(), std::nullopt);
  const grpc::Status status = client.Finish();
  EXPECT_EQ(status.error_code(), grpc::UNAVAILABLE);
  EXPECT_THAT(status.error_message(), HasSubstr("send again"));
  Client next(address());
  next.Send(Batch(3, 1));
  EXPECT_EQ(next.Receive(), std::nullopt);
  EXPECT_EQ(next.Finish().error_code(), grpc::UNAVAILABLE);
}

// With room for 100 events in the queue.
class SmallQueue : public Intake {
 protected:
  SmallQueue() : Intake(Options()) {}
  static EngineOptions Options() {
    EngineOptions options;
    options.queue_events = 100;
    return options;
  }
  // Lets one write wait at the gate and `events` others in the queue behind it.
  void FillQueue(int events) {
    store_.Close();
    Queue(1, "first");
    store_.AwaitWrite();
    Queue(events, "waiting");
  }
  void Queue(int events, const std::string& order_id) {
    Submission submission;
    const test::OrderBuilder order({"default", order_id});
    for (int i = 0; i < events; ++i) {
      test::OrderBuilder one({"default", absl::StrCat(order_id, i)});
      submission.events.push_back({one.key(), one.Paid("2026-03-01").events()[0]});
    }
    EXPECT_TRUE(engine_->Submit(std::move(submission), [](const Receipt&) {}));
  }
};

TEST_F(SmallQueue, ABatchThatFindsNoRoomIsNotOvertakenByASmallerOne) {
  FillQueue(90);
  Client client(address());
  ASSERT_TRUE(client.Send(Batch(1, 50)));  // no room
  ASSERT_TRUE(client.Send(Batch(2, 5)));   // would have some
  ASSERT_TRUE(client.Send(Batch(3, 1)));
  std::this_thread::sleep_for(std::chrono::milliseconds(50));
  EXPECT_EQ(engine_->QueuedEvents(), 90u);
  store_.Open();
  client.CloseSending();
  EXPECT_THAT(client.RemainingNumbers(), ElementsAre(1, 2, 3));
  EXPECT_TRUE(client.Finish().ok());
}

// Several senders keep the queue full, so that batches of all sizes find no room again and again.
TEST_F(SmallQueue, UnderPressureEveryStreamIsAnsweredInOrder) {
  constexpr int kSenders = 3, kBatches = 160;
  const auto exchange = [&](int which) {
    Client client(address());
    std::thread sender([&] {
      for (int i = 0; i < kBatches; ++i) {
        ASSERT_TRUE(client.Send(Batch(1000 * which + i, i % 2 ? 60 : 1)));
      }
      client.CloseSending();
    });
    for (int i = 0; i < kBatches; ++i) {
      const auto receipt = client.Receive();
      ASSERT_TRUE(receipt);
      EXPECT_EQ(receipt->batch_number(), 1000 * which + i);
      EXPECT_EQ(Counted(*receipt), i % 2 ? 60 : 1);
    }
    sender.join();
    EXPECT_TRUE(client.Finish().ok());
  };
  std::vector<std::thread> clients;
  for (int which = 1; which <= kSenders; ++which) clients.emplace_back(exchange, which);
  for (std::thread& client : clients) client.join();
  EXPECT_EQ(EventsTaken(), kSenders * kBatches / 2 * 61);
}

TEST_F(SmallQueue, ABatchLargerThanTheQueueIsTakenWhenTheQueueIsEmpty) {
  FillQueue(90);
  Client client(address());
  ASSERT_TRUE(client.Send(Batch(1, 500)));
  store_.Open();
  EXPECT_EQ(client.Receive()->accepted_count(), 500);
}

TEST_F(SmallQueue, DrainingWaitsForABatchThatHasFoundNoRoomYet) {
  FillQueue(90);
  Client client(address());
  ASSERT_TRUE(client.Send(Batch(1, 50)));
  std::this_thread::sleep_for(std::chrono::milliseconds(50));
  service_.Drain();
  store_.Open();
  EXPECT_THAT(client.RemainingNumbers(), ElementsAre(1));
  EXPECT_EQ(client.Finish().error_code(), grpc::UNAVAILABLE);
}

// An engine that is slow to be looked at.
class SlowDesk final : public test::ForwardingDesk {
 public:
  using ForwardingDesk::ForwardingDesk;
  void AwaitLook() const { looked_.wait(false); }
  void Go() {
    goes_on_ = true;
    goes_on_.notify_all();
  }

  View Look() const override {
    looked_ = true;
    looked_.notify_all();
    goes_on_.wait(false);
    return ForwardingDesk::Look();
  }

 private:
  mutable std::atomic<bool> looked_ = false, goes_on_ = false;
};

TEST_F(Intake, WhoAsksDoesNotWaitForLargeBatchesThatAreBeingRead) {
  SlowDesk desk(*engine_);
  IntakeService service(desk, test::SystemZones());
  const std::string slow = "unix:" + directory_ + "/slow";
  grpc::ServerBuilder builder;
  builder.AddListeningPort(slow, grpc::InsecureServerCredentials());
  builder.RegisterService(&service);
  const auto server = builder.BuildAndStart();
  // More than the library has threads.
  std::vector<std::unique_ptr<Client>> clients;
  for (int i = 0; i < 40; ++i) {
    clients.push_back(std::make_unique<Client>(slow));
    ASSERT_TRUE(clients.back()->Send(Batch(i, 100)));
  }
  desk.AwaitLook();
  std::this_thread::sleep_for(std::chrono::milliseconds(100));  // until more of them are read
  grpc::ClientContext context;
  context.set_deadline(std::chrono::system_clock::now() + std::chrono::seconds(60));
  v1::ReportNewsResponse response;
  const grpc::Status status =
      v1::Intake::NewStub(Client::Connect(slow))->ReportNews(&context, {}, &response);
  EXPECT_EQ(status.error_code(), grpc::INVALID_ARGUMENT) << status.error_message();
  desk.Go();
  for (const auto& client : clients) {
    const auto receipt = client->Receive();
    ASSERT_TRUE(receipt);
    EXPECT_EQ(receipt->accepted_count(), 100);
    client->CloseSending();
    EXPECT_TRUE(client->Finish().ok());
  }
  server->Shutdown();
}

}  // namespace
}  // namespace plumblane
