// The screen of `plumblane backtest`.
//
// Pure and thread-safe.
#pragma once

#include <string>

#include "plumblane/v1/scores.pb.h"

namespace plumblane::client {

// One sentence: whether to change the half-life, and how. A lead is taken for more than chance when
// it is more than two standard errors. REQUIRES: at least one half-life and the setting among the
// forecasters.
std::string BacktestAdvice(const v1::BacktestResponse& answer);

std::string ShowBacktest(const v1::BacktestResponse& answer, int width);

}  // namespace plumblane::client
