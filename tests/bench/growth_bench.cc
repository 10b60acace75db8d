// How the daemon grows with what it stores: orders of three events in the order of their days,
// spread over 400 days whatever their number, so that nothing but that differs between two runs.
//
// Tells in one table: events a second and memory of each tenth, 8 streams, durable, acknowledged,
// with a score and a ranking asked at its end; how long a score and a ranking of 200 suppliers
// take, beside an empty call asked in turn, at once and, after a start, when all tables are merged;
// how long a start takes after a stop and after kill -9; how fast the same 200,000 orders of the 80
// days after are taken, 2,500 a day, whatever is stored; bytes a stored event after compaction,
// beside the events as protobuf in a store of their own with the same compression.
//
// Usage: growth_bench PLUMBLANED ORDERS [PAIRS [DAYS_UNDER_WAY]]  (2,000 pairs and 8 days if not
// given; PAIRS a multiple of 200)
#include <grpcpp/grpcpp.h>
#include <plumblane/v1/intake.grpc.pb.h>
#include <plumblane/v1/scores.grpc.pb.h>
#include <plumblane/v1/sourcing.grpc.pb.h>
#include <rocksdb/db.h>
#include <rocksdb/utilities/options_util.h>
#include <sys/wait.h>

#include <atomic>
#include <filesystem>
#include <fstream>
#include <functional>
#include <queue>
#include <random>
#include <thread>

#include "bench/served.h"

namespace {

using namespace plumblane::v1;  // NOLINT: names of the API only
using plumblane::bench::Clock;
using plumblane::bench::Die;
using plumblane::bench::Seconds;

constexpr int kStreams = 8, kBatch = 500, kInFlight = 8, kSuppliersOfALane = 200;
constexpr int64_t kStart = 1'704'067'200, kDay = 86'400, kDays = 400;  // 2024-01-01

struct Shape {
  int64_t orders = 0, first = 0;  // how many, and the number of the first
  int64_t start = kStart, days = kDays;
  int64_t pairs = 2'000;
  int64_t days_under_way = 8;
};

std::string SupplierOf(int64_t pair) {
  return "supplier-" + std::to_string(pair % kSuppliersOfALane);
}
// Lanes differ in their service beyond the first 26.
std::string DestinationOf(int64_t pair) {
  const int64_t lane = pair / kSuppliersOfALane;
  return std::string("D") + static_cast<char>('A' + lane % 26);
}
std::string ServiceOf(int64_t pair) {
  const int64_t lane = pair / kSuppliersOfALane;
  return lane < 26 ? "" : "service-" + std::to_string(lane / 26);
}

// The events of every eighth order, by their time.
class History {
 public:
  History(const Shape& shape, int64_t stream)
      : shape_(shape), next_(shape.first + stream), random_(static_cast<uint64_t>(stream) + 1) {}

  bool Next(Event& event) {
    const bool more = next_ < shape_.first + shape_.orders;
    if (!more && coming_.empty()) return false;
    if (more && (coming_.empty() || PaidAt(next_) <= coming_.top().time)) {
      const int64_t paid = PaidAt(next_);
      const int64_t delivered =
          paid + kDay * shape_.days_under_way / 2 +
          static_cast<int64_t>(random_() % static_cast<uint64_t>(kDay * shape_.days_under_way));
      coming_.push({paid + kDay, next_, EVENT_TYPE_SHIPPED});
      coming_.push({std::max(delivered, paid + 2 * kDay), next_, EVENT_TYPE_DELIVERED});
      Fill(event, {paid, next_, EVENT_TYPE_PAID});
      const auto pair = static_cast<int64_t>(random_() % static_cast<uint64_t>(shape_.pairs));
      event.set_supplier(SupplierOf(pair));
      event.set_origin("VN");
      event.set_destination(DestinationOf(pair));
      event.set_service(ServiceOf(pair));
      event.set_promise_days(10);
      event.mutable_cost()->set_minor_units(1375);
      event.mutable_cost()->set_currency_code("EUR");
      next_ += kStreams;
      return true;
    }
    Fill(event, coming_.top());
    if (coming_.top().type == EVENT_TYPE_SHIPPED) {
      event.set_tracking("T" + std::to_string(coming_.top().order));
    }
    coming_.pop();
    return true;
  }

 private:
  struct Coming {
    int64_t time, order;
    EventType type;
    bool operator>(const Coming& other) const { return time > other.time; }
  };

  int64_t PaidAt(int64_t order) const {
    return shape_.start + static_cast<int64_t>(static_cast<double>(order - shape_.first) *
                                               static_cast<double>(shape_.days * kDay) /
                                               static_cast<double>(shape_.orders));
  }
  static void Fill(Event& event, const Coming& from) {
    const std::string number = std::to_string(from.order);
    event.set_order_id("order-" + number);
    event.set_event_id(number + "-" + std::to_string(from.type));
    event.set_source("load");
    event.set_type(from.type);
    event.mutable_event_time()->set_seconds(from.time);
  }

  const Shape shape_;
  int64_t next_;
  std::mt19937_64 random_;
  std::priority_queue<Coming, std::vector<Coming>, std::greater<>> coming_;
};

double MebibytesOf(pid_t process, const std::string& what) {
  std::ifstream status("/proc/" + std::to_string(process) + "/status");
  for (std::string word; status >> word;) {
    double kib = 0;
    if (word == what && status >> kib) return kib / 1024;
  }
  return 0;
}

double WrittenBy(pid_t process) {
  std::ifstream io("/proc/" + std::to_string(process) + "/io");
  for (std::string word; io >> word;) {
    double bytes = 0;
    if (word == "write_bytes:" && io >> bytes) return bytes;
  }
  return 0;
}

// Told by how many orders of how many pairs it is of.
void Tell(const Shape& shape, const std::string& what, double value) {
  plumblane::bench::Figure(
      "growth." + std::to_string(shape.orders) + "." + std::to_string(shape.pairs) + "." + what,
      value);
}

struct Questions {
  explicit Questions(const std::string& address)
      : channel(grpc::CreateChannel(address, grpc::InsecureChannelCredentials())) {}

  void Score() const {
    grpc::ClientContext context;
    GetScoreRequest request;
    plumblane::v1::Score response;
    request.set_name("suppliers/supplier-3/lanes/VN-DA");
    const grpc::Status status = Scores::NewStub(channel)->GetScore(&context, request, &response);
    if (!status.ok()) Die("GetScore: " + status.error_message());
  }
  void Rank() const {
    grpc::ClientContext context;
    RankSuppliersRequest request;
    RankSuppliersResponse response;
    request.set_destination("DA");
    const grpc::Status status =
        Sourcing::NewStub(channel)->RankSuppliers(&context, request, &response);
    if (!status.ok()) Die("RankSuppliers: " + status.error_message());
    if (response.candidate_count() < kSuppliersOfALane) Die("not all were ranked");
  }

  const std::shared_ptr<grpc::Channel> channel;
};

// Events a second of each part.
std::vector<double> SendAll(const std::string& address, pid_t daemon, const Shape& shape,
                            const char* name, int parts) {
  std::atomic<int64_t> acknowledged = 0;
  std::vector<std::thread> threads;
  for (int s = 0; s < kStreams; ++s) {
    threads.emplace_back([&, s] {
      grpc::ChannelArguments own;
      own.SetInt("plumblane.stream", s);  // a connection each
      const auto stub = Intake::NewStub(
          grpc::CreateCustomChannel(address, grpc::InsecureChannelCredentials(), own));
      grpc::ClientContext context;
      const auto stream = stub->IngestEvents(&context);
      History history(shape, s);
      EventBatch batch;
      int waiting = 0;
      const auto receive = [&] {
        BatchReceipt receipt;
        if (!stream->Read(&receipt)) Die("the stream broke");
        if (receipt.rejected_count() + receipt.conflict_count() + receipt.duplicate_count() > 0) {
          Die("an event was not taken: " + receipt.ShortDebugString());
        }
        acknowledged += receipt.accepted_count();
        --waiting;
      };
      for (bool more = true; more;) {
        batch.clear_events();
        while (more && batch.events_size() < kBatch) more = history.Next(*batch.add_events());
        if (!more) batch.mutable_events()->RemoveLast();
        if (batch.events_size() == 0) break;
        stream->Write(batch);
        if (++waiting == kInFlight) receive();
      }
      while (waiting > 0) receive();
      stream->WritesDone();
      if (const grpc::Status status = stream->Finish(); !status.ok()) Die(status.error_message());
    });
  }
  const int64_t total = 3 * shape.orders;
  const Questions ask(address);
  std::vector<double> rates;
  for (int part = 1; part <= parts; ++part) {
    const auto from = Clock::now();
    const int64_t before = acknowledged;
    const double cpu = plumblane::bench::CpuOf(daemon), written = WrittenBy(daemon);
    while (acknowledged < total * part / parts) {
      std::this_thread::sleep_for(std::chrono::milliseconds(2));
    }
    const auto events = static_cast<double>(acknowledged - before);
    const double rate = events / Seconds(Clock::now() - from);
    rates.push_back(rate);
    const double of_each = (plumblane::bench::CpuOf(daemon) - cpu) * 1e6 / events;
    ask.Score();  // the first of its day: what is kept of all pairs is made
    ask.Rank();
    std::printf("%-25s %2d %8.0f events/s %6.1f us and %5.0f bytes written an event %6.0f MiB\n",
                name, part, rate, of_each, (WrittenBy(daemon) - written) / events,
                MebibytesOf(daemon, "VmRSS:"));
    std::fflush(stdout);
  }
  for (std::thread& thread : threads) thread.join();
  return rates;
}

void Latency(const std::string& address, const Shape& shape, const std::string& when) {
  const Questions ask(address);
  const auto found = plumblane::bench::Latencies(
      2000, [&] { ask.Score(); }, [&] { ask.Rank(); },
      [&] { plumblane::bench::EmptyCall(ask.channel); });
  Tell(shape, "score_us." + when, found[0].first);
  Tell(shape, "rank_us." + when, found[1].first);
  constexpr const char* kNames[] = {"score", "rank of 200", "empty call"};
  for (size_t i = 0; i < found.size(); ++i) {
    std::printf("%-28s %10.0f us p50 %10.0f us p99\n", kNames[i], found[i].first, found[i].second);
  }
}

// Seconds until it serves; tells those until it has answered both questions, too.
double Start(const char* how, const char* binary, const std::string& data,
             const std::string& address, pid_t& daemon) {
  const auto start = Clock::now();
  daemon = plumblane::bench::StartDaemon(binary, data, address);
  const double serving = Seconds(Clock::now() - start);
  const Questions ask(address);
  ask.Score();
  ask.Rank();
  std::printf("%-28s %10.2f s serving %8.2f s first answers\n", how, serving,
              Seconds(Clock::now() - start));
  std::fflush(stdout);
  return serving;
}

// Until it has merged its tables, ten minutes at the most.
void WaitUntilAtRest(pid_t daemon) {
  const auto start = Clock::now();
  for (double before = -1; Seconds(Clock::now() - start) < 600;) {
    const double now = plumblane::bench::CpuOf(daemon);
    if (before >= 0 && now - before < .1) break;
    before = now;
    std::this_thread::sleep_for(std::chrono::seconds(3));
  }
  std::printf("%-28s %10.0f s\n", "at rest after", Seconds(Clock::now() - start));
}

void End(pid_t daemon, int signal) {
  kill(daemon, signal);
  waitpid(daemon, nullptr, 0);
}

double SizeOf(const std::string& folder) {
  double bytes = 0;
  for (const auto& entry : std::filesystem::recursive_directory_iterator(folder)) {
    if (entry.is_regular_file()) bytes += static_cast<double>(entry.file_size());
  }
  return bytes;
}

void Require(const rocksdb::Status& status) {
  if (!status.ok()) Die(status.ToString());
}

// All column families, with the options that they were written with.
void Compact(const std::string& path) {
  rocksdb::DBOptions options;
  std::vector<rocksdb::ColumnFamilyDescriptor> families;
  Require(rocksdb::LoadLatestOptions({}, path, &options, &families));
  std::vector<rocksdb::ColumnFamilyHandle*> handles;
  rocksdb::DB* db = nullptr;
  Require(rocksdb::DB::Open(options, path, families, &handles, &db));
  rocksdb::CompactRangeOptions all;
  all.bottommost_level_compaction = rocksdb::BottommostLevelCompaction::kForce;
  for (auto* handle : handles) {
    Require(db->CompactRange(all, handle, nullptr, nullptr));
    std::string size;
    db->GetProperty(handle, "rocksdb.total-sst-files-size", &size);
    std::printf("  %-26s %10.0f MB\n", handle->GetName().c_str(), std::stod(size) / 1e6);
    db->DestroyColumnFamilyHandle(handle);
  }
  db->Close();
  delete db;
}

// Bytes an event of up to two million of them in a store of their own.
double BytesAsProtobuf(const std::string& path, const Shape& shape) {
  rocksdb::Options options;
  options.create_if_missing = true;
  options.compression = rocksdb::kLZ4Compression;
  rocksdb::DB* db = nullptr;
  Require(rocksdb::DB::Open(options, path, &db));
  rocksdb::WriteOptions write;
  write.disableWAL = true;
  History history(shape, 0);
  int64_t count = 0;
  for (Event event; count < 2'000'000 && history.Next(event); event.Clear(), ++count) {
    char key[17];
    std::snprintf(key, sizeof key, "%016lld", static_cast<long long>(count));
    Require(db->Put(write, key, event.SerializeAsString()));
  }
  Require(db->Flush({}));
  Require(db->CompactRange({}, nullptr, nullptr));
  std::string size;
  db->GetProperty("rocksdb.total-sst-files-size", &size);
  db->Close();
  delete db;
  return std::stod(size) / static_cast<double>(count);
}

}  // namespace

int main(int argc, char** argv) {
  if (argc < 3 || argc > 5) return 2;
  Shape shape;
  shape.orders = std::atoll(argv[2]);
  if (argc > 3) shape.pairs = std::atoll(argv[3]);
  if (argc > 4) shape.days_under_way = std::atoll(argv[4]);
  char folder[] = "/tmp/plumblane-growth-XXXXXX";
  if (mkdtemp(folder) == nullptr) return 1;
  const std::string base = folder, address = "unix:" + base + "/s", data = base + "/data";
  pid_t daemon = plumblane::bench::StartDaemon(argv[1], data, address);
  std::printf("%lld orders of %lld pairs, some %lld under way at a time\n",
              static_cast<long long>(shape.orders), static_cast<long long>(shape.pairs),
              static_cast<long long>(shape.orders * shape.days_under_way / kDays));
  std::fflush(stdout);
  const std::vector<double> rates = SendAll(address, daemon, shape, "events, tenth", 10);
  Tell(shape, "last_of_first", rates.back() / rates.front());
  Tell(shape, "memory_mib", MebibytesOf(daemon, "VmHWM:"));
  std::printf("%-28s %10.0f MiB %13.0f MiB at most\n", "memory after intake",
              MebibytesOf(daemon, "VmRSS:"), MebibytesOf(daemon, "VmHWM:"));
  std::fflush(stdout);
  Latency(address, shape, "busy");
  End(daemon, SIGKILL);
  Tell(shape, "start_s", Start("start after kill -9", argv[1], data, address, daemon));
  End(daemon, SIGTERM);
  Start("start after a stop", argv[1], data, address, daemon);
  WaitUntilAtRest(daemon);
  Latency(address, shape, "rest");
  std::printf("%-28s %10.0f MiB\n", "memory after a start", MebibytesOf(daemon, "VmRSS:"));
  Shape more = shape;
  more.orders = 200'000;
  more.first = shape.orders;
  more.start = kStart + kDays * kDay;
  more.days = 80;
  double inverse = 0;
  for (const double rate : SendAll(address, daemon, more, "the same load, quarter", 4)) {
    inverse += 1 / rate / 4;
  }
  Tell(shape, "same_load", 1 / inverse);
  End(daemon, SIGTERM);
  const auto events = static_cast<double>(3 * (shape.orders + more.orders));
  const std::string store = data + "/store";  // with the log; beside it is what is kept free
  std::printf("%-28s %10.1f bytes an event\n", "disk as left", SizeOf(store) / events);
  Compact(store);
  const double stored = SizeOf(store) / events, plain = BytesAsProtobuf(base + "/plain", shape);
  std::printf("%-28s %10.1f bytes an event, of protobuf %.1f: ratio %.2f\n", "disk, compacted",
              stored, plain, stored / plain);
  Tell(shape, "of_protobuf", stored / plain);
  std::filesystem::remove_all(base);
  return 0;
}
