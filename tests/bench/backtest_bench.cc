// How long a backtest takes on invented fleets, and what part of it is fitting priors.
#include <cstdio>
#include <ctime>
#include <string>
#include <vector>

#include "base/philox.h"
#include "scoring/backtest.h"

namespace plumblane {
namespace {

struct Plan {
  int suppliers, lanes_each, days;
  double orders_a_day;  // of a pair, fewer than 1: that share of days has one
};

std::vector<OnTimeHistory> Invent(const Plan& plan) {
  std::vector<OnTimeHistory> histories;
  for (int supplier = 0; supplier < plan.suppliers; ++supplier) {
    for (int i = 0; i < plan.lanes_each; ++i) {
      const uint64_t stream = histories.size();
      const auto name = std::to_string((supplier * 7 + i) % 60);
      OnTimeHistory history{{"s" + std::to_string(supplier), {"VN", "D" + name, ""}}, {}};
      for (int day = 0; day < plan.days; ++day) {
        const auto draw = static_cast<uint64_t>(2 * day);
        if (Uniform(1, stream, draw) > plan.orders_a_day) continue;
        Cohort cohort{Day{20'000 + day}, {}};
        cohort.cell.counted.entered = 1;
        if (Uniform(1, stream, draw + 1) < .85) cohort.cell.counted.Add(Code::kDelivered, 0, 1);
        history.on_time.push_back(cohort);
      }
      histories.push_back(std::move(history));
    }
  }
  return histories;
}

void Replay(const char* what, const Plan& plan) {
  const std::vector<OnTimeHistory> histories = Invent(plan);
  const Instant now = StartOf(Day{20'000 + plan.days + 2});
  const Moment moment{now, now - kMillisPerDay, DayOf(now) - 1};
  const std::clock_t started = std::clock();
  const auto result =
      Backtest(histories, moment, {.half_lives_days = {7, 14, 30, 60, 90, 180, 365}});
  const double seconds = static_cast<double>(std::clock() - started) / CLOCKS_PER_SEC;
  std::printf("%-40s %10lld %10.2f\n", what,
              static_cast<long long>(result ? result->order_count : 0), seconds);
}

}  // namespace
}  // namespace plumblane

int main() {
  std::printf("%-40s %10s %10s\n", "8 half-lives", "forecast", "CPU s");
  plumblane::Replay("3,000 pairs x 90 days, .3 orders a day", {300, 10, 90, .3});
  plumblane::Replay("3,000 pairs x 90 days, 1 order a day", {300, 10, 90, 1});
  plumblane::Replay("300 pairs x 400 days, 1 order a day", {30, 10, 400, 1});
  plumblane::Replay("300 pairs x 1,200 days, 1 order a day", {30, 10, 1200, 1});
}
