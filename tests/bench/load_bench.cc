// What the daemon takes in a second, beside the limit of the parts it is built on: events
// acknowledged through gRPC (durable, applied), 8 streams, batches of 500, orders of five events
// arriving interleaved, 10 % repeats; against RocksDB's own synced batches of the same bytes from 8
// threads, as the library comes and with its counters off, as the daemon has it; and, to tell what
// the way to a daemon takes, against the least that a server of the same libraries does: it decodes
// each batch and writes its events so, on the thread that read it. In turn, several rounds.
//
// Usage: load_bench PLUMBLANED [ROUNDS]  (the daemon's binary; it is started on a temporary
// directory)
#include <grpcpp/grpcpp.h>
#include <plumblane/v1/intake.grpc.pb.h>
#include <rocksdb/db.h>
#include <rocksdb/perf_level.h>
#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <atomic>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <filesystem>
#include <memory>
#include <string>
#include <string_view>
#include <thread>
#include <utility>
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
using plumblane::v1::Intake;

constexpr char kLeast[] = "least";
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

std::unique_ptr<rocksdb::DB> OpenRocksDb(const std::string& path) {
  rocksdb::Options options;
  options.create_if_missing = true;
  rocksdb::DB* db = nullptr;
  if (!rocksdb::DB::Open(options, path, &db).ok()) Die("RocksDB cannot be opened");
  return std::unique_ptr<rocksdb::DB>(db);
}

void WriteSynced(rocksdb::DB& db, const std::vector<std::string>& values, const std::string& prefix,
                 int64_t& number) {
  rocksdb::WriteOptions options;
  options.sync = true;
  rocksdb::WriteBatch batch;
  for (const std::string& value : values) batch.Put(prefix + std::to_string(number++), value);
  if (!db.Write(options, &batch).ok()) Die("RocksDB cannot write");
}

class LeastIntake final : public Intake::WithRawCallbackMethod_IngestEvents<Intake::Service> {
 public:
  explicit LeastIntake(rocksdb::DB& db) : db_(db) {}
  grpc::ServerBidiReactor<grpc::ByteBuffer, grpc::ByteBuffer>* IngestEvents(
      grpc::CallbackServerContext*) override {
    return new Stream(db_, std::to_string(streams_++) + "/");
  }

 private:
  class Stream final : public grpc::ServerBidiReactor<grpc::ByteBuffer, grpc::ByteBuffer> {
   public:
    Stream(rocksdb::DB& db, std::string prefix) : db_(db), prefix_(std::move(prefix)) {
      StartRead(&bytes_);
    }
    void OnReadDone(bool ok) override {
      if (!ok) return Finish(grpc::Status::OK);
      EventBatch batch;
      if (!grpc::SerializationTraits<EventBatch>::Deserialize(&bytes_, &batch).ok()) Die("bytes");
      std::vector<std::string> values;
      for (const Event& event : batch.events()) values.push_back(event.SerializeAsString());
      WriteSynced(db_, values, prefix_, number_);
      BatchReceipt receipt;
      receipt.set_accepted_count(batch.events_size());
      receipt_ = plumblane::bench::Encoded(receipt);
      StartWrite(&receipt_);
    }
    void OnWriteDone(bool) override { StartRead(&bytes_); }
    void OnDone() override { delete this; }

   private:
    rocksdb::DB& db_;
    const std::string prefix_;
    int64_t number_ = 0;
    grpc::ByteBuffer bytes_, receipt_;
  };

  rocksdb::DB& db_;
  std::atomic<int> streams_ = 0;
};

[[noreturn]] void ServeLeast(const std::string& folder) {
  const auto db = OpenRocksDb(folder + "/least.data");
  LeastIntake intake(*db);
  plumblane::bench::Serve("unix:" + folder + "/least", intake);
}

// The library counts for each thread what it does, unless that is switched off.
enum class Counts { kAsItComes, kNothing };

double RocksDbRate(rocksdb::DB& db, const std::vector<std::vector<EventBatch>>& load, int round,
                   Counts counts) {
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
      if (counts == Counts::kNothing) rocksdb::SetPerfLevel(rocksdb::PerfLevel::kDisable);
      const std::string prefix =
          std::to_string(2 * round + (counts == Counts::kNothing)) + "/" + std::to_string(s) + "/";
      int64_t number = 0;
      for (const auto& values : bytes[static_cast<size_t>(s)]) {
        WriteSynced(db, values, prefix, number);
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
  if (argc == 3 && std::string_view(argv[1]) == kLeast) ServeLeast(argv[2]);
  if (argc != 2 && argc != 3) return 2;
  const int rounds = argc == 3 ? std::atoi(argv[2]) : 5;
  char folder[] = "/tmp/plumblane-load-XXXXXX";
  if (mkdtemp(folder) == nullptr) return 1;
  const std::string base = folder, address = "unix:" + base + "/s";
  const pid_t daemon = StartDaemon(argv[1], base + "/data", address);
  const pid_t least = plumblane::bench::StartProgram(argv[0], {kLeast, base});
  auto db = OpenRocksDb(base + "/rival");

  std::printf("%-15s %9s %9s %9s %9s %7s %9s %7s   cpu us an event: daemon  load\n",
              "events a second", "plumblane", "rocksdb", "uncounted", "the least", "ours",
              "uncounted", "least's");
  std::vector<double> ratios, of_uncounted, rates, of_least;
  for (int round = 0; round < rounds; ++round) {
    const auto load = MakeLoad(round);
    const auto bytes = Encode(load);
    const double daemon_before = CpuOf(daemon), own_before = CpuOf(getpid());
    const double ours = IngestRate(address, bytes);
    const double daemon_cpu = CpuOf(daemon) - daemon_before, own_cpu = CpuOf(getpid()) - own_before;
    const double rival = RocksDbRate(*db, load, round, Counts::kAsItComes);
    const double uncounted = RocksDbRate(*db, load, round, Counts::kNothing);
    const double theirs = IngestRate("unix:" + base + "/least", bytes);
    ratios.push_back(ours / rival);
    of_uncounted.push_back(ours / uncounted);
    of_least.push_back(theirs / rival);
    rates.push_back(ours);
    plumblane::bench::Figure("intake.rate", ours);
    plumblane::bench::Figure("intake.of_rocksdb", ours / rival);
    plumblane::bench::Figure("intake.of_uncounted", ours / uncounted);
    plumblane::bench::Figure("intake.least_of_rocksdb", theirs / rival);
    std::printf("round %-9d %9.0f %9.0f %9.0f %9.0f %7.3f %9.3f %7.3f   %23.1f %5.1f\n", round + 1,
                ours, rival, uncounted, theirs, ours / rival, ours / uncounted, theirs / rival,
                daemon_cpu / kEventsARound * 1e6, own_cpu / kEventsARound * 1e6);
    std::fflush(stdout);
  }
  const Spread ratio = SpreadOf(ratios), strict = SpreadOf(of_uncounted), rate = SpreadOf(rates),
               least_ratio = SpreadOf(of_least);
  std::printf("median %18.0f %37.3f %9.3f %7.3f   (%.3f to %.3f, %.3f to %.3f, %.3f to %.3f)\n",
              rate.median, ratio.median, strict.median, least_ratio.median, ratio.low, ratio.high,
              strict.low, strict.high, least_ratio.low, least_ratio.high);
  std::fflush(stdout);

  db.reset();
  for (const pid_t child : {daemon, least}) {
    kill(child, SIGTERM);
    waitpid(child, nullptr, 0);
  }
  std::filesystem::remove_all(base);
  return 0;
}
