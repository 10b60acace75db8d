// simulation [--seeds N] [--first N]   N seeds (300) from the first (1) on, and then that each kind
//                                      of broken disk and log is found out
// simulation --seed N                  one seed, with all that happens
// Exit 1 and the seed when a promise is broken.
#include <spdlog/spdlog.h>

#include <cstdlib>
#include <iostream>
#include <string>
#include <string_view>

#include "simulation/world.h"

namespace {

using plumblane::test::Broken;
using plumblane::test::Lie;
using plumblane::test::Met;
using plumblane::test::World;

std::string Run(uint64_t seed, Broken broken, Met& met, bool trace = false) {
  return World(seed, broken, trace ? &std::cout : nullptr).Run(met);
}

void Add(const Met& one, Met& all) {
  const int64_t* from = &one.starts;
  int64_t* to = &all.starts;
  static_assert(sizeof(Met) % sizeof(int64_t) == 0);
  for (size_t i = 0; i < sizeof(Met) / sizeof(int64_t); ++i) to[i] += from[i];
}

// False: something never happens, so nothing is shown of it.
bool Print(const Met& met) {
  const std::pair<const char*, int64_t> rows[] = {
      {"starts", met.starts},
      {"starts that failed", met.failed_starts},
      {"log entries", met.entries},
      {"events acknowledged for good", met.kept_events},
      {"repeats", met.repeats},
      {"answers: outcome unknown", met.unknown},
      {"writes made to fail", met.failed_writes},
      {"disks made full", met.full_disks},
      {"reads made to fail", met.failed_reads},
      {"power cuts", met.power_cuts},
      {"kills", met.kills},
      {"sends taken back", met.sends_taken_back},
      {"orders purged", met.purged},
      {"orders erased", met.erased},
      {"suppliers erased", met.suppliers_erased},
      {"events of orders that left, refused", met.refused},
      {"alerts told", met.alerts},
      {"assignments", met.assignments},
      {"excuses", met.excuses},
      {"rules changed", met.new_rules},
  };
  bool all = true;
  for (const auto& [name, count] : rows) {
    std::cout << "  " << name << ": " << count << "\n";
    all = all && count > 0;
  }
  return all;
}

// A disk or log that breaks its word is found out within a hundred seeds.
bool IsFoundOut(const char* what, Broken broken) {
  for (uint64_t seed = 1; seed <= 100; ++seed) {
    Met met;
    const std::string wrong = Run(seed, broken, met);
    if (wrong.empty()) continue;
    std::cout << "found out by seed " << seed << ", " << what << ": " << wrong << "\n";
    return true;
  }
  std::cout << "not found out: " << what << "\n";
  return false;
}

}  // namespace

int main(int argc, char** argv) {
  uint64_t seeds = 300, first = 1, only = 0;
  for (int i = 1; i < argc; i += 2) {
    const std::string_view option = argv[i];
    uint64_t* value = option == "--seeds"   ? &seeds
                      : option == "--first" ? &first
                      : option == "--seed"  ? &only
                                            : nullptr;
    if (value == nullptr || i + 1 == argc) return 2;
    *value = std::strtoull(argv[i + 1], nullptr, 10);
  }
  spdlog::set_level(only != 0 ? spdlog::level::info : spdlog::level::off);
  Met all;
  if (only != 0) {
    const std::string wrong = Run(only, {}, all, /*trace=*/true);
    std::cout << (wrong.empty() ? "all promises hold" : wrong) << "\n";
    return wrong.empty() ? 0 : 1;
  }
  for (uint64_t seed = first; seed < first + seeds; ++seed) {
    Met met;
    const std::string wrong = Run(seed, {}, met);
    if (!wrong.empty()) {
      std::cout << "seed " << seed << ": " << wrong << "\nagain, with all that happens: " << argv[0]
                << " --seed " << seed << "\n";
      return 1;
    }
    Add(met, all);
  }
  std::cout << seeds << " seeds from " << first << ", no promise broken\n";
  bool good = Print(all) || seeds < 100;
  good = IsFoundOut("sync left out", {Lie::kNoSync, false}) && good;
  good = IsFoundOut("batches written in part", {Lie::kTornBatch, false}) && good;
  good = IsFoundOut("acknowledged before the log is written", {Lie::kNone, true}) && good;
  return good ? 0 : 1;
}
