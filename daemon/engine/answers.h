// How questions are put to a view, and what it answers; sourcing and risk have files of
// their own.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "agreements/terms.h"
#include "base/lane.h"
#include "base/time.h"
#include "engine/alert_book.h"
#include "orders/fold.h"
#include "ranking/targets.h"
#include "scoring/backtest.h"
#include "scoring/score.h"

namespace plumblane {

// How a question is put.
struct Asked {
  std::optional<Instant> as_of;
  std::optional<double> half_life_days;  // absent = the setting
  RateMode rate_mode = RateMode::kCurrent;
  std::vector<double> within_days = {};  // 0 to kLongestDays; Score tells the arrivals within each
};

struct ReadRules {
  double half_life_days = 45;
  int64_t settle_delay_millis = kMillisPerDay;  // waits for tracking news before calling late
  int claim_window_days = 60;
  FoldRules fold;
  AlertRules alerts = {};
};

// What a score is about: a supplier, a lane (both with their pairs), or one of both.
struct Subject {
  std::optional<std::string> supplier;
  std::optional<LaneQuery> lane;
  auto operator<=>(const Subject&) const = default;
};

// What a score as of now depends on besides the state and the settings.
struct ScoreKey {
  Subject subject;
  double half_life_days = 0;
  RateMode rate_mode = RateMode::kCurrent;
  std::vector<double> within_days;
  Day today;
  Instant horizon;
  auto operator<=>(const ScoreKey&) const = default;
};

struct ScoreAnswer {
  Subject subject;
  ScoreEstimate score;
  std::vector<TargetReading> targets;                 // suppliers whose terms have some
  std::optional<Instant> last_event;                  // suppliers only
  std::vector<std::pair<Pair, ScoreEstimate>> pairs;  // suppliers and lanes
};

// The common part of every answer about scores.
struct Basis {
  Instant as_of;
  double half_life_days = 0;
  RateMode rate_mode = RateMode::kCurrent;
  std::optional<Instant> news;  // delivery news is complete up to here; none = no limit
  // What the priors of the scores asked for rest on; of the pairs under a lane it is another, which
  // does not count excused orders.
  std::optional<FleetEvidence> late_fleet, defect_fleet;
};

template <typename T>
struct WithBasis {
  Basis basis;
  T answer;
};

// How a backtest is asked for.
struct BacktestAsked {
  std::optional<Instant> as_of;
  std::vector<double> half_lives_days;  // besides the setting
  int days_ahead = 10;
  int first_days = 30;
};

struct BacktestAnswer {
  Instant as_of;
  std::optional<Instant> news;
  BacktestResult result;
};

struct OrderAnswer {
  OrderKey key;
  std::vector<Event> events;
  std::vector<Ignored> ignored;  // along events
  OrderState state;
  Instant horizon;  // outcomes are complete up to here; what lies beyond is not counted yet
};

struct OrderMatch {
  OrderKey key;
  int part = 1;
  std::string destination;
};

// How much of a supplier's month is used, against its monthly order limit.
struct MonthUse {
  Month month;
  int64_t paid_count = 0;      // order parts paid to it since the month began
  int64_t assigned_count = 0;  // given to it since then and not paid yet
};

}  // namespace plumblane
