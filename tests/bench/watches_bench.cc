// What watching a fleet costs the daemon: the first replay of all lanes, the step to the next
// settled day, and an update after an entry.
// Usage: watches_bench [lanes=10000]
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <string>

#include "alerting/draws.h"
#include "engine/alert_book.h"

namespace plumblane {
namespace {

constexpr Day kStart{20'000};
constexpr int kDays = 400;

std::shared_ptr<MeasureSet> CellsOf(uint64_t lane) {
  Draws draws(17, lane);
  const double rate = draws.Beta(4, 36);
  auto cells = std::make_shared<MeasureSet>();
  for (int day = 0; day <= kDays; ++day) {
    const int64_t orders = draws.Count(2), late = draws.Hits(orders, rate);
    if (orders == 0) continue;
    Cohort cohort;
    cohort.day = kStart + day;
    cohort.cell.counted.entered = orders;
    (*cells)[Measure::kUnderway].push_back(cohort);
    if (late > 0) cohort.cell.counted.Add(Code::kDeliveredLate, 2, late);
    if (orders > late) cohort.cell.counted.Add(Code::kDelivered, 0, orders - late);
    (*cells)[Measure::kOnTime].push_back(cohort);
  }
  return cells;
}

double Milliseconds(const std::function<void()>& work) {
  const auto start = std::chrono::steady_clock::now();
  work();
  return std::chrono::duration<double, std::milli>(std::chrono::steady_clock::now() - start)
      .count();
}

void Run(int lanes) {
  auto pairs = std::make_shared<PairDirectory>();
  std::map<Pair, Measures> cells;
  auto total = std::make_shared<MeasureSet>();
  for (int lane = 0; lane < lanes; ++lane) {
    // A hundred lanes a supplier.
    const Pair pair{"s" + std::to_string(lane / 100),
                    {"O" + std::to_string(lane), "D" + std::to_string(lane % 50), ""}};
    const auto own = CellsOf(static_cast<uint64_t>(lane));
    AddSeries((*total)[Measure::kOnTime], (*own)[Measure::kOnTime]);
    cells[pair] = own;
    pairs->Insert(pair);
  }
  cells[Pair{}] = total;
  AlertBook book;
  AlertBook::Source source;
  source.sequence = 1;
  source.pairs = pairs;
  source.told = std::make_shared<AlertsTold>();
  source.read = [&](const Pair& pair, bool) -> absl::StatusOr<Measures> { return cells.at(pair); };
  const auto step = [&](int day) {
    return Milliseconds([&] {
      source.now = StartOf(kStart + day) + kMillisPerDay;
      source.horizon = StartOf(kStart + day);
      if (!book.Update(source).ok()) std::abort();
    });
  };
  const int first = kDays - 20;
  std::printf("%d lanes, %d days, ms\n", lanes, first);
  std::printf("  first replay            %8.1f\n", step(first));
  double days = 0;
  constexpr int kSteps = 8;
  for (int i = 1; i <= kSteps; ++i) days += step(first + i);
  std::printf("  step to the next day    %8.1f  (mean of %d)\n", days / kSteps, kSteps);
  const Cell one{{1, {}}, {}};
  book.Note(2, {{cells.begin()->first, {{Measure::kUnderway, kStart + first, one}}},
                {std::next(cells.begin())->first, {{Measure::kOnTime, kStart + first - 5, one}}}});
  source.sequence = 2;
  std::printf("  one old order corrected %8.1f\n", step(first + kSteps));
}

}  // namespace
}  // namespace plumblane

int main(int argc, char** argv) { plumblane::Run(argc > 1 ? std::atoi(argv[1]) : 10'000); }
