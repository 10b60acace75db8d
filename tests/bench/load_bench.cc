// What the daemon does in a second, beside the limit of the parts it is built on, in one run:
//
//   ingest   events acknowledged through gRPC (durable, applied), 8 streams, batches of 500, orders
//            of five events arriving interleaved, 10 % repeats; against RocksDB's own synced
//            batches of the same bytes from 8 threads; several rounds in turn
//   score    GetScore against an empty unary call on the same connection, idle
//
// Usage: load_bench PLUMBLANED  (the daemon's binary; it is started on a temporary directory)
#include <grpcpp/grpcpp.h>
#include <plumblane/v1/intake.grpc.pb.h>
#include <plumblane/v1/scores.grpc.pb.h>
#include <rocksdb/db.h>
#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <filesystem>
#include <random>
#include <thread>
#include <vector>

#include "bench/served.h"

namespace {

using plumblane::bench::Clock;
using plumblane::bench::Die;
using plumblane::bench::Latency;
using plumblane::bench::Seconds;
using plumblane::bench::StartDaemon;
using plumblane::v1::BatchReceipt;
using plumblane::v1::Event;
using plumblane::v1::EventBatch;

constexpr int kStreams = 8, kBatch = 500, kInFlight = 8, kRounds = 5;
constexpr int kOrdersARound = 40'000, kSuppliers = 20;
constexpr int64_t kStart = 1'767'225'600;  // 2026-01-01

// The events of one round, by stream; each order stays on its stream, its events spread out.
std::vector<std::vector<EventBatch>> MakeLoad(int round) {
  std::mt19937_64 random(static_cast<uint64_t>(round) + 1);
  std::vector<std::vector<Event>> events(kStreams);
  for (int i = 0; i < kOrdersARound; ++i) {
    const int number = round * kOrdersARound + i;
    const auto paid = kStart + static_cast<int64_t>(random() % (270 * 86'400));
    auto& stream = events[static_cast<size_t>(number % kStreams)];
    const auto add = [&](plumblane::v1::EventType type, int64_t time) {
      Event& event = stream.emplace_back();
      event.set_order_id("order-" + std::to_string(number));
      event.set_event_id(std::to_string(number) + "-" + std::to_string(type));
      event.set_source("load");
      event.set_type(type);
      event.mutable_event_time()->set_seconds(time);
      return &event;
    };
    Event* first = add(plumblane::v1::EVENT_TYPE_PAID, paid);
    first->set_supplier("supplier-" + std::to_string(random() % kSuppliers));
    first->set_origin(random() % 2 ? "VN" : "TR");
    first->set_destination(random() % 2 ? "DE" : "SE");
    first->set_promise_days(10);
    first->mutable_cost()->set_minor_units(1375);
    first->mutable_cost()->set_currency_code("EUR");
    add(plumblane::v1::EVENT_TYPE_SHIPPED, paid + 86'400)
        ->set_tracking("T" + std::to_string(number));
    const auto delivered = paid + 86'400 * static_cast<int64_t>(4 + random() % 8);
    add(plumblane::v1::EVENT_TYPE_DELIVERED, delivered);
    add(plumblane::v1::EVENT_TYPE_DISPUTED, delivered + 86'400);
    add(plumblane::v1::EVENT_TYPE_ANSWERED, delivered + 2 * 86'400);
  }
  std::vector<std::vector<EventBatch>> batches(kStreams);
  for (int s = 0; s < kStreams; ++s) {
    auto& stream = events[static_cast<size_t>(s)];
    const size_t unique = stream.size();
    for (size_t i = 0; i < unique / 10; ++i) stream.push_back(stream[random() % unique]);
    // Interleaved within a window of some hundred orders, as days of a shop are.
    for (size_t i = 0; i < stream.size(); ++i) {
      std::swap(stream[i], stream[std::min(stream.size() - 1, i + random() % 1000)]);
    }
    for (size_t at = 0; at < stream.size(); at += kBatch) {
      EventBatch& batch = batches[static_cast<size_t>(s)].emplace_back();
      batch.set_batch_number(static_cast<int64_t>(at));
      for (size_t i = at; i < std::min(stream.size(), at + kBatch); ++i) {
        *batch.add_events() = stream[i];
      }
    }
  }
  return batches;
}

// Sends all batches of a stream with a bounded number in flight; the events acknowledged.
int64_t SendStream(const std::shared_ptr<grpc::Channel>& channel,
                   const std::vector<EventBatch>& batches) {
  const auto stub = plumblane::v1::Intake::NewStub(channel);
  grpc::ClientContext context;
  const auto stream = stub->IngestEvents(&context);
  int64_t acknowledged = 0;
  size_t sent = 0, received = 0;
  while (received < batches.size()) {
    while (sent < batches.size() && sent - received < kInFlight) stream->Write(batches[sent++]);
    BatchReceipt receipt;
    if (!stream->Read(&receipt)) break;
    ++received;
    acknowledged += receipt.accepted_count() + receipt.duplicate_count();
    if (receipt.rejected_count() + receipt.conflict_count() > 0) {
      Die("an event was not taken: " + receipt.ShortDebugString());
    }
  }
  stream->WritesDone();
  const grpc::Status status = stream->Finish();
  if (!status.ok()) {
    Die("the stream broke: " + status.error_message());
  }
  return acknowledged;
}

double IngestRate(const std::string& address, const std::vector<std::vector<EventBatch>>& load) {
  std::vector<int64_t> acknowledged(kStreams);
  std::vector<std::thread> threads;
  const auto start = Clock::now();
  for (int s = 0; s < kStreams; ++s) {
    threads.emplace_back([&, s] {
      grpc::ChannelArguments own;
      own.SetInt("plumblane.stream", s);  // a connection each
      const auto at = static_cast<size_t>(s);
      acknowledged[at] = SendStream(
          grpc::CreateCustomChannel(address, grpc::InsecureChannelCredentials(), own), load[at]);
    });
  }
  for (std::thread& thread : threads) thread.join();
  const double seconds = Seconds(Clock::now() - start);
  int64_t total = 0;
  for (const int64_t count : acknowledged) total += count;
  return static_cast<double>(total) / seconds;
}

double RocksDbRate(rocksdb::DB* db, const std::vector<std::vector<EventBatch>>& load, int round) {
  // Serialised before the clock starts: the rival only writes.
  std::vector<std::vector<std::vector<std::string>>> bytes(kStreams);
  double total = 0;
  for (int s = 0; s < kStreams; ++s) {
    for (const EventBatch& batch : load[static_cast<size_t>(s)]) {
      auto& values = bytes[static_cast<size_t>(s)].emplace_back();
      for (const Event& event : batch.events()) values.push_back(event.SerializeAsString());
      total += static_cast<double>(values.size());
    }
  }
  std::vector<std::thread> threads;
  const auto start = Clock::now();
  for (int s = 0; s < kStreams; ++s) {
    threads.emplace_back([&, s] {
      rocksdb::WriteOptions options;
      options.sync = true;
      int64_t number = 0;
      for (const auto& values : bytes[static_cast<size_t>(s)]) {
        rocksdb::WriteBatch batch;
        for (const std::string& value : values) {
          batch.Put(
              std::to_string(round) + "/" + std::to_string(s) + "/" + std::to_string(number++),
              value);
        }
        if (!db->Write(options, &batch).ok()) std::exit(1);
      }
    });
  }
  for (std::thread& thread : threads) thread.join();
  return total / Seconds(Clock::now() - start);
}

struct Spread {
  double median, low, high;
};
Spread SpreadOf(std::vector<double> values) {
  std::sort(values.begin(), values.end());
  return {values[values.size() / 2], values.front(), values.back()};
}

void MeasureScore(const std::string& address) {
  const auto channel = grpc::CreateChannel(address, grpc::InsecureChannelCredentials());
  const auto stub = plumblane::v1::Scores::NewStub(channel);
  const auto empty = Latency([&] { plumblane::bench::EmptyCall(channel); });
  const auto score = Latency([&] {
    grpc::ClientContext context;
    plumblane::v1::GetScoreRequest request;
    plumblane::v1::Score response;
    request.set_name("suppliers/supplier-3/lanes/VN-DE");
    const grpc::Status status = stub->GetScore(&context, request, &response);
    if (!status.ok()) Die("GetScore failed: " + status.error_message());
  });
  std::printf("\nlatency [us]        p50      p99\nempty call     %8.0f %8.0f\n", empty.first,
              empty.second);
  std::printf(
      "GetScore       %8.0f %8.0f   (a pair with 270 active days)\nratio          %8.2f %8.2f\n",
      score.first, score.second, score.first / empty.first, score.second / empty.second);
}

}  // namespace

int main(int argc, char** argv) {
  if (argc != 2) return 2;
  char folder[] = "/tmp/plumblane-load-XXXXXX";
  if (mkdtemp(folder) == nullptr) return 1;
  const std::string base = folder, address = "unix:" + base + "/s";
  const pid_t daemon = StartDaemon(argv[1], base + "/data", address);
  rocksdb::DB* db = nullptr;
  rocksdb::Options options;
  options.create_if_missing = true;
  if (!rocksdb::DB::Open(options, base + "/rival", &db).ok()) return 1;

  std::printf("events a second     plumblane      rocksdb    ratio\n");
  std::vector<double> ratios, rates;
  for (int round = 0; round < kRounds; ++round) {
    const auto load = MakeLoad(round);
    const double ours = IngestRate(address, load);
    const double rival = RocksDbRate(db, load, round);
    ratios.push_back(ours / rival);
    rates.push_back(ours);
    std::printf("round %d          %11.0f  %11.0f  %7.3f\n", round + 1, ours, rival, ours / rival);
    std::fflush(stdout);
  }
  const Spread ratio = SpreadOf(ratios), rate = SpreadOf(rates);
  std::printf("median           %11.0f               %7.3f  (%.3f to %.3f)\n", rate.median,
              ratio.median, ratio.low, ratio.high);
  std::fflush(stdout);
  MeasureScore(address);

  delete db;
  kill(daemon, SIGTERM);
  waitpid(daemon, nullptr, 0);
  std::filesystem::remove_all(base);
  return 0;
}
