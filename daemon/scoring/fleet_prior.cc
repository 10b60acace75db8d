#include "scoring/fleet_prior.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <iterator>
#include <map>
#include <set>
#include <string_view>
#include <tuple>
#include <utility>

namespace plumblane {
namespace {

constexpr int kRounds = 2;
// Less than this is rounding, or so old that squares would underflow.
constexpr double kNextToNothing = 1e-100;
// Keeps what rounding leaves of a sum a share between none and all.
constexpr double kRounding = 1e-9;

double Logit(double p) { return std::log(p / (1 - p)); }
double Expit(double x) { return 1 / (1 + std::exp(-x)); }

template <typename T>
int PositionOf(const std::vector<T>& sorted, const T& value) {
  const auto it = std::lower_bound(sorted.begin(), sorted.end(), value);
  return it != sorted.end() && *it == value ? static_cast<int>(it - sorted.begin()) : -1;
}

bool Weighs(const WeightedSums& sums) {
  return sums.w1 > kNextToNothing && sums.w2 > kNextToNothing * kNextToNothing;
}

// One record a pair, ascending, of those that weigh anything. Sorted by the sums too, so that
// adding up does not depend on the order given.
std::vector<RateRecord> Merged(std::vector<RateRecord> records) {
  std::sort(records.begin(), records.end(), [](const RateRecord& x, const RateRecord& y) {
    return std::tie(x.pair, x.sums.w1, x.sums.w2, x.sums.s) <
           std::tie(y.pair, y.sums.w1, y.sums.w2, y.sums.s);
  });
  auto end = records.begin();
  for (RateRecord& record : records) {
    assert(record.pair != Pair{} && record.sums.w1 >= 0 && record.sums.s >= 0);
    if (end == records.begin() || std::prev(end)->pair != record.pair) {
      if (&*end != &record) *end = std::move(record);
      ++end;
      continue;
    }
    WeightedSums& sums = std::prev(end)->sums;
    sums.w1 += record.sums.w1;
    sums.w2 += record.sums.w2;
    sums.s += record.sums.s;
  }
  records.erase(end, records.end());
  std::erase_if(records, [](const RateRecord& record) { return !Weighs(record.sums); });
  return records;
}

}  // namespace

void FleetPrior::Margin::Add(const Cell& cell, double counted, double rate) {
  orders += counted;
  squares += counted * cell.voice();
  hits += counted * (cell.hits() / cell.orders());
  expected += counted * rate;
}

FleetPrior::Margin FleetPrior::Margin::Without(const Margin& part) const {
  Margin rest{orders - part.orders, squares - part.squares, hits - part.hits,
              expected - part.expected};
  if (!(rest.orders > 0)) return {};
  rest.squares = std::max(rest.squares, 0.0);
  rest.hits = std::max(rest.hits, 0.0);
  rest.expected = std::clamp(rest.expected, kRounding * rest.orders, rest.orders * (1 - kRounding));
  return rest;
}

RateGroup FleetPrior::Margin::Group() const {
  const double voice = squares / orders;
  return {.orders = orders / voice,
          .hits = hits / voice,
          .mean = expected / orders,
          .weight = std::min(1.0, voice)};
}

FleetPrior::Effect FleetPrior::EffectOf(const Margin& margin, double strength) {
  if (!(margin.orders > 0)) return {0, 1 / strength};
  const double usual = margin.expected / margin.orders;
  const double rate =
      (margin.hits + strength * usual) / (std::max(margin.orders, margin.hits) + strength);
  return {Logit(rate) - Logit(usual), 1 / (margin.orders + strength)};
}

StrengthEstimate FleetPrior::Side::Fit() {
  std::vector<RateGroup> groups;
  for (const Margin& margin : margins) groups.push_back(margin.Group());
  const StrengthEstimate strength = FitStrength(groups);
  for (size_t i = 0; i < margins.size(); ++i) {
    logits[i] = EffectOf(margins[i], strength.expected).logit;
  }
  return strength;
}

std::optional<FleetPrior> FleetPrior::Fit(std::vector<RateRecord> records) {
  FleetPrior prior;
  prior.Take(Merged(std::move(records)));
  if (prior.cells_.empty()) return std::nullopt;
  for (int round = 0; round < kRounds; ++round) {
    prior.Weigh();
    prior.SumSuppliers();
    prior.evidence_.suppliers = prior.suppliers_.Fit();
    prior.SumLanes();
    prior.evidence_.lanes = prior.lanes_.Fit();
    prior.SumSuppliers();  // what their lanes lead to expect has changed
    prior.evidence_.pairs = FitStrength(prior.PairGroups());
  }
  return prior;
}

void FleetPrior::Take(const std::vector<RateRecord>& records) {
  std::set<Lane> lanes;
  for (const RateRecord& record : records) lanes.insert(record.pair.lane);
  lane_names_.assign(lanes.begin(), lanes.end());
  cells_.reserve(records.size());
  for (const RateRecord& record : records) {
    if (supplier_names_.empty() || supplier_names_.back() != record.pair.supplier) {
      supplier_names_.push_back(record.pair.supplier);
    }
    cells_.push_back({.supplier = static_cast<int>(supplier_names_.size()) - 1,
                      .lane = PositionOf(lane_names_, record.pair.lane),
                      .sums = record.sums});
  }
  suppliers_.logits.assign(supplier_names_.size(), 0);
  lanes_.logits.assign(lane_names_.size(), 0);
  evidence_.pair_count = static_cast<int>(cells_.size());
  evidence_.supplier_count = static_cast<int>(supplier_names_.size());
  evidence_.lane_count = static_cast<int>(lane_names_.size());
}

// How much each pair counts, and the fleet's rate: with half a hit more in one order more than all
// there are, so that it is never 0 or 1.
void FleetPrior::Weigh() {
  counting_strength_ = evidence_.pairs.expected;
  Margin fleet;
  double heard = 0, squares = 0;
  for (const Cell& cell : cells_) {
    fleet.Add(cell, Counted(cell), 0);
    heard += cell.voice() * cell.orders();
    squares += cell.voice() * cell.voice() * cell.orders();
  }
  const double orders = heard * heard / squares;
  evidence_.mean = (orders * std::min(1.0, fleet.hits / fleet.orders) + 0.5) / (orders + 1);
}

double FleetPrior::SupplierRate(int supplier) const {
  return Expit(Logit(evidence_.mean) + suppliers_.logits[static_cast<size_t>(supplier)]);
}

double FleetPrior::LaneRate(int lane) const {
  return Expit(Logit(evidence_.mean) + lanes_.logits[static_cast<size_t>(lane)]);
}

void FleetPrior::SumSuppliers() {
  suppliers_.margins.assign(supplier_names_.size(), {});
  for (const Cell& cell : cells_) {
    suppliers_.margins[static_cast<size_t>(cell.supplier)].Add(cell, Counted(cell),
                                                               LaneRate(cell.lane));
  }
}

void FleetPrior::SumLanes() {
  lanes_.margins.assign(lane_names_.size(), {});
  for (const Cell& cell : cells_) {
    lanes_.margins[static_cast<size_t>(cell.lane)].Add(cell, Counted(cell),
                                                       SupplierRate(cell.supplier));
  }
}

std::vector<RateGroup> FleetPrior::PairGroups() const {
  std::vector<RateGroup> groups;
  groups.reserve(cells_.size());
  for (const Cell& cell : cells_) {
    Margin own_in_supplier, own_in_lane;
    const double counted = Counted(cell);
    own_in_supplier.Add(cell, counted, LaneRate(cell.lane));
    own_in_lane.Add(cell, counted, SupplierRate(cell.supplier));
    const Margin& supplier = suppliers_.margins[static_cast<size_t>(cell.supplier)];
    const Margin& lane = lanes_.margins[static_cast<size_t>(cell.lane)];
    const Effect a = EffectOf(supplier.Without(own_in_supplier), evidence_.suppliers.expected);
    const Effect b = EffectOf(lane.Without(own_in_lane), evidence_.lanes.expected);
    groups.push_back({.orders = cell.orders(),
                      .hits = cell.hits(),
                      .mean = Expit(Logit(evidence_.mean) + a.logit + b.logit),
                      .spread = a.spread + b.spread,
                      .weight = cell.voice()});
  }
  return groups;
}

const FleetPrior::Cell* FleetPrior::Find(int supplier, int lane) const {
  const auto it = std::lower_bound(cells_.begin(), cells_.end(), std::pair(supplier, lane),
                                   [](const Cell& cell, const std::pair<int, int>& at) {
                                     return std::pair(cell.supplier, cell.lane) < at;
                                   });
  return it != cells_.end() && it->supplier == supplier && it->lane == lane ? &*it : nullptr;
}

Prior FleetPrior::PriorOf(const Pair& pair) const { return PriorOfSum({&pair, 1}); }

Prior FleetPrior::PriorOfSum(std::span<const Pair> pairs) const {
  assert(!pairs.empty());
  struct Part {
    int supplier = -1, lane = -1;  // -1: unknown
    const Cell* cell = nullptr;
    double share = 0;
  };
  // What is asked of one supplier, or of one lane.
  struct Asked {
    int position = -1;
    Margin own;
    double share = 0;
    Effect effect;
  };
  std::vector<Part> parts;
  std::map<std::string_view, Asked> suppliers;
  std::map<Lane, Asked> lanes;
  double w1 = 0;
  for (const Pair& pair : pairs) {
    Part part{PositionOf(supplier_names_, pair.supplier), PositionOf(lane_names_, pair.lane)};
    part.cell = Find(part.supplier, part.lane);
    if (part.cell) w1 += part.cell->sums.w1;
    parts.push_back(part);
  }
  for (size_t i = 0; i < parts.size(); ++i) {
    Part& part = parts[i];
    const double own = part.cell ? part.cell->sums.w1 : 0;
    part.share = w1 > 0 ? own / w1 : 1 / static_cast<double>(parts.size());
    Asked& supplier = suppliers[pairs[i].supplier];
    Asked& lane = lanes[pairs[i].lane];
    supplier.position = part.supplier;
    supplier.share += part.share;
    lane.position = part.lane;
    lane.share += part.share;
    if (!part.cell) continue;
    const double counted = Counted(*part.cell);
    supplier.own.Add(*part.cell, counted, LaneRate(part.lane));
    lane.own.Add(*part.cell, counted, SupplierRate(part.supplier));
  }
  double spread = 0;
  const auto settle = [&](Asked& asked, const Side& side, double strength) {
    Margin rest;
    if (asked.position >= 0) {
      rest = side.margins[static_cast<size_t>(asked.position)].Without(asked.own);
    }
    asked.effect = EffectOf(rest, strength);
    spread += asked.share * asked.share * asked.effect.spread;
  };
  for (auto& [name, asked] : suppliers) settle(asked, suppliers_, evidence_.suppliers.expected);
  for (auto& [name, asked] : lanes) settle(asked, lanes_, evidence_.lanes.expected);
  double mean = 0;
  for (size_t i = 0; i < parts.size(); ++i) {
    const double logit = Logit(evidence_.mean) + suppliers[pairs[i].supplier].effect.logit +
                         lanes[pairs[i].lane].effect.logit;
    mean += parts[i].share * Expit(logit);
    spread += parts[i].share * parts[i].share / evidence_.pairs.expected;
  }
  return {mean, 1 / spread};
}

}  // namespace plumblane
