// A daemon of the benchmarks' own, and how long its answers take.
#pragma once

#include <sys/prctl.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <csignal>
#include <cstdio>
#include <cstdlib>
#include <string>
#include <utility>
#include <vector>

namespace plumblane::bench {

using Clock = std::chrono::steady_clock;

[[noreturn]] inline void Die(const std::string& why) {
  std::fprintf(stderr, "%s\n", why.c_str());
  std::exit(1);
}

inline double Seconds(Clock::duration d) { return std::chrono::duration<double>(d).count(); }

// Microseconds at the median and the 99th percentile.
template <typename Call>
inline std::pair<double, double> Latency(const Call& call, size_t calls = 4000) {
  for (int i = 0; i < 200; ++i) call();
  std::vector<double> micros;
  for (size_t i = 0; i < calls; ++i) {
    const auto start = Clock::now();
    call();
    micros.push_back(Seconds(Clock::now() - start) * 1e6);
  }
  std::sort(micros.begin(), micros.end());
  return {micros[calls / 2], micros[calls * 99 / 100]};
}

// Starts the daemon and waits for its ready line.
inline pid_t StartDaemon(const char* binary, const std::string& data, const std::string& address) {
  int out[2];
  if (pipe(out) != 0) std::exit(1);
  const pid_t child = fork();
  if (child == 0) {
    prctl(PR_SET_PDEATHSIG, SIGTERM);  // it ends with this program, however that ends
    dup2(out[1], STDOUT_FILENO);
    execl(binary, binary, "--data", data.c_str(), "--listen", address.c_str(), "--clock", "events",
          nullptr);
    _exit(127);
  }
  close(out[1]);
  char byte = 0;
  if (read(out[0], &byte, 1) != 1) std::exit(1);
  return child;
}

}  // namespace plumblane::bench
