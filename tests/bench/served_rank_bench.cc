// How long RankSuppliers takes over gRPC when it ranks by cost: so many suppliers quote for the
// order, with events coming in meanwhile and without.
//
// Each supplier has 30 orders over nine months, a quote of one to two times the lowest price, and
// trials are on. Ingest is one stream as fast as it is acknowledged: of orders paid and delivered
// today, then of orders paid four days ago and delivered today. The former show in what is expected
// only when the day is over; the latter change it for nearly all suppliers with every batch.
//
// The rival is the health check, asked in turn with it: what it waits for is not of our making in
// the answer, but of the machine, the load generator and the library.
//
// Usage: served_rank_bench PLUMBLANED [suppliers [calls [events]]]  (the daemon's binary; started
// on a temporary directory; without a number of suppliers 200, 1,000 and 5,000; at most so many
// events a second, else as many as go)
#include <grpcpp/grpcpp.h>
#include <plumblane/v1/agreements.grpc.pb.h>
#include <plumblane/v1/intake.grpc.pb.h>
#include <plumblane/v1/sourcing.grpc.pb.h>
#include <sys/wait.h>

#include <atomic>
#include <chrono>
#include <filesystem>
#include <random>
#include <thread>

#include "base/give_way.h"
#include "bench/served.h"

namespace {

using namespace plumblane::v1;  // NOLINT: names of the API only
using plumblane::bench::Die;

constexpr int64_t kStart = 1'767'225'600, kDay = 86'400;  // 2026-01-01
constexpr int kOrdersEach = 30;

std::string Name(int supplier) { return "supplier-" + std::to_string(supplier); }

class Sender {
 public:
  explicit Sender(const std::shared_ptr<grpc::Channel>& channel)
      : stub_(Intake::NewStub(channel)), stream_(stub_->IngestEvents(&context_)) {}

  // Two events: paid and delivered.
  void Order(int supplier, int64_t paid, int64_t days) {
    const std::string number = std::to_string(++count_);
    for (const EventType type : {EVENT_TYPE_PAID, EVENT_TYPE_DELIVERED}) {
      Event* event = batch_.add_events();
      event->set_order_id(prefix_ + number);
      event->set_event_id(prefix_ + number + "-" + std::to_string(type));
      event->set_type(type);
      event->mutable_event_time()->set_seconds(paid + (type == EVENT_TYPE_PAID ? 0 : days * kDay));
      if (type != EVENT_TYPE_PAID) continue;
      event->set_supplier(Name(supplier));
      event->set_origin("VN");
      event->set_destination("DE");
      event->set_promise_days(10);
      event->mutable_cost()->set_minor_units(1375);
      event->mutable_cost()->set_currency_code("EUR");
    }
    if (batch_.events_size() >= 500) Flush();
  }
  void Flush() {
    BatchReceipt receipt;
    if (!stream_->Write(batch_) || !stream_->Read(&receipt)) Die("the stream broke");
    if (receipt.rejected_count() > 0) Die(receipt.ShortDebugString());
    batch_.clear_events();
  }
  void set_prefix(const std::string& prefix) { prefix_ = prefix; }
  int64_t count() const { return count_; }

 private:
  std::unique_ptr<Intake::Stub> stub_;
  grpc::ClientContext context_;
  std::unique_ptr<grpc::ClientReaderWriter<EventBatch, BatchReceipt>> stream_;
  EventBatch batch_;
  std::string prefix_ = "first-";
  int64_t count_ = 0;
};

void Amount(int64_t minor_units, Money* out) {
  out->set_minor_units(minor_units);
  out->set_currency_code("EUR");
}

void Fill(const std::shared_ptr<grpc::Channel>& channel, int suppliers) {
  std::mt19937 random(1);
  Sender sender(channel);
  LoadQuotesRequest quotes;
  for (int i = 0; i < suppliers; ++i) {
    for (int k = 0; k < kOrdersEach; ++k) {
      sender.Order(i, kStart + static_cast<int64_t>(random() % (250 * kDay)),
                   4 + static_cast<int64_t>(random() % 9));
    }
    Quote* quote = quotes.add_quotes();
    quote->set_supplier(Name(i));
    quote->set_origin("VN");
    quote->set_destination("DE");
    quote->set_promised_days("10");
    Amount(1000 + static_cast<int64_t>(random() % 1000), quote->mutable_price());
  }
  sender.Flush();
  const auto agreements = Agreements::NewStub(channel);
  const auto load = [&](auto method, const auto& request) {
    grpc::ClientContext context;
    LoadResponse response;
    const grpc::Status status = ((*agreements).*method)(&context, request, &response);
    if (!status.ok()) Die(status.error_message());
    if (response.errors_size() > 0) Die(response.errors(0).message());
  };
  load(&Agreements::Stub::LoadQuotes, quotes);
  LoadCostsRequest costs;
  CostSettings* settings = costs.mutable_settings();
  settings->set_currency_code("EUR");
  settings->mutable_trials()->set_on(true);
  CostClass* all = settings->add_classes();
  Amount(3000, all->mutable_sale());
  Amount(300, all->mutable_late_order());
  Amount(30, all->mutable_day_late());
  Amount(5, all->mutable_day_waiting());
  load(&Agreements::Stub::LoadCosts, costs);
}

void Measure(const char* binary, int suppliers, size_t calls, double most_events) {
  char folder[] = "/tmp/plumblane-rank-XXXXXX";
  if (mkdtemp(folder) == nullptr) Die("no folder");
  const std::string base = folder, address = "unix:" + base + "/s";
  const pid_t daemon = plumblane::bench::StartDaemon(binary, base + "/data", address);
  const auto channel = grpc::CreateChannel(address, grpc::InsecureChannelCredentials());
  Fill(channel, suppliers);

  plumblane::SetTurn(plumblane::kAnswerTurnMicros);
  const auto stub = Sourcing::NewStub(channel);
  const auto ask = [&] {
    grpc::ClientContext context;
    RankSuppliersRequest request;
    request.set_destination("DE");
    RankSuppliersResponse response;
    const grpc::Status status = stub->RankSuppliers(&context, request, &response);
    if (!status.ok()) Die(status.error_message());
    if (response.order() != RankSuppliersResponse::ORDER_EXPECTED_COST ||
        response.candidate_count() != suppliers) {
      Die("not ranked by cost: " + response.order_reason());
    }
  };
  const auto empty = [&] { plumblane::bench::EmptyCall(channel); };
  const auto tell = [&](const char* when) {
    const auto [rank, nothing] = plumblane::bench::Latencies(calls, ask, empty);
    std::printf("%9d  %-6s %9.0f %9.0f %11.0f %9.0f", suppliers, when, rank.first, rank.second,
                nothing.first, nothing.second);
    return rank.second;
  };
  tell("none");
  std::printf("\n");
  // Last, because it moves the clock on.
  for (const int64_t days : {0, 4}) {
    std::atomic<bool> done = false;
    std::atomic<int64_t> sent = 0;
    const auto start = plumblane::bench::Clock::now();
    std::thread ingest([&] {
      plumblane::SetTurn(3000);
      grpc::ChannelArguments own;
      own.SetInt("plumblane.stream", 1);  // a connection of its own
      Sender sender(grpc::CreateCustomChannel(address, grpc::InsecureChannelCredentials(), own));
      sender.set_prefix("more-" + std::to_string(days) + "-");
      std::mt19937 random(2);
      while (!done) {
        sender.Order(static_cast<int>(random() % static_cast<uint32_t>(suppliers)),
                     kStart + 262 * kDay, days);
        sent = sender.count();
        if (most_events > 0 && sent % 250 == 0) {  // a batch went
          std::this_thread::sleep_until(
              start + std::chrono::microseconds(
                          static_cast<int64_t>(2e6 * static_cast<double>(sent) / most_events)));
        }
      }
    });
    const double rank_p99 = tell(days == 0 ? "today" : "older");
    const double seconds = plumblane::bench::Seconds(plumblane::bench::Clock::now() - start);
    plumblane::bench::Figure(std::string(days == 0 ? "rank.today" : "rank.older") + ".p99_ms." +
                                 std::to_string(suppliers),
                             rank_p99 / 1000);
    std::printf(" %9.0f\n", 2 * static_cast<double>(sent) / seconds);
    std::fflush(stdout);
    done = true;
    ingest.join();
  }
  kill(daemon, SIGTERM);
  waitpid(daemon, nullptr, 0);
  std::filesystem::remove_all(base);
}

}  // namespace

int main(int argc, char** argv) {
  if (argc < 2 || argc > 5) return 2;
  std::printf("RankSuppliers by cost, us, ten told, and the empty call asked in turn with it\n");
  std::printf("suppliers  ingest       p50       p99   empty p50       p99  events/s\n");
  const size_t calls = argc > 3 ? std::strtoul(argv[3], nullptr, 10) : 2000;
  const double most_events = argc > 4 ? std::strtod(argv[4], nullptr) : 0;
  if (argc > 2) {
    Measure(argv[1], std::atoi(argv[2]), calls, most_events);
  } else {
    for (const int suppliers : {200, 1000, 5000}) {
      Measure(argv[1], suppliers, suppliers > 1000 ? 300 : calls, most_events);
    }
  }
  return 0;
}
