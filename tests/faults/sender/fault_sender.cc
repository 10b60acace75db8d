// Sends events that are a function of their number, on eight streams, and writes down outside the
// daemon which batches it sent and which were acknowledged.
//
//   fault_sender ADDRESS FILE send MOST   goes on after the last batch in FILE, until MOST more
//                                         were acknowledged or a stream ends (exit 6)
//   fault_sender ADDRESS FILE check       sends every batch again that was acknowledged: each event
//                                         must be known. Exit 1, and how many were not
//   fault_sender ADDRESS FILE rest        sends every batch again, acknowledged or not
//
// FILE: a line "s N" before batch N is sent, "a N" once it is acknowledged.
#include <grpcpp/grpcpp.h>
#include <plumblane/v1/intake.grpc.pb.h>

#include <fcntl.h>
#include <unistd.h>
#include <atomic>
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <set>
#include <string>
#include <thread>
#include <vector>

namespace {

using plumblane::v1::BatchReceipt;
using plumblane::v1::EventBatch;

constexpr int kStreams = 8, kInFlight = 4, kEventsInBatch = 50;
constexpr int64_t kFirstSecond = 1'767'225'600;  // 2026-01-01
constexpr int64_t kSpanSeconds = 200 * 86'400;

// Three events of each order; those of one order are 1,001 apart, so batches share orders.
EventBatch BatchOf(int64_t number) {
  EventBatch batch;
  batch.set_batch_number(number);
  for (int64_t n = number * kEventsInBatch; n < (number + 1) * kEventsInBatch; ++n) {
    const int64_t block = n / 3003, within = n % 3003, order = block * 1001 + within % 1001;
    const int64_t step = within / 1001;
    plumblane::v1::Event& event = *batch.add_events();
    event.set_event_id("e" + std::to_string(n));
    event.set_source("faults");
    event.set_shop("harbour");
    event.set_order_id("o" + std::to_string(order));
    event.mutable_event_time()->set_seconds(kFirstSecond + order * 7'919 % kSpanSeconds +
                                            step * 5 * 86'400);
    if (step == 0) {
      event.set_type(plumblane::v1::EVENT_TYPE_PAID);
      event.set_supplier("supplier-" + std::to_string(order % 20));
      event.set_origin("VN");
      event.set_destination(order % 3 == 0 ? "DE" : "SE");
      event.mutable_promise_time()->set_seconds(event.event_time().seconds() +
                                                (order % 7 + 7) * 86'400);
    } else {
      event.set_type(step == 1 ? plumblane::v1::EVENT_TYPE_SHIPPED
                               : plumblane::v1::EVENT_TYPE_DELIVERED);
    }
  }
  return batch;
}

class Ledger {
 public:
  explicit Ledger(const char* path) : fd_(open(path, O_CREAT | O_RDWR | O_APPEND, 0644)) {
    std::ifstream in(path);
    char kind = 0;
    for (int64_t number = 0; in >> kind >> number;) {
      (kind == 'a' ? acked : sent).insert(number);
    }
  }
  void Note(char kind, int64_t number) const {
    const std::string line = std::string(1, kind) + " " + std::to_string(number) + "\n";
    if (write(fd_, line.data(), line.size()) < 0) std::exit(3);
  }
  std::set<int64_t> acked, sent;

 private:
  const int fd_;
};

struct Totals {
  std::atomic<int64_t> batches = 0, accepted = 0, duplicates = 0, wrong = 0;
  std::atomic<bool> broken = false;
};

// Sends what `next` gives until it gives nothing (-1).
template <typename Next, typename Acked>
void SendStream(const std::shared_ptr<grpc::Channel>& channel, const Next& next, const Acked& acked,
                Totals& totals) {
  const auto stub = plumblane::v1::Intake::NewStub(channel);
  grpc::ClientContext context;
  const auto stream = stub->IngestEvents(&context);
  int in_flight = 0;
  bool more = true;
  while (more || in_flight > 0) {
    while (more && in_flight < kInFlight) {
      const int64_t number = next();
      more = number >= 0;
      if (!more) break;
      if (!stream->Write(BatchOf(number))) break;
      ++in_flight;
    }
    BatchReceipt receipt;
    if (in_flight == 0) break;
    if (!stream->Read(&receipt)) {
      totals.broken = true;
      break;
    }
    --in_flight;
    ++totals.batches;
    totals.accepted += receipt.accepted_count();
    totals.duplicates += receipt.duplicate_count();
    totals.wrong += receipt.conflict_count() + receipt.rejected_count();
    acked(receipt.batch_number());
  }
  stream->WritesDone();
  const grpc::Status status = stream->Finish();
  if (!status.ok()) {
    totals.broken = true;
    std::fprintf(stderr, "stream: %d %s\n", status.error_code(), status.error_message().c_str());
  }
}

template <typename Next, typename Acked>
void SendAll(const std::string& address, const Next& next, const Acked& acked, Totals& totals) {
  std::vector<std::thread> threads;
  for (int s = 0; s < kStreams; ++s) {
    threads.emplace_back([&, s] {
      grpc::ChannelArguments own;
      own.SetInt("plumblane.stream", s);  // a connection each
      SendStream(grpc::CreateCustomChannel(address, grpc::InsecureChannelCredentials(), own), next,
                 acked, totals);
    });
  }
  for (std::thread& thread : threads) thread.join();
}

}  // namespace

int main(int argc, char** argv) {
  if (argc < 4) return 2;
  const std::string address = argv[1], what = argv[3];
  Ledger ledger(argv[2]);
  Totals totals;
  if (what == "send") {
    const int64_t first = ledger.sent.empty() ? 0 : *ledger.sent.rbegin() + 1;
    const int64_t most = argc > 4 ? std::atoll(argv[4]) : 1'000'000'000;
    std::atomic<int64_t> at = first;
    SendAll(
        address,
        [&]() -> int64_t {
          const int64_t number = at++;
          if (number >= first + most) return -1;
          ledger.Note('s', number);
          return number;
        },
        [&](int64_t number) { ledger.Note('a', number); }, totals);
    std::printf("acknowledged %lld\n", static_cast<long long>(totals.batches * kEventsInBatch));
    if (totals.wrong > 0) return 1;
    return totals.broken ? 6 : 0;
  }
  const std::set<int64_t>& numbers = what == "check" ? ledger.acked : ledger.sent;
  const std::vector<int64_t> list(numbers.begin(), numbers.end());
  std::atomic<size_t> at = 0;
  SendAll(
      address,
      [&]() -> int64_t {
        const size_t i = at++;
        return i < list.size() ? list[i] : -1;
      },
      [](int64_t) {}, totals);
  const int64_t lost = what == "check" ? totals.accepted.load() : 0;
  std::printf("events %lld lost %lld\n", static_cast<long long>(list.size() * kEventsInBatch),
              static_cast<long long>(lost));
  return lost > 0 || totals.wrong > 0 || totals.broken ? 1 : 0;
}
