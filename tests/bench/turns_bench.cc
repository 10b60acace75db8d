// How long a thread that asks waits for the one core it shares with one that always runs, by
// the niceness and the turns of either (base/give_way.h): what the committer costs who asks,
// without the rest of the daemon.
//
// The asker sleeps 0.1 ms and works 0.7 ms, again and again: a core it nearly fills, as a client
// that asks as fast as it is answered. Its wait is from the end of its sleep to when it runs.
#include <sched.h>

#include <algorithm>
#include <atomic>
#include <chrono>
#include <cstdio>
#include <thread>
#include <vector>

#include "base/give_way.h"

namespace {

using Clock = std::chrono::steady_clock;
using std::chrono::microseconds;

constexpr microseconds kSleep{100}, kWork{700};
constexpr std::chrono::seconds kEach{3};
constexpr int64_t kUsual = 0;  // what the system gives

void Measure(int steps, int64_t background, int64_t answer) {
  std::atomic<bool> done = false;
  std::atomic<double> ran = 0;
  std::thread always([&] {
    plumblane::GiveWay(steps);
    plumblane::SetTurn(background);
    while (!done) {
    }
    timespec used{};
    clock_gettime(CLOCK_THREAD_CPUTIME_ID, &used);
    ran = static_cast<double>(used.tv_sec) + static_cast<double>(used.tv_nsec) * 1e-9;
  });
  std::vector<double> waits;
  std::thread asks([&] {
    plumblane::SetTurn(answer);
    const auto end = Clock::now() + kEach;
    while (Clock::now() < end) {
      const auto due = Clock::now() + kSleep;
      std::this_thread::sleep_for(kSleep);
      const auto woken = Clock::now();
      waits.push_back(std::chrono::duration<double, std::micro>(woken - due).count());
      while (Clock::now() < woken + kWork) {
      }
    }
    done = true;
  });
  asks.join();
  always.join();
  std::sort(waits.begin(), waits.end());
  std::printf("%8d %11lld %8lld %9.0f %9.0f %9.0f %8.2f\n", steps,
              static_cast<long long>(background), static_cast<long long>(answer),
              waits[waits.size() / 2], waits[waits.size() * 99 / 100], waits.back(),
              ran.load() / std::chrono::duration<double>(kEach).count());
  std::fflush(stdout);
}

}  // namespace

int main() {
  cpu_set_t one;
  CPU_ZERO(&one);
  CPU_SET(0, &one);
  if (sched_setaffinity(0, sizeof(one), &one) != 0) return 1;
  std::printf(
      "niceness  turns, us   asker   p50, us       p99       max  share of who always runs\n");
  for (const int steps : {0, 5, 8, 10}) {
    Measure(steps, kUsual, kUsual);
    Measure(steps, plumblane::kBackgroundTurnMicros, plumblane::kAnswerTurnMicros);
  }
  return 0;
}
