// A daemon of the benchmarks' own, batches sent to it, and how long its answers take.
#pragma once

#include <grpcpp/generic/generic_stub.h>
#include <grpcpp/grpcpp.h>
#include <plumblane/v1/intake.pb.h>
#include <sys/prctl.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <chrono>
#include <csignal>
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <iterator>
#include <memory>
#include <sstream>
#include <string>
#include <utility>
#include <vector>

namespace plumblane::bench {

using Clock = std::chrono::steady_clock;

[[noreturn]] inline void Die(const std::string& why) {
  std::fprintf(stderr, "%s\n", why.c_str());
  std::exit(1);
}

// A figure for the table of goals (goals.py), which collects them from the file it names.
inline void Figure(const std::string& name, double value) {
  if (const char* file = std::getenv("PLUMBLANE_FIGURES")) {
    std::ofstream(file, std::ios::app) << name << ' ' << value << '\n';
  }
}

inline double Seconds(Clock::duration d) { return std::chrono::duration<double>(d).count(); }

// Microseconds at the median and the 99th percentile, of each of the calls made in turn.
template <typename... Calls>
std::array<std::pair<double, double>, sizeof...(Calls)> Latencies(size_t rounds,
                                                                  const Calls&... calls) {
  std::array<std::vector<double>, sizeof...(Calls)> micros;
  const auto timed = [](const auto& call, std::vector<double>& to) {
    const auto start = Clock::now();
    call();
    to.push_back(Seconds(Clock::now() - start) * 1e6);
  };
  for (size_t i = 0; i < 200; ++i) (calls(), ...);
  for (size_t i = 0; i < rounds; ++i) {
    size_t at = 0;
    (timed(calls, micros[at++]), ...);
  }
  std::array<std::pair<double, double>, sizeof...(Calls)> found;
  for (size_t i = 0; i < micros.size(); ++i) {
    std::sort(micros[i].begin(), micros[i].end());
    found[i] = {micros[i][rounds / 2], micros[i][rounds * 99 / 100]};
  }
  return found;
}

template <typename Call>
std::pair<double, double> Latency(const Call& call, size_t calls = 4000) {
  return Latencies(calls, call)[0];
}

// Seconds of processor time that a process has taken, with all of its threads.
inline double CpuOf(pid_t process) {
  std::ifstream stat("/proc/" + std::to_string(process) + "/stat");
  std::string text((std::istreambuf_iterator<char>(stat)), {});
  std::istringstream fields(text.substr(text.rfind(')') + 2));
  std::string skipped;
  for (int i = 0; i < 11; ++i) fields >> skipped;
  double user = 0, system = 0;
  fields >> user >> system;
  return (user + system) / static_cast<double>(sysconf(_SC_CLK_TCK));
}

// A call that asks nothing: what remains is the way there and back.
inline void EmptyCall(const std::shared_ptr<grpc::Channel>& channel) {
  grpc::GenericStub stub(channel);
  grpc::ClientContext context;
  grpc::CompletionQueue queue;
  const grpc::Slice nothing("", 0);
  grpc::ByteBuffer request(&nothing, 1), response;
  grpc::Status status;
  const auto call =
      stub.PrepareUnaryCall(&context, "/grpc.health.v1.Health/Check", request, &queue);
  call->StartCall();
  call->Finish(&response, &status, nullptr);
  void* tag = nullptr;
  bool ok = false;
  queue.Next(&tag, &ok);
  queue.Shutdown();
  if (!status.ok()) Die("the empty call failed: " + status.error_message());
}

inline grpc::ByteBuffer Encoded(const google::protobuf::Message& message) {
  const std::string bytes = message.SerializeAsString();
  const grpc::Slice slice(bytes);
  return grpc::ByteBuffer(&slice, 1);
}

// A stream of intake that takes batches as bytes: what it costs to make them is its caller's.
class EncodedIntake {
 public:
  // A connection of its own for each number.
  EncodedIntake(const std::string& address, int number) {
    grpc::ChannelArguments own;
    own.SetInt("plumblane.stream", number);
    channel_ = grpc::CreateCustomChannel(address, grpc::InsecureChannelCredentials(), own);
    const grpc::internal::RpcMethod method("/plumblane.v1.Intake/IngestEvents",
                                           grpc::internal::RpcMethod::BIDI_STREAMING);
    stream_.reset(Stream::Create(channel_.get(), method, &context_));
  }

  void Write(const grpc::ByteBuffer& batch) { stream_->Write(batch); }

  // Dies unless a whole batch was taken.
  v1::BatchReceipt Read() {
    grpc::ByteBuffer bytes;
    if (!stream_->Read(&bytes)) Die("the stream broke: " + stream_->Finish().error_message());
    v1::BatchReceipt receipt;
    if (!grpc::SerializationTraits<v1::BatchReceipt>::Deserialize(&bytes, &receipt).ok()) {
      Die("a receipt cannot be read");
    }
    if (receipt.rejected_count() + receipt.conflict_count() > 0) {
      Die("an event was not taken: " + receipt.ShortDebugString());
    }
    return receipt;
  }

  void Finish() {
    stream_->WritesDone();
    if (const grpc::Status status = stream_->Finish(); !status.ok()) {
      Die("the stream broke: " + status.error_message());
    }
  }

 private:
  using Stream = grpc::internal::ClientReaderWriterFactory<grpc::ByteBuffer, grpc::ByteBuffer>;

  std::shared_ptr<grpc::Channel> channel_;
  grpc::ClientContext context_;
  std::unique_ptr<grpc::ClientReaderWriter<grpc::ByteBuffer, grpc::ByteBuffer>> stream_;
};

// A server of the benchmarks' own, in a process started by StartProgram.
template <typename... Services>
[[noreturn]] void Serve(const std::string& address, Services&... services) {
  grpc::ServerBuilder builder;
  builder.AddListeningPort(address, grpc::InsecureServerCredentials());
  (builder.RegisterService(&services), ...);
  const auto server = builder.BuildAndStart();
  if (server == nullptr || write(STDOUT_FILENO, "\n", 1) != 1) std::exit(1);
  server->Wait();
  std::exit(0);
}

// Starts a program and waits for its ready line.
inline pid_t StartProgram(const char* binary, std::vector<std::string> arguments) {
  int out[2];
  if (pipe(out) != 0) std::exit(1);
  const pid_t child = fork();
  if (child == 0) {
    prctl(PR_SET_PDEATHSIG, SIGTERM);  // it ends with this program, however that ends
    dup2(out[1], STDOUT_FILENO);
    std::vector<char*> all{const_cast<char*>(binary)};
    for (std::string& one : arguments) all.push_back(one.data());
    all.push_back(nullptr);
    execv(binary, all.data());
    _exit(127);
  }
  close(out[1]);
  char byte = 0;
  if (read(out[0], &byte, 1) != 1) std::exit(1);
  return child;
}

inline pid_t StartDaemon(const char* binary, const std::string& data, const std::string& address) {
  return StartProgram(binary, {"--data", data, "--listen", address, "--clock", "events"});
}

}  // namespace plumblane::bench
