// What becomes of receipts, and of who asks or sends beside them, when more comes than can be
// taken:
//
//   capacity   8 streams, each with 8 batches of 500 events in flight
//   twice      16 streams; together they have twice of that to send, and write as fast as the
//              connection takes it
//   beside     as capacity, with one stream that never reads its receipts, and one that sends a
//              batch and waits half a second
//
// For each: events acknowledged a second, milliseconds from handing a batch to the library to its
// receipt, those of GetScore and of an empty call in turn with it, and the daemon's memory. Every
// event sent must be acknowledged in the end, or it fails.
//
// Usage: overload_bench PLUMBLANED [ROUNDS [ORDERS]]   (2, and 40,000 of five and a half events)
#include <grpcpp/grpcpp.h>
#include <plumblane/v1/intake.grpc.pb.h>
#include <plumblane/v1/scores.grpc.pb.h>
#include <poll.h>
#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <atomic>
#include <chrono>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <string>
#include <thread>
#include <vector>

#include "base/give_way.h"
#include "bench/load.h"
#include "bench/served.h"

namespace {

using plumblane::bench::Clock;
using plumblane::bench::Die;
using plumblane::bench::kStreams;
using plumblane::bench::MakeLoad;
using plumblane::bench::Seconds;
using plumblane::v1::BatchReceipt;
using plumblane::v1::EventBatch;
using Batches = std::vector<EventBatch>;

std::shared_ptr<grpc::Channel> OwnChannel(const std::string& address, int number) {
  grpc::ChannelArguments own;
  own.SetInt("plumblane.stream", number);  // a connection each
  return grpc::CreateCustomChannel(address, grpc::InsecureChannelCredentials(), own);
}

// Sends all; with at most `in_flight` without receipt. Milliseconds until each receipt.
std::vector<double> Send(const std::string& address, int number, const Batches& batches,
                         size_t in_flight) {
  const auto stub = plumblane::v1::Intake::NewStub(OwnChannel(address, number));
  grpc::ClientContext context;
  const auto stream = stub->IngestEvents(&context);
  std::vector<std::atomic<int64_t>> handed(batches.size());
  std::vector<double> millis;
  std::atomic<size_t> received = 0;
  std::thread writer([&] {
    for (size_t i = 0; i < batches.size(); ++i) {
      for (size_t seen = received; i >= seen + in_flight; seen = received) received.wait(seen);
      handed[i] = Clock::now().time_since_epoch().count();
      if (!stream->Write(batches[i])) return;
    }
    stream->WritesDone();
  });
  BatchReceipt receipt;
  while (stream->Read(&receipt)) {
    const Clock::duration since{Clock::now().time_since_epoch().count() - handed[received]};
    millis.push_back(Seconds(since) * 1000);
    ++received;
    received.notify_one();
    if (receipt.rejected_count() + receipt.conflict_count() > 0) Die("an event was not taken");
  }
  const grpc::Status status = stream->Finish();
  writer.join();
  if (!status.ok()) Die("the stream broke: " + status.error_message());
  if (received != batches.size()) Die("a batch has no receipt");
  return millis;
}

double Percentile99(std::vector<double> values) {
  std::sort(values.begin(), values.end());
  return values[values.size() * 99 / 100];
}

std::string MiddleAndTail(std::vector<double> values) {
  std::sort(values.begin(), values.end());
  char text[64];
  std::snprintf(text, sizeof text, "%8.1f %8.1f %8.1f", values[values.size() / 2],
                values[values.size() * 99 / 100], values.back());
  return text;
}

double MemoryOf(pid_t process) {
  std::ifstream status("/proc/" + std::to_string(process) + "/status");
  for (std::string word; status >> word;) {
    if (word != "VmRSS:") continue;
    double kib = 0;
    status >> kib;
    return kib / 1024;
  }
  return 0;
}

// Who asks is a process of its own in short turns, as who asks elsewhere waits for no sender: it
// starts before the library is used here, and is told when to ask and when to say what it found.
class Asker {
 public:
  struct Found {
    std::vector<double> score, empty;  // milliseconds of each call
  };

  explicit Asker(const std::string& address) {
    int to[2], from[2];
    if (pipe(to) != 0 || pipe(from) != 0) Die("no pipe");
    process_ = fork();
    if (process_ == 0) {
      close(to[1]);
      close(from[0]);
      Run(address, to[0], from[1]);
      _exit(0);
    }
    close(to[0]);
    close(from[1]);
    to_ = to[1];
    from_ = from[0];
  }
  ~Asker() {
    close(to_);
    close(from_);
    waitpid(process_, nullptr, 0);
  }

  void Begin() { Signal(); }
  Found End() {
    Signal();
    Found found;
    for (auto* values : {&found.score, &found.empty}) {
      size_t count = 0;
      ReadAll(&count, sizeof count);
      values->resize(count);
      ReadAll(values->data(), count * sizeof(double));
    }
    return found;
  }

 private:
  void Signal() {
    if (write(to_, "", 1) != 1) Die("who asks is gone");
  }
  void ReadAll(void* into, size_t bytes) {
    for (auto* at = static_cast<char*>(into); bytes > 0;) {
      const ssize_t got = read(from_, at, bytes);
      if (got <= 0) Die("who asks is gone");
      at += got;
      bytes -= static_cast<size_t>(got);
    }
  }

  static void Run(const std::string& address, int from, int to) {
    plumblane::SetTurn(plumblane::kAnswerTurnMicros);
    const auto timed = [](std::vector<double>& into, const auto& call) {
      const auto start = Clock::now();
      if (call()) into.push_back(Seconds(Clock::now() - start) * 1000);
      std::this_thread::sleep_for(std::chrono::milliseconds(5));
    };
    for (char byte; read(from, &byte, 1) == 1;) {
      Found found;
      const auto channel = OwnChannel(address, -1);
      const auto stub = plumblane::v1::Scores::NewStub(channel);
      for (pollfd told{from, POLLIN, 0}; poll(&told, 1, 0) == 0;) {
        timed(found.score, [&] {
          grpc::ClientContext context;
          plumblane::v1::GetScoreRequest request;
          plumblane::v1::Score response;
          request.set_name("suppliers/supplier-3/lanes/VN-DE");
          return stub->GetScore(&context, request, &response).ok();
        });
        timed(found.empty, [&] {
          plumblane::bench::EmptyCall(channel);
          return true;
        });
      }
      if (read(from, &byte, 1) != 1) return;
      for (const auto* values : {&found.score, &found.empty}) {
        const size_t count = values->size();
        if (write(to, &count, sizeof count) < 0) return;
        if (write(to, values->data(), count * sizeof(double)) < 0) return;
      }
    }
  }

  pid_t process_;
  int to_, from_;
};

// Sends `load`, a stream each, while `asker` asks.
void Measure(const char* name, const std::string& address, pid_t daemon, Asker& asker,
             const std::vector<Batches>& load, size_t in_flight, bool is_told = true) {
  asker.Begin();
  std::vector<std::vector<double>> millis(load.size());
  std::vector<std::thread> senders;
  double events = 0;
  const auto start = Clock::now();
  for (size_t s = 0; s < load.size(); ++s) {
    for (const EventBatch& batch : load[s]) events += batch.events_size();
    senders.emplace_back(
        [&, s] { millis[s] = Send(address, static_cast<int>(s), load[s], in_flight); });
  }
  for (std::thread& sender : senders) sender.join();
  const double seconds = Seconds(Clock::now() - start);
  auto [asked, empty] = asker.End();
  std::vector<double> all;
  for (const auto& one : millis) all.insert(all.end(), one.begin(), one.end());
  if (is_told) {
    plumblane::bench::Figure("score.beside.p99_ms", Percentile99(asked));
    plumblane::bench::Figure("empty.beside.p99_ms", Percentile99(empty));
  }
  std::printf("%-10s %9.0f   %s   %s   %s   %8.0f\n", name, events / seconds,
              MiddleAndTail(std::move(all)).c_str(), MiddleAndTail(std::move(asked)).c_str(),
              MiddleAndTail(std::move(empty)).c_str(), MemoryOf(daemon));
  std::fflush(stdout);
}

// A stream that sends and never reads, until the daemon takes no more and it is cut.
class StuckReader {
 public:
  StuckReader(const std::string& address, const Batches& batches)
      : stub_(plumblane::v1::Intake::NewStub(OwnChannel(address, 100))),
        stream_(stub_->IngestEvents(&context_)),
        writer_([this, &batches] {
          for (const EventBatch& batch : batches) {
            if (!stream_->Write(batch)) return;
          }
        }) {}
  ~StuckReader() {
    context_.TryCancel();
    writer_.join();
  }

 private:
  grpc::ClientContext context_;
  std::unique_ptr<plumblane::v1::Intake::Stub> stub_;
  std::unique_ptr<grpc::ClientReaderWriter<EventBatch, BatchReceipt>> stream_;
  std::thread writer_;
};

class SlowSender {
 public:
  SlowSender(const std::string& address, const Batches& batches)
      : thread_([this, address, &batches] {
          const auto stub = plumblane::v1::Intake::NewStub(OwnChannel(address, 101));
          grpc::ClientContext context;
          const auto stream = stub->IngestEvents(&context);
          for (size_t i = 0; !is_over_ && i < batches.size(); ++i) {
            BatchReceipt receipt;
            if (!stream->Write(batches[i]) || !stream->Read(&receipt)) Die("the slow one broke");
            std::this_thread::sleep_for(std::chrono::milliseconds(500));
          }
          stream->WritesDone();
          (void)stream->Finish();
        }) {}
  ~SlowSender() {
    is_over_ = true;
    thread_.join();
  }

 private:
  std::atomic<bool> is_over_ = false;
  std::thread thread_;
};

}  // namespace

int main(int argc, char** argv) {
  if (argc < 2 || argc > 4) return 2;
  const int rounds = argc > 2 ? std::atoi(argv[2]) : 2;
  const int orders = argc > 3 ? std::atoi(argv[3]) : plumblane::bench::kOrdersARound;
  char folder[] = "/tmp/plumblane-overload-XXXXXX";
  if (mkdtemp(folder) == nullptr) return 1;
  const std::string base = folder, address = "unix:" + base + "/s";
  Asker asker(address);
  const pid_t daemon = plumblane::bench::StartDaemon(argv[1], base + "/data", address);
  Measure("(warm up)", address, daemon, asker, MakeLoad(1000, orders), 8, false);
  std::printf(
      "           events/s    receipt p50, p99, max [ms]   score p50, p99, max [ms]     "
      "empty call p50, p99, max     MiB\n");
  for (int round = 0; round < rounds; ++round) {
    Measure("capacity", address, daemon, asker, MakeLoad(4 * round, orders), 8);
    std::vector<Batches> twice = MakeLoad(4 * round + 1, orders);
    for (Batches& more : MakeLoad(4 * round + 2, orders)) twice.push_back(std::move(more));
    Measure("twice", address, daemon, asker, twice, twice[0].size());
    const auto aside = MakeLoad(2000 + round, 8000);
    const StuckReader stuck(address, aside[0]);
    const SlowSender slow(address, aside[1]);
    Measure("beside", address, daemon, asker, MakeLoad(4 * round + 3, orders), 8);
  }
  kill(daemon, SIGTERM);
  int status = 0;
  waitpid(daemon, &status, 0);
  std::filesystem::remove_all(base);
  return status == 0 ? 0 : 1;
}
