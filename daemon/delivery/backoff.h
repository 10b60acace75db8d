// How long to wait after a failed attempt.
//
// Exponential backoff with full jitter: after the n-th failure in a row the wait is uniform between
// 0 and least(longest, first * 2^(n-1)), so that many senders do not come back at once. Drawn by
// counter (base/philox.h): the same sink, notice and attempt give the same wait.
//
// Source: M. Brooker, "Exponential Backoff And Jitter", AWS Architecture Blog, 2015.
//
// Pure.
#pragma once

#include <chrono>
#include <cstdint>
#include <string_view>

namespace plumblane {

struct Backoff {
  std::chrono::milliseconds first{2'000}, longest{3'600'000};
};

// REQUIRES: failures >= 1.
std::chrono::milliseconds WaitAfter(const Backoff& backoff, std::string_view sink, int64_t cursor,
                                    int failures);

}  // namespace plumblane
