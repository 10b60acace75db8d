// What ranking so many candidates by cost takes: chances, quantiles and shares. Candidates as a
// shop would compare them: prices within 5 %, from 5 to 200 orders known of each; or "spread":
// prices from one to four times, so that most have no chance.
// Usage: rank_bench [google-benchmark flags]
#include <benchmark/benchmark.h>

#include "base/philox.h"
#include "ranking/shares.h"

namespace plumblane {
namespace {

std::vector<CostBelief> Candidates(int64_t count, double dearest) {
  std::vector<CostBelief> beliefs;
  for (uint64_t i = 0; i < static_cast<uint64_t>(count); ++i) {
    const auto uniform = [&](uint64_t draw) { return Uniform(1, i, draw); };
    const double orders = 5 + 195 * uniform(0), late = .03 + .2 * uniform(1);
    const double bad = .01 + .05 * uniform(2);
    beliefs.push_back({1'000 * (1 + (dearest - 1) * uniform(3)),
                       400,
                       1'500,
                       {orders * late, orders * (1 - late)},
                       {orders * bad, orders * (1 - bad)}});
  }
  return beliefs;
}

void BM_Chances(benchmark::State& state) {
  const auto beliefs = Candidates(state.range(0), 1.05);
  for (auto _ : state) benchmark::DoNotOptimize(ChancesOfCheapest(beliefs));
}
void BM_ChancesSpread(benchmark::State& state) {
  const auto beliefs = Candidates(state.range(0), 4);
  for (auto _ : state) benchmark::DoNotOptimize(ChancesOfCheapest(beliefs));
}
void BM_Quantiles(benchmark::State& state) {
  const auto beliefs = Candidates(state.range(0), 1.05);
  for (auto _ : state) {
    for (const CostBelief& belief : beliefs) benchmark::DoNotOptimize(QuantilesOf(belief));
  }
}
void BM_Shares(benchmark::State& state) {
  const auto beliefs = Candidates(state.range(0), 1.05);
  const ShareRules rules{.trials = true, .orders_a_day = 20};
  for (auto _ : state) benchmark::DoNotOptimize(SharesToGive(beliefs, rules));
}

void Sizes(benchmark::internal::Benchmark* benchmark) {
  for (const int count : {10, 200, 1'000, 5'000}) benchmark->Arg(count);
  benchmark->Unit(benchmark::kMicrosecond);
}
BENCHMARK(BM_Chances)->Apply(Sizes);
BENCHMARK(BM_ChancesSpread)->Apply(Sizes);
BENCHMARK(BM_Quantiles)->Apply(Sizes);
BENCHMARK(BM_Shares)->Apply(Sizes);

}  // namespace
}  // namespace plumblane

BENCHMARK_MAIN();
