// What the daemon does in a second, beside the limit of the parts it is built on, in one run:
//
//   ingest   events acknowledged through gRPC (durable, applied), 8 streams, batches of 500, orders
//            of five events arriving interleaved, 10 % repeats; against RocksDB's own synced
//            batches of the same bytes from 8 threads; several rounds in turn
//   score    GetScore against an empty unary call on the same connection, idle
//   one      one event sent and acknowledged, against one write and fdatasync of a file on the same
//            disk, in turn
//
// Usage: load_bench PLUMBLANED [ROUNDS]  (the daemon's binary; it is started on a temporary
// directory)
#include <fcntl.h>
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
#include <string>
#include <thread>
#include <vector>

#include "bench/load.h"
#include "bench/served.h"

namespace {

using plumblane::bench::Clock;
using plumblane::bench::CpuOf;
using plumblane::bench::Die;
using plumblane::bench::kStreams;
using plumblane::bench::Latency;
using plumblane::bench::MakeLoad;
using plumblane::bench::Seconds;
using plumblane::bench::StartDaemon;
using plumblane::v1::BatchReceipt;
using plumblane::v1::Event;
using plumblane::v1::EventBatch;

constexpr int kInFlight = 16;
constexpr double kEventsARound = 5.5 * plumblane::bench::kOrdersARound;  // repeats included

// Sends all batches of a stream with a bounded number in flight; the events acknowledged.
int64_t SendStream(const std::string& address, int number,
                   const std::vector<grpc::ByteBuffer>& batches) {
  plumblane::bench::EncodedIntake stream(address, number);
  int64_t acknowledged = 0;
  size_t sent = 0;
  for (size_t received = 0; received < batches.size(); ++received) {
    while (sent < batches.size() && sent - received < kInFlight) stream.Write(batches[sent++]);
    const BatchReceipt receipt = stream.Read();
    acknowledged += receipt.accepted_count() + receipt.duplicate_count();
  }
  stream.Finish();
  return acknowledged;
}

// Before the clock starts, as for the rival.
std::vector<std::vector<grpc::ByteBuffer>> Encode(
    const std::vector<std::vector<EventBatch>>& load) {
  std::vector<std::vector<grpc::ByteBuffer>> bytes(kStreams);
  for (size_t s = 0; s < kStreams; ++s) {
    for (const EventBatch& batch : load[s]) bytes[s].push_back(plumblane::bench::Encoded(batch));
  }
  return bytes;
}

double IngestRate(const std::string& address,
                  const std::vector<std::vector<grpc::ByteBuffer>>& bytes) {
  std::vector<int64_t> acknowledged(kStreams);
  std::vector<std::thread> threads;
  const auto start = Clock::now();
  for (int s = 0; s < kStreams; ++s) {
    const auto at = static_cast<size_t>(s);
    threads.emplace_back([&, s, at] { acknowledged[at] = SendStream(address, s, bytes[at]); });
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

void MeasureOneEvent(const std::string& address, const std::string& file) {
  const auto stub = plumblane::v1::Intake::NewStub(
      grpc::CreateChannel(address, grpc::InsecureChannelCredentials()));
  grpc::ClientContext context;
  const auto stream = stub->IngestEvents(&context);
  EventBatch batch;
  Event& event = *batch.add_events();
  event.set_type(plumblane::v1::EVENT_TYPE_PAID);
  event.set_supplier("supplier-1");
  event.set_origin("VN");
  event.set_destination("DE");
  event.mutable_event_time()->set_seconds(plumblane::bench::kStart);
  int64_t number = 0;
  const auto send = [&] {
    event.set_order_id("single-" + std::to_string(++number));
    event.set_event_id("paid");
    BatchReceipt receipt;
    if (!stream->Write(batch) || !stream->Read(&receipt) || receipt.accepted_count() != 1) {
      Die("a single event was not taken");
    }
  };
  const int disk = open(file.c_str(), O_CREAT | O_WRONLY | O_APPEND, 0600);
  const std::string bytes(200, 'e');
  const auto sync = [&] {
    if (write(disk, bytes.data(), bytes.size()) < 0 || fdatasync(disk) != 0) Die("no disk");
  };
  const auto [one, alone] = plumblane::bench::Latencies(1000, send, sync);
  close(disk);
  stream->WritesDone();
  if (!stream->Finish().ok()) Die("the stream broke");
  std::printf("one event      %8.0f %8.0f\nfdatasync      %8.0f %8.0f\n", one.first, one.second,
              alone.first, alone.second);
  std::printf("ratio          %8.2f %8.2f\n", one.first / alone.first, one.second / alone.second);
}

}  // namespace

int main(int argc, char** argv) {
  if (argc != 2 && argc != 3) return 2;
  const int rounds = argc == 3 ? std::atoi(argv[2]) : 5;
  char folder[] = "/tmp/plumblane-load-XXXXXX";
  if (mkdtemp(folder) == nullptr) return 1;
  const std::string base = folder, address = "unix:" + base + "/s";
  const pid_t daemon = StartDaemon(argv[1], base + "/data", address);
  rocksdb::DB* db = nullptr;
  rocksdb::Options options;
  options.create_if_missing = true;
  if (!rocksdb::DB::Open(options, base + "/rival", &db).ok()) return 1;

  std::printf(
      "events a second     plumblane      rocksdb    ratio   cpu us an event: daemon  load\n");
  std::vector<double> ratios, rates;
  for (int round = 0; round < rounds; ++round) {
    const auto load = MakeLoad(round);
    const auto bytes = Encode(load);
    const double daemon_before = CpuOf(daemon), own_before = CpuOf(getpid());
    const double ours = IngestRate(address, bytes);
    const double daemon_cpu = CpuOf(daemon) - daemon_before, own_cpu = CpuOf(getpid()) - own_before;
    const double rival = RocksDbRate(db, load, round);
    ratios.push_back(ours / rival);
    rates.push_back(ours);
    std::printf("round %d          %11.0f  %11.0f  %7.3f   %23.1f %5.1f\n", round + 1, ours, rival,
                ours / rival, daemon_cpu / kEventsARound * 1e6, own_cpu / kEventsARound * 1e6);
    std::fflush(stdout);
  }
  const Spread ratio = SpreadOf(ratios), rate = SpreadOf(rates);
  std::printf("median           %11.0f               %7.3f  (%.3f to %.3f)\n", rate.median,
              ratio.median, ratio.low, ratio.high);
  std::fflush(stdout);
  MeasureScore(address);
  MeasureOneEvent(address, base + "/alone");

  delete db;
  kill(daemon, SIGTERM);
  waitpid(daemon, nullptr, 0);
  std::filesystem::remove_all(base);
  return 0;
}
