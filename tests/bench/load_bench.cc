// What the daemon takes in a second, beside the limit of the parts it is built on: events
// acknowledged through gRPC (durable, applied), 8 streams, batches of 500, orders of five events
// arriving interleaved, 10 % repeats; against RocksDB's own synced batches of the same bytes from 8
// threads; several rounds in turn.
//
// Usage: load_bench PLUMBLANED [ROUNDS]  (the daemon's binary; it is started on a temporary
// directory)
#include <grpcpp/grpcpp.h>
#include <plumblane/v1/intake.grpc.pb.h>
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

  delete db;
  kill(daemon, SIGTERM);
  waitpid(daemon, nullptr, 0);
  std::filesystem::remove_all(base);
  return 0;
}
