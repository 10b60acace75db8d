// The chart: a running sum of evidence that a rate has worsened, with whole numbers only.
//
// Watched is a rate p of hits among orders: `rate` while all is well, and WorsenedRate, at which
// the odds of a hit are odds_ratio times as high. The log-likelihood ratio of one order is r2 - r1
// for a hit and -r1 for a miss,
//     r1 = -ln((1 - p1)/(1 - p0)),   r2 = ln(odds_ratio),   g = r1/r2.
// Divided by r2/D it is D - a for a hit and -a for a miss, a/D close to g, and the chart is
//     S <- max(0, S + D hits - a orders),   alarm when S >= H,
// once a day, on all orders of that day together: they share causes, and what is asked for is the
// day on which to act. No chart with the same number of false alarms hears a change sooner.
//
// How long it runs until an alarm is computed, not approximated: S is a Markov chain on 0 .. H - 1
// (chain.h). H is the smallest level at which false alarms come at most once in `target` orders;
// that is for orders judged one by one, and judging by the day only makes them rarer.
//
// Orders of one day that go wrong together would make false alarms many times too frequent. The
// score of a day is therefore divided by deff = 1 + (orders - 1) correlation (correlation.h) and
// kept in sixteenths: all levels and scores here are in sixteenths of a step.
//
// After an alarm a mirrored chart, C <- max(0, C - score), says when the rate is back: C >= Hc =
// ceil(3 D/r2), a likelihood ratio of e^3.
//
// Sources: E. Page, "Continuous inspection schemes", Biometrika 41 (1954) 100-115; M. Reynolds,
// Z. Stoumbos, "A CUSUM chart for monitoring a proportion when inspecting continuously", J. Qual.
// Technol. 31 (1999) 87-108 (and the diffusion approximation); S. Steiner, R. Cook, V. Farewell,
// T. Treasure, "Monitoring surgical performance using risk-adjusted cumulative sum charts",
// Biostatistics 1 (2000) 441-452 (odds ratios); G. Moustakides, "Optimal stopping times for
// detecting changes in distributions", Ann. Statist. 14 (1986) 1379-1387. Score by deff and the
// mirrored chart are our own.
//
// Pure and thread-safe but for ChartDesigns.
#pragma once

#include <cstdint>
#include <map>
#include <tuple>

namespace plumblane {

// p with its odds multiplied. REQUIRES: 0 < rate < 1, odds_ratio > 0.
double WorsenedRate(double rate, double odds_ratio);

struct Steps {
  int per_order = 1;  // a: off for each order
  int per_hit = 2;    // D: on for each hit; > per_order
  bool operator==(const Steps&) const = default;
};

// The smallest a of 1, 2, 4, 8, 16 for which a/D with D = round(a/g) is within 2 % of g; 16 when
// none is. REQUIRES: 0 < rate < 1, 1.5 <= odds_ratio <= 10.
Steps ChooseSteps(double rate, double odds_ratio);

// Levels and scores are in this part of a step.
inline constexpr int64_t kLevelUnit = 16;

// D hits - a orders, divided by deff and rounded. REQUIRES: 0 <= hits <= orders,
// 0 <= correlation < 1.
int64_t DayScore(const Steps& steps, int64_t orders, int64_t hits, double correlation);

// S after a day of this score; C with the opposite score.
constexpr int64_t NextLevel(int64_t level, int64_t score) {
  return level + score > 0 ? level + score : 0;
}

// Expected orders until S, from `start`, first reaches `level`, both in whole steps, when each
// order is judged by itself. REQUIRES: 0 <= start < level, 0 < rate < 1.
double OrdersToAlarm(const Steps& steps, int level, double rate, int start = 0);

// The same for C.
double OrdersToClear(const Steps& steps, int level, double rate);

// The level at which OrdersToAlarm at `rate` is about `target`, by a corrected diffusion: with r
// the positive root of p e^(r (1 - a/D)) + q e^(-r a/D) = 1 and h = H/D + eps sqrt(p q), it is
// (e^(h r) - h r - 1)/(r (a/D - p)). Good to 4 % of orders where a = 1 and H > 2 D; it is where
// the search for the exact level starts. REQUIRES: target > 0, hits rarer than a/D.
double GuessLevel(const Steps& steps, double rate, double target);

struct ChartDesign {
  double rate = 0;  // p0, what is normal
  double odds_ratio = 3;
  Steps steps;
  // In whole steps. The warning level is what would give ten times as many false alarms: something
  // to look at, no alert.
  int alarm_level = 0, warning_level = 0, clear_level = 0;  // H, -, Hc
  double orders_to_false_alarm = 0;                         // expected, from S = 0, at `rate`
  double orders_to_hear = 0;                                // at WorsenedRate
  bool operator==(const ChartDesign&) const = default;
};

// The exact design for these figures. REQUIRES: .005 <= rate <= .61, 1.5 <= odds_ratio <= 10,
// 1 <= target <= 1e8. Takes 10 to 200 us, up to 11 ms at a rate of .005 (alerting_bench).
ChartDesign DesignChart(double rate, double odds_ratio, double target);

// Designs by rates and targets rounded up to a grid, so that few are ever needed: rates to
// kLeastDesignRate 1.02^k, targets to kLeastTarget 10^(k/20). Either makes false alarms a little
// rarer. What it gives does not depend on what it was asked before; it only spares computing it
// again. Holds at most some thousand designs of 100 bytes. Belongs to one thread at a time.
class ChartDesigns {
 public:
  // Valid as long as this object. REQUIRES: as for DesignChart, within the grid's ends.
  const ChartDesign& For(double rate, double odds_ratio, double target);

 private:
  std::map<std::tuple<int, double, int>, ChartDesign> designs_;
};

// The range of rates that charts are designed for: below, a chart would need thousands of orders;
// above, there is little left to worsen. No chart is designed for fewer orders than the least
// target: it would cry at every third hit.
inline constexpr double kLeastDesignRate = .005, kMostDesignRate = .6;
inline constexpr double kLeastTarget = 200, kMostTarget = 1e7;

}  // namespace plumblane
