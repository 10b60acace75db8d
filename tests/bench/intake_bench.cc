// Where the time of one event goes between its bytes and its receipt, step by step on one thread.
//
// Usage: intake_bench [ROUNDS [EVENTS AN ENTRY]]
#include <plumblane/v1/intake.pb.h>
#include <unistd.h>

#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <filesystem>
#include <functional>
#include <map>
#include <memory>
#include <string>
#include <vector>

#include "base/zones.h"
#include "bench/load.h"
#include "engine/applier.h"
#include "engine/memory.h"
#include "eventlog/event_log.h"
#include "service/fill_event.h"
#include "service/read_event.h"
#include "storage/rocksdb/rocksdb_store.h"

namespace {

using namespace plumblane;  // NOLINT: a program of one file

double CpuNow() {
  timespec now{};
  clock_gettime(CLOCK_THREAD_CPUTIME_ID, &now);
  return static_cast<double>(now.tv_sec) + static_cast<double>(now.tv_nsec) * 1e-9;
}

double WallNow() {
  return std::chrono::duration<double>(std::chrono::steady_clock::now().time_since_epoch()).count();
}

// Seconds spent in each step, by its name.
class StepTimes {
 public:
  void Time(const std::string& step, const std::function<void()>& work) {
    const double cpu = CpuNow(), wall = WallNow();
    work();
    if (!spent_.contains(step)) order_.push_back(step);
    spent_[step].cpu += CpuNow() - cpu;
    spent_[step].wall += WallNow() - wall;
  }

  void Print(double events) const {
    std::printf("%-28s %8s %8s\n", "us an event", "cpu", "wall");
    double cpu = 0, wall = 0;
    for (const std::string& step : order_) {
      const Spent& spent = spent_.at(step);
      std::printf("%-28s %8.2f %8.2f\n", step.c_str(), spent.cpu / events * 1e6,
                  spent.wall / events * 1e6);
      cpu += spent.cpu;
      wall += spent.wall;
    }
    std::printf("%-28s %8.2f %8.2f\n", "together", cpu / events * 1e6, wall / events * 1e6);
  }

 private:
  struct Spent {
    double cpu = 0, wall = 0;
  };
  std::vector<std::string> order_;
  std::map<std::string, Spent> spent_;
};

void Check(const absl::Status& status) {
  if (status.ok()) return;
  std::fprintf(stderr, "%s\n", status.ToString().c_str());
  std::exit(1);
}

// Batches of all streams in turn, as bytes.
std::vector<std::string> MessagesOf(int round) {
  const auto load = bench::MakeLoad(round);
  std::vector<std::string> messages;
  for (size_t i = 0; i < load[0].size(); ++i) {
    for (const auto& stream : load) {
      if (i < stream.size()) messages.push_back(stream[i].SerializeAsString());
    }
  }
  return messages;
}

}  // namespace

int main(int argc, char** argv) {
  const int rounds = argc > 1 ? std::atoi(argv[1]) : 3;
  const size_t entry_events = argc > 2 ? static_cast<size_t>(std::atoi(argv[2])) : 10'000;
  char folder[] = "/tmp/plumblane-intake-XXXXXX";
  if (mkdtemp(folder) == nullptr) return 1;
  const auto zones = Zones::Load();
  auto store = OpenRocksDbStore({.path = std::string(folder) + "/store"});
  Check(store.status());
  StoreLog log(**store);
  Memory memory(256 << 20);
  WritersMemory writers_memory(128 << 20);
  auto snapshot = (*store)->TakeSnapshot();
  Catalog catalog;
  const Instant now{1'800'000'000'000};
  for (int round = 0; round < rounds; ++round) {
    StepTimes steps;
    size_t events = 0, log_bytes = 0, state_bytes = 0;
    std::map<Space, size_t> records;
    Submission content;
    const auto commit = [&] {
      const uint64_t sequence = catalog.log_sequence + 1;
      std::string bytes;
      steps.Time("encode", [&] { bytes = EncodeLogEntry(now, content); });
      log_bytes += bytes.size();
      steps.Time("append, fsync", [&] {
        if (sequence > 16) Check(log.Trim(0, sequence - 16));
        if (log.Append(0, sequence, std::move(bytes)) != Appended::kDurable) std::exit(1);
      });
      std::optional<Applied> applied;
      steps.Time("apply", [&] {
        auto done = Apply(*snapshot, catalog, FoldRules{}, sequence, {now, std::move(content)},
                          writers_memory);
        Check(done.status());
        applied = *std::move(done);
      });
      for (const auto& change : applied->batch.changes) {
        ++records[change.space];
        state_bytes += change.key.size() + (change.value ? change.value->size() : 0);
      }
      steps.Time("write state", [&] { Check((*store)->Write(applied->batch, /*sync=*/false)); });
      steps.Time("publish", [&] {
        catalog = applied->catalog;
        memory.Note(sequence, applied->cells);
        snapshot = (*store)->TakeSnapshot();
        memory.Settle();
        applied.reset();
      });
      content = {};
    };
    for (const std::string& message : MessagesOf(round)) {
      v1::EventBatch batch;
      steps.Time("parse", [&] { batch.ParseFromString(message); });
      steps.Time("check, fill, hash", [&] {
        for (const v1::Event& sent : batch.events()) {
          OrderEvent taken;
          if (ReadEvent(sent, *zones, now, taken)) std::exit(1);
          FillFromAgreements(sent, *catalog.agreements, *zones, taken.event);
          content.events.push_back(std::move(taken));
        }
      });
      events += static_cast<size_t>(batch.events_size());
      if (content.events.size() >= entry_events) commit();
    }
    commit();
    const auto per_event = [&](size_t count) {
      return static_cast<double>(count) / static_cast<double>(events);
    };
    std::printf(
        "round %d: %zu events; an event: log bytes %.0f, state bytes %.0f, records %.2f orders,"
        " %.2f cells, %.2f index\n",
        round + 1, events, per_event(log_bytes), per_event(state_bytes),
        per_event(records[Space::kOrders]), per_event(records[Space::kCells]),
        per_event(records[Space::kIndex]));
    if (round + 1 == rounds) steps.Print(static_cast<double>(events));
  }
  snapshot.reset();
  store->reset();
  std::filesystem::remove_all(folder);
  return 0;
}
