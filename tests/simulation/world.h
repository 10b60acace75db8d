// A daemon's engine, log and store in one thread, its clock, its disk and its senders, all from one
// seed.
//
// Senders hand in events in batches, some twice, out of order, or again after an answer that they
// lost; sends are begun, ended and taken back; suppliers are agreed with, orders assigned, alerts
// told and answered, old orders purged, orders and suppliers erased. Between and within entries the
// disk fails, fills up or loses what was not synced, the process is killed, also while it starts,
// and the clock jumps.
#pragma once

#include <map>
#include <memory>
#include <ostream>
#include <string>
#include <vector>

#include "engine/engine.h"
#include "simulation/disk.h"
#include "simulation/oracle.h"
#include "simulation/recorded_log.h"
#include "support/fixed_clock.h"

namespace plumblane::test {

// What a run has met, to see that it meets everything.
struct Met {
  int64_t starts = 0, failed_starts = 0, entries = 0, kept_events = 0, repeats = 0, unknown = 0;
  int64_t failed_writes = 0, full_disks = 0, failed_reads = 0, power_cuts = 0, kills = 0;
  int64_t purged = 0, erased = 0, suppliers_erased = 0, refused = 0;
  int64_t sends_taken_back = 0, alerts = 0, assignments = 0, excuses = 0, new_rules = 0;
};

struct Broken {
  Lie disk = Lie::kNone;
  bool early_answers = false;  // the log answers before it has written
};

class World {
 public:
  // `trace` gets a line for each thing that happens; null = nobody asks.
  World(uint64_t seed, Broken broken, std::ostream* trace);

  // "" or the first promise that was broken, in words.
  std::string Run(Met& met);

 private:
  struct Sender {
    std::vector<OrderEvent> events;
    std::vector<bool> acknowledged;  // as far as it remembers
    int64_t send = 0;                // by which it tells, 0 = none
  };
  enum class Fault { kNone, kWrites, kFull, kReads };

  void Happen();
  void HandIn(Sender& sender);
  void BeginOrEndSend(Sender& sender);
  void TakeBackSend();
  void SayOther();
  void LetGo();
  void EraseSupplier();
  void TellAlerts();
  void Submit(Submission submission, Engine::Answer answer);
  void Commit();
  void Plan(int reach);
  void CrashAndStart();
  void Say(const std::string& what) {
    if (trace_ != nullptr) *trace_ << what << "\n";
  }
  void Wrong(const std::string& what) {
    if (wrong_.empty()) wrong_ = what;
  }

  Dice dice_;
  const Broken broken_;
  std::ostream* const trace_;
  SimulatedDisk disk_;
  FixedClock clock_;
  FoldRules rules_;
  std::map<uint64_t, std::string> entries_;
  std::unique_ptr<RecordedLog> log_;
  std::unique_ptr<Engine> engine_;
  Fault planned_ = Fault::kNone;
  Oracle oracle_;
  std::vector<Sender> senders_;
  std::vector<int64_t> sends_;  // known to somebody
  std::vector<OrderKey> orders_;
  std::string wrong_;
  Met met_;
};

}  // namespace plumblane::test
