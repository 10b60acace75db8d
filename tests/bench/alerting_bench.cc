// What charts cost: a design, a day of many lanes, and a subject watched anew.
// Usage: alerting_bench [google-benchmark flags]
#include <benchmark/benchmark.h>

#include <vector>

#include "alerting/draws.h"
#include "alerting/watch.h"
#include "alerting/watched.h"

namespace plumblane {
namespace {

constexpr int kLanes = 10'000, kDays = 400;

// `rate` per mille, odds ratio, target.
void DesignCold(benchmark::State& state) {
  for (auto _ : state) {
    benchmark::DoNotOptimize(DesignChart(static_cast<double>(state.range(0)) / 1000,
                                         static_cast<double>(state.range(1)),
                                         static_cast<double>(state.range(2))));
  }
}
BENCHMARK(DesignCold)
    ->ArgNames({"rate", "odds", "target"})
    ->ArgsProduct({{5, 20, 100, 300, 600}, {2, 3}, {2'000, 100'000}})
    ->Unit(benchmark::kMicrosecond);

ListSubject SubjectOf(uint64_t lane) {
  Draws draws(91, lane);
  ListSubject subject;
  Append(subject, kDays, 2, draws.Beta(4, 36), draws);
  return subject;
}

// One more day for each lane, designs cached; about one lane in ten is due for a new design.
void StepAllLanes(benchmark::State& state) {
  std::vector<ListSubject> subjects;
  std::vector<Watch> before;
  ChartDesigns designs;
  for (int lane = 0; lane < kLanes; ++lane) {
    subjects.push_back(SubjectOf(static_cast<uint64_t>(lane)));
    before.push_back(Replay(subjects.back(), {}, {}, LastOf(subjects.back()) - 1, designs));
  }
  const Day last = LastOf(subjects.front());
  int64_t rounds = 0, planned = 0;
  for (auto _ : state) {
    state.PauseTiming();
    std::vector<Watch> watches = before;
    state.ResumeTiming();
    for (size_t lane = 0; lane < watches.size(); ++lane) {
      watches[lane].Advance(subjects[lane], {}, last, designs);
    }
    state.PauseTiming();
    ++rounds;
    for (const Watch& watch : watches) planned += watch.plan() && watch.plan()->day == last;
    state.ResumeTiming();
  }
  state.counters["planned"] = static_cast<double>(planned) / static_cast<double>(rounds);
}
BENCHMARK(StepAllLanes)->Unit(benchmark::kMillisecond);

// 400 days from the start, designs cached.
void ReplayOneLane(benchmark::State& state) {
  const ListSubject subject = SubjectOf(7);
  ChartDesigns designs;
  for (auto _ : state) {
    benchmark::DoNotOptimize(Replay(subject, {}, {}, LastOf(subject), designs));
  }
}
BENCHMARK(ReplayOneLane)->Unit(benchmark::kMicrosecond);

}  // namespace
}  // namespace plumblane

BENCHMARK_MAIN();
