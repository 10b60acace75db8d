// The prior of a pair's rate, from what its supplier does on other lanes and what other suppliers
// do on its lane.
//
// Each pair (supplier s, lane with service l) brings n effective orders with y hits among them
// (RateRecord). The prior mean is a sum of effects on the logit scale,
//     logit mu_sl = logit m_g + a_s + b_l,
// m_g the fleet's rate, a_s how the supplier differs from what its lanes would lead to expect, b_l
// how the lane differs from what its suppliers would. Each effect is shrunken towards none,
//     a_s = logit((y_s + M_s e_s)/(n_s + M_s)) - logit e_s,
// with y_s, n_s sums over the supplier's pairs and e_s their mean expected rate
// expit(logit m_g + b_l); b_l alike with M_l and the suppliers' effects. *The pair itself is left
// out of its own a_s and b_l*; sums are linear, so that is O(1). Without it every pair would vouch
// for itself: estimates get hardly worse, but the strength of the prior comes out many times too
// high, and with it intervals too short. The strength of a pair's prior counts what is uncertain:
//     1/M_sl = 1/M + 1/(n_s + M_s) + 1/(n_l + M_l),  the pair itself left out,
// so that a supplier nobody knows yet is given less credit, good or bad, than a known one. M_s, M_l
// and M are expected strengths (strength.h) of suppliers, of lanes and of pairs, given their means.
//
// What counts how much, and why:
//   - n is W1^2/W2, how well the average is known, and y = n S/W1 (strength.h says why not W1).
//   - A pair speaks for the fleet by v = min(1, 2 W2/W1): fully while orders come in steadily,
//     fading once they stop. n does not fade with time, and without v suppliers given up years ago
//     would shape the prior of today's for ever. v multiplies the pair's likelihood and its sums.
//   - In a sum over pairs one counts as c = v n/(1 + n/M), not as v n: however many orders it has,
//     it is one lane of a supplier, and tells of the others no more than M orders would.
// Effects depend on each other and on M: two rounds, the first with M at its upper end. Each starts
// with c and m_g; then come M_s and a_s, given the b_l of the round before (none in the first);
// then M_l and b_l, given these a_s. M comes last, from pairs whose a_s, each pair left out, are
// taken anew against the new b_l.
//   - m_g = (N r + 1/2)/(N + 1), r = min(1, sum c y/n / sum c), N = (sum v n)^2 / sum v^2 n.
//   - In the fit of M_s a supplier speaks by v_s = sum v c / sum c, for n_s/v_s orders with y_s/v_s
//     hits: c holds v already. M_l alike; a pair speaks by v for n orders with y hits.
//   - Where y_s exceeds n_s the shrunken rate is (y_s + M_s e_s)/(y_s + M_s).
//
// Rationale for comparing a supplier with its own lanes rather than with the fleet: suppliers work
// few lanes, and lanes differ more than suppliers do. A fair supplier of a hard lane would be held
// to be bad everywhere; with 200 suppliers on 4 of 30 lanes each, that costs half again the squared
// error (tests/scoring/prior_simulation_test.cc).
//
// Sources: R. Bailey, L. Simon, "Two studies in automobile insurance ratemaking", ASTIN Bulletin 1
// (1960) 192-217 (effects from marginal totals, in turns); A. Gelman et al., "Bayesian Data
// Analysis", 3rd ed. (2013), ch. 5; L. Kish, "Survey Sampling" (1965). Leave-one-out, fading, the
// weights c and the strength of a pair are our own.
//
// Immutable once fitted: const use is thread-safe. The same set of records gives the same bits,
// whatever their order. A fit is O(pairs log pairs) and 34 evaluations of a likelihood over
// pairs, as many over suppliers and over lanes, some 0.06 us for each of them.
// It holds 32 bytes a pair.
#pragma once

#include <algorithm>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "cohorts/cell.h"
#include "scoring/decay.h"
#include "scoring/rate.h"
#include "scoring/strength.h"

namespace plumblane {

// What one pair's orders say of one rate. From OnTimeCounts (rate.h): W1, W2 and S of the settled
// cohorts. From DefectSums (defects.h): n, its squares and y.
struct RateRecord {
  Pair pair;
  WeightedSums sums;
};

struct FleetEvidence {
  double mean = 0;  // m_g, in (0, 1)
  // M_s, M_l and M; of each the likeliest value too, and whether any difference is detectable.
  StrengthEstimate suppliers, lanes, pairs;
  int pair_count = 0, supplier_count = 0, lane_count = 0;  // with orders that weigh anything
  bool operator==(const FleetEvidence&) const = default;
};

class FleetPrior {
 public:
  // None when no record weighs anything. Records of one pair are added up; one whose w1 or w2 is
  // (next to) 0 is passed over. Hits may exceed n, as young defects do: then there is no miss.
  // Works for fleets of any size: with a single pair the prior is that pair's own rate, counting as
  // much as a handful of orders; with no hits anywhere its mean is half a hit in all orders.
  // REQUIRES: sums finite and >= 0; no record of the empty pair, which is the sum of all.
  static std::optional<FleetPrior> Fit(std::vector<RateRecord> records);

  // The prior of one pair. Without orders of its own it is what its supplier and its lane say; one
  // of these that is unknown too says nothing, and lowers the strength. O(log pairs).
  Prior PriorOf(const Pair& pair) const;

  // The prior of the sum over these pairs: a supplier, a lane over its services or suppliers, a
  // supplier on a lane. All of them are left out of the effects. The mean is that of the pairs'
  // means, each by its share of the decayed orders (all alike when there are none); the strength
  // adds up what is uncertain, with what pairs have in common counted as common:
  //     sum of share_s^2/(n_s + M_s), of share_l^2/(n_l + M_l), and of share_sl^2/M.
  // For a supplier, then: what its lanes' other suppliers do, in its mix of lanes. For a single
  // pair it is PriorOf. REQUIRES: not empty, no pair twice. O(pairs log pairs).
  Prior PriorOfSum(std::span<const Pair> pairs) const;

  const FleetEvidence& evidence() const { return evidence_; }

  bool operator==(const FleetPrior&) const = default;

 private:
  // Of large fleets many are kept, so a pair is no more than this.
  struct Cell {
    int supplier = 0, lane = 0;  // positions among the names
    WeightedSums sums;
    double orders() const { return sums.EffectiveSize(); }                              // n
    double hits() const { return sums.EffectiveHits(); }                                // y
    double voice() const { return std::min(1.0, 2 * sums.w2 / sums.w1); }               // v
    double Counted(double m) const { return voice() * orders() / (1 + orders() / m); }  // c
    bool operator==(const Cell&) const = default;
  };

  // A supplier or lane, or a part of it: sums over its pairs.
  struct Margin {
    double orders = 0;    // of c
    double squares = 0;   // of v c
    double hits = 0;      // of c y/n
    double expected = 0;  // of c times the rate that the other side leads to expect
    void Add(const Cell& cell, double counted, double rate);
    Margin Without(const Margin& part) const;
    RateGroup Group() const;
    bool operator==(const Margin&) const = default;
  };

  // How far off what is expected, on the logit scale, and how uncertain: 1/(n + M).
  struct Effect {
    double logit = 0, spread = 0;
  };
  static Effect EffectOf(const Margin& margin, double strength);

  // All suppliers, or all lanes.
  struct Side {
    std::vector<Margin> margins;
    std::vector<double> logits;  // of the effects, nothing left out
    StrengthEstimate Fit();
    bool operator==(const Side&) const = default;
  };

  FleetPrior() = default;
  void Take(const std::vector<RateRecord>& records);
  void Weigh();
  double Counted(const Cell& cell) const { return cell.Counted(counting_strength_); }
  void SumSuppliers();
  void SumLanes();
  double SupplierRate(int supplier) const;
  double LaneRate(int lane) const;
  std::vector<RateGroup> PairGroups() const;
  const Cell* Find(int supplier, int lane) const;

  std::vector<std::string> supplier_names_;  // ascending
  std::vector<Lane> lane_names_;             // ascending
  std::vector<Cell> cells_;                  // ascending by (supplier, lane)
  Side suppliers_, lanes_;
  double counting_strength_ = 0;  // the M of c: that of the round before
  FleetEvidence evidence_;
};

}  // namespace plumblane
