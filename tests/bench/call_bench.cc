// How long one call takes while nothing else goes on, beside the least that a server of the same
// library and disk takes, in one run, in turn:
//
//   score    GetScore of all pairs in turn, each asked twice of the same state ("again"), and first
//            asked after an event ("counted"); against an empty call, and against a server that
//            answers each call with the bytes of a score that it has ready
//   one      one event sent and acknowledged; against one write and fdatasync of a file, and a
//            server that writes, syncs and answers each message on the thread that read it
//
// Usage: call_bench PLUMBLANED  (the daemon's binary; it is started on a temporary directory)
#include <fcntl.h>
#include <grpcpp/grpcpp.h>
#include <plumblane/v1/intake.grpc.pb.h>
#include <plumblane/v1/scores.grpc.pb.h>
#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cstdio>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <string>
#include <string_view>

#include "bench/load.h"
#include "bench/served.h"

namespace {

using plumblane::bench::Die;
using plumblane::bench::EmptyCall;
using plumblane::bench::Encoded;
using plumblane::v1::BatchReceipt;
using plumblane::v1::EventBatch;
using plumblane::v1::Intake;
using plumblane::v1::Score;
using plumblane::v1::Scores;

constexpr char kLeast[] = "least";

class File {
 public:
  explicit File(const std::string& path)
      : file_(open(path.c_str(), O_CREAT | O_WRONLY | O_APPEND | O_CLOEXEC, 0600)) {}
  void Sync() const {
    static const std::string bytes(200, 'e');
    if (write(file_, bytes.data(), bytes.size()) < 0 || fdatasync(file_) != 0) Die("no disk");
  }

 private:
  const int file_;
};

class LeastScores final : public Scores::WithRawCallbackMethod_GetScore<Scores::Service> {
 public:
  explicit LeastScores(grpc::ByteBuffer ready) : ready_(std::move(ready)) {}
  grpc::ServerUnaryReactor* GetScore(grpc::CallbackServerContext* context, const grpc::ByteBuffer*,
                                     grpc::ByteBuffer* response) override {
    *response = ready_;
    grpc::ServerUnaryReactor* reactor = context->DefaultReactor();
    reactor->Finish(grpc::Status::OK);
    return reactor;
  }

 private:
  const grpc::ByteBuffer ready_;
};

class LeastIntake final : public Intake::WithRawCallbackMethod_IngestEvents<Intake::Service> {
 public:
  explicit LeastIntake(const std::string& path) : file_(path) {
    BatchReceipt receipt;
    receipt.set_accepted_count(1);
    receipt_ = Encoded(receipt);
  }
  grpc::ServerBidiReactor<grpc::ByteBuffer, grpc::ByteBuffer>* IngestEvents(
      grpc::CallbackServerContext*) override {
    return new Stream(*this);
  }

 private:
  class Stream final : public grpc::ServerBidiReactor<grpc::ByteBuffer, grpc::ByteBuffer> {
   public:
    explicit Stream(LeastIntake& intake) : intake_(intake) { StartRead(&batch_); }
    void OnReadDone(bool ok) override {
      if (!ok) return Finish(grpc::Status::OK);
      intake_.file_.Sync();
      StartWrite(&intake_.receipt_);
    }
    void OnWriteDone(bool) override { StartRead(&batch_); }
    void OnDone() override { delete this; }

   private:
    LeastIntake& intake_;
    grpc::ByteBuffer batch_;
  };

  const File file_;
  grpc::ByteBuffer receipt_;
};

[[noreturn]] void ServeLeast(const std::string& folder) {
  std::ifstream file(folder + "/score");
  const std::string bytes((std::istreambuf_iterator<char>(file)), {});
  const grpc::Slice slice(bytes);
  LeastScores scores(grpc::ByteBuffer(&slice, 1));
  LeastIntake intake(folder + "/least.events");
  plumblane::bench::Serve("unix:" + folder + "/least", scores, intake);
}

class Asking {
 public:
  explicit Asking(const std::shared_ptr<grpc::Channel>& channel)
      : stub_(Scores::NewStub(channel)) {}

  Score Next() { return Ask(next_++); }
  Score Again() { return Ask(next_ - 1); }

 private:
  Score Ask(int number) {
    constexpr const char* kLanes[] = {"VN-DE", "VN-SE", "TR-DE", "TR-SE"};
    grpc::ClientContext context;
    plumblane::v1::GetScoreRequest request;
    Score response;
    request.set_name("suppliers/supplier-" + std::to_string(number % plumblane::bench::kSuppliers) +
                     "/lanes/" + kLanes[number / plumblane::bench::kSuppliers % 4]);
    const grpc::Status status = stub_->GetScore(&context, request, &response);
    if (!status.ok()) Die("GetScore failed: " + status.error_message());
    return response;
  }

  const std::unique_ptr<Scores::Stub> stub_;
  int next_ = 0;
};

// One event at a time, on a stream of its own.
class Sending {
 public:
  Sending(const std::shared_ptr<grpc::Channel>& channel, const std::string& name)
      : stub_(Intake::NewStub(channel)), stream_(stub_->IngestEvents(&context_)), name_(name) {
    plumblane::v1::Event& event = *batch_.add_events();
    event.set_type(plumblane::v1::EVENT_TYPE_PAID);
    event.set_supplier("supplier-1");
    event.set_origin("VN");
    event.set_destination("DE");
    event.mutable_event_time()->set_seconds(plumblane::bench::kStart);
    event.set_event_id("paid");
  }
  ~Sending() {
    stream_->WritesDone();
    if (!stream_->Finish().ok()) Die("the stream broke");
  }

  void Send() {
    batch_.mutable_events(0)->set_order_id(name_ + std::to_string(++number_));
    BatchReceipt receipt;
    if (!stream_->Write(batch_) || !stream_->Read(&receipt) || receipt.accepted_count() != 1) {
      Die("a single event was not taken");
    }
  }

 private:
  const std::unique_ptr<Intake::Stub> stub_;
  grpc::ClientContext context_;
  const std::unique_ptr<grpc::ClientReaderWriter<EventBatch, BatchReceipt>> stream_;
  const std::string name_;
  EventBatch batch_;
  int64_t number_ = 0;
};

void Print(const char* what, std::pair<double, double> micros, std::pair<double, double> against) {
  std::printf("%-26s %8.0f %8.0f %8.2f %8.2f\n", what, micros.first, micros.second,
              micros.first / against.first, micros.second / against.second);
}

void Tell(const std::string& what, std::pair<double, double> micros,
          std::pair<double, double> against) {
  plumblane::bench::Figure(what + ".p50", micros.first / against.first);
  plumblane::bench::Figure(what + ".p99", micros.second / against.second);
}

void SendLoad(const std::string& address) {
  const auto load = plumblane::bench::MakeLoad(0);
  for (int s = 0; s < plumblane::bench::kStreams; ++s) {
    plumblane::bench::EncodedIntake stream(address, s);
    for (const EventBatch& batch : load[static_cast<size_t>(s)]) {
      stream.Write(Encoded(batch));
      stream.Read();
    }
    stream.Finish();
  }
}

}  // namespace

int main(int argc, char** argv) {
  if (argc == 3 && std::string_view(argv[1]) == kLeast) ServeLeast(argv[2]);
  if (argc != 2) return 2;
  char folder[] = "/tmp/plumblane-call-XXXXXX";
  if (mkdtemp(folder) == nullptr) return 1;
  const std::string base = folder, address = "unix:" + base + "/s";
  const pid_t daemon = plumblane::bench::StartDaemon(argv[1], base + "/data", address);
  SendLoad(address);
  const auto channel_to = [](const std::string& to) {
    return grpc::CreateChannel(to, grpc::InsecureChannelCredentials());
  };
  const auto ours = channel_to(address);
  Asking asking(ours);
  std::ofstream(base + "/score") << asking.Next().SerializeAsString();
  const pid_t least = plumblane::bench::StartProgram(argv[0], {kLeast, base});
  const auto theirs = channel_to("unix:" + base + "/least");
  Asking ready(theirs);
  const File file(base + "/alone");
  std::printf("%-26s %8s %8s %17s\n", "us", "p50", "p99", "times the first");
  {
    Sending sending(ours, "between-");
    const auto found = plumblane::bench::Latencies(
        2000, [&] { EmptyCall(ours); }, [&] { ready.Next(); }, [&] { asking.Again(); },
        [&] { sending.Send(); }, [&] { asking.Next(); });
    Print("empty call", found[0], found[0]);
    Print("a score that is ready", found[1], found[0]);
    Print("GetScore, again", found[2], found[0]);
    Print("GetScore, counted", found[4], found[0]);
    Tell("score.again", found[2], found[0]);
    Tell("score.counted", found[4], found[0]);
  }
  {
    Sending sending(ours, "single-"), least_sending(theirs, "single-");
    const auto found = plumblane::bench::Latencies(
        1000, [&] { file.Sync(); }, [&] { least_sending.Send(); }, [&] { sending.Send(); });
    Print("fdatasync", found[0], found[0]);
    Print("the least for an event", found[1], found[0]);
    Print("one event", found[2], found[0]);
    Tell("event", found[2], found[0]);
    Tell("event.least", found[1], found[0]);
  }
  for (const pid_t child : {daemon, least}) {
    kill(child, SIGTERM);
    waitpid(child, nullptr, 0);
  }
  std::filesystem::remove_all(base);
  return 0;
}
