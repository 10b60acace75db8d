// The prior from the fleet: one test per rule of fleet_prior.h, and a second account of it that
// leaves nothing out by subtraction.
#include "scoring/fleet_prior.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>
#include <set>
#include <vector>

#include "scoring/fixture.h"
#include "scoring/invention.h"

namespace plumblane {
namespace {

RateRecord Record(int supplier, int lane, double orders, double hits, double weight = 1) {
  return {PairOf(supplier, lane), {weight * orders, weight * weight * orders, weight * hits}};
}

FleetPrior Fitted(const std::vector<RateRecord>& records) { return *FleetPrior::Fit(records); }

// Suppliers 0 .. 19 on lanes 0 .. 9; those of even number twice as often late, lane 9 as well.
std::vector<RateRecord> TwentySuppliers() {
  std::vector<RateRecord> records;
  for (int supplier = 0; supplier < 20; ++supplier) {
    for (int lane = 0; lane < 10; ++lane) {
      const double hits = (supplier % 2 == 0 ? 8 : 4) * (lane == 9 ? 2 : 1) + (supplier + lane) % 3;
      records.push_back(Record(supplier, lane, 80, hits));
    }
  }
  return records;
}

TEST(FleetPriorTest, NothingKnownIsNoPrior) {
  EXPECT_FALSE(FleetPrior::Fit({}).has_value());
  EXPECT_FALSE(FleetPrior::Fit({{PairOf(1, 1), {}}}).has_value());
  EXPECT_FALSE(FleetPrior::Fit({{PairOf(1, 1), {0, 0, 3}}, {PairOf(1, 2), {}}}).has_value());
  EXPECT_FALSE(FleetPrior::Fit({Record(1, 1, 5, 1, 1e-160)}).has_value());
}

TEST(FleetPriorTest, PairsThatWeighNothingChangeNothing) {
  std::vector<RateRecord> records = TwentySuppliers();
  const FleetPrior before = Fitted(records);
  records.push_back({PairOf(3, 77), {}});
  records.push_back({PairOf(99, 3), {0, 0, 2}});
  EXPECT_EQ(Fitted(records), before);
}

TEST(FleetPriorTest, ASinglePairIsItsOwnRateForAHandfulOfOrders) {
  const FleetPrior prior = Fitted({Record(1, 1, 50, 10)});
  ExpectSame(prior.evidence().mean, 10.5 / 51);
  for (const Pair& pair : {PairOf(1, 1), PairOf(2, 2)}) {
    EXPECT_NEAR(prior.PriorOf(pair).mean, 10.5 / 51, .02);
    EXPECT_GT(prior.PriorOf(pair).strength, 2);
    EXPECT_LT(prior.PriorOf(pair).strength, 8);
  }
}

TEST(FleetPriorTest, CountsWhatItWasFittedTo) {
  const FleetEvidence evidence = Fitted(TwentySuppliers()).evidence();
  EXPECT_EQ(evidence.pair_count, 200);
  EXPECT_EQ(evidence.supplier_count, 20);
  EXPECT_EQ(evidence.lane_count, 10);
  EXPECT_FALSE(evidence.suppliers.no_difference);
  EXPECT_FALSE(evidence.lanes.no_difference);
  EXPECT_TRUE(evidence.pairs.no_difference);  // what is left is less than chance would have it
}

TEST(FleetPriorTest, TheServiceIsPartOfTheLane) {
  std::vector<RateRecord> records = TwentySuppliers();
  Pair express = PairOf(3, 9);
  express.lane.service = "express";
  const FleetPrior prior = Fitted(records);
  EXPECT_LT(prior.PriorOf(express).mean, .75 * prior.PriorOf(PairOf(3, 9)).mean);
}

TEST(FleetPriorTest, BadSuppliersAndBadLanesAreKnownByTheRest) {
  const FleetPrior prior = Fitted(TwentySuppliers());
  // 5 and 9 in 80 on a usual lane, 9 and 17 on lane 9.
  EXPECT_NEAR(prior.PriorOf(PairOf(1, 2)).mean, 5 / 80.0, .01);
  EXPECT_NEAR(prior.PriorOf(PairOf(2, 2)).mean, 9 / 80.0, .01);
  EXPECT_NEAR(prior.PriorOf(PairOf(1, 9)).mean, 9 / 80.0, .015);
  EXPECT_NEAR(prior.PriorOf(PairOf(2, 9)).mean, 17 / 80.0, .03);
}

TEST(FleetPriorTest, WhatIsUnknownSaysNothingAndLowersTheStrength) {
  const FleetPrior prior = Fitted(TwentySuppliers());
  const Prior known = prior.PriorOf(PairOf(2, 2));
  const Prior new_supplier = prior.PriorOf(PairOf(99, 9));
  const Prior new_lane = prior.PriorOf(PairOf(2, 99));
  const Prior both_new = prior.PriorOf(PairOf(99, 99));
  EXPECT_NEAR(both_new.mean, prior.evidence().mean, 1e-12);
  EXPECT_NEAR(new_supplier.mean, 13 / 80.0, .015);
  EXPECT_NEAR(new_lane.mean, 9.9 / 80.0, .015);
  EXPECT_LT(new_supplier.strength, known.strength / 2);
  EXPECT_LT(new_lane.strength, known.strength / 2);
  EXPECT_LT(both_new.strength, new_supplier.strength);
  const FleetEvidence& evidence = prior.evidence();
  ExpectSame(both_new.strength, 1 / (1 / evidence.pairs.expected + 1 / evidence.suppliers.expected +
                                     1 / evidence.lanes.expected));
}

TEST(FleetPriorTest, AFairSupplierOfAHardLaneIsNotHeldToBeBadElsewhere) {
  std::vector<RateRecord> records;
  for (int supplier = 0; supplier < 20; ++supplier) {
    records.push_back(Record(supplier, supplier < 10 ? 0 : 1, 200, supplier < 10 ? 60 : 10));
    records.push_back(Record(supplier, 2, 200, 20));
  }
  records.push_back(Record(50, 0, 200, 60));  // the hard lane only
  records.push_back(Record(51, 1, 200, 10));  // the easy one only
  const FleetPrior prior = Fitted(records);
  EXPECT_NEAR(prior.PriorOf(PairOf(50, 2)).mean, .1, .01);
  EXPECT_NEAR(prior.PriorOf(PairOf(51, 2)).mean, .1, .01);
}

TEST(FleetPriorTest, APairIsLeftOutOfItsOwnPrior) {
  // What one of 200 pairs saw reaches its own prior by the fleet's rate and strengths only.
  std::vector<RateRecord> records = TwentySuppliers();
  const Prior before = Fitted(records).PriorOf(PairOf(0, 0));
  records[0].sums.s = 72;
  const Prior after = Fitted(records).PriorOf(PairOf(0, 0));
  EXPECT_NEAR(after.mean, before.mean, .015);
  EXPECT_GT(Fitted(records).PriorOf(PairOf(0, 1)).mean, before.mean + .015);
}

TEST(FleetPriorTest, TheSumOverOnePairHasThePriorOfThatPair) {
  const FleetPrior prior = Fitted(TwentySuppliers());
  for (const Pair& pair : {PairOf(2, 9), PairOf(99, 9), PairOf(2, 99), PairOf(99, 99)}) {
    EXPECT_EQ(prior.PriorOfSum(std::vector<Pair>{pair}), prior.PriorOf(pair));
  }
}

TEST(FleetPriorTest, ASuppliersPriorIsTheOthersOnItsMixOfLanes) {
  std::vector<RateRecord> records = TwentySuppliers();
  records.push_back(Record(30, 2, 10, 0));
  records.push_back(Record(30, 9, 30, 0));
  const FleetPrior prior = Fitted(records);
  const Prior sum = prior.PriorOfSum(std::vector<Pair>{PairOf(30, 2), PairOf(30, 9)});
  // Its own 0 in 40 is left out: as a supplier nobody knows, a quarter on lane 2.
  const Prior usual = prior.PriorOf(PairOf(99, 2)), hard = prior.PriorOf(PairOf(99, 9));
  EXPECT_NEAR(sum.mean, (usual.mean + 3 * hard.mean) / 4, .004);
  // Two lanes tell of more than one, but the supplier is the same on both.
  EXPECT_GT(sum.strength, usual.strength);
  EXPECT_LT(sum.strength, prior.evidence().suppliers.expected);
}

TEST(FleetPriorTest, ASumWithoutOrdersTakesItsPairsAlike) {
  const FleetPrior prior = Fitted(TwentySuppliers());
  const Prior sum = prior.PriorOfSum(std::vector<Pair>{PairOf(99, 2), PairOf(99, 9)});
  const double usual = prior.PriorOf(PairOf(99, 2)).mean, hard = prior.PriorOf(PairOf(99, 9)).mean;
  ExpectSame(sum.mean, (usual + hard) / 2);
}

TEST(FleetPriorTest, OrderDoesNotMatterAndTwoRecordsOfAPairAreTheirSum) {
  std::vector<RateRecord> records = TwentySuppliers();
  const FleetPrior prior = Fitted(records);
  std::reverse(records.begin(), records.end());
  EXPECT_EQ(Fitted(records), prior);
  for (size_t i = 0; i < 200; ++i) {  // shards of a fleet: three quarters here, a quarter there
    WeightedSums part = records[i].sums;
    part = {part.w1 / 4, part.w2 / 4, part.s / 4};
    records.push_back({records[i].pair, part});
    records[i].sums = {part.w1 * 3, part.w2 * 3, part.s * 3};
  }
  EXPECT_EQ(Fitted(records), prior);
}

TEST(FleetPriorTest, TheEffectiveSizeCountsAndNotTheWeight) {
  // The same information in halves: one order of weight 1/2 is one order.
  std::vector<RateRecord> whole, halves;
  for (const RateRecord& record : TwentySuppliers()) {
    whole.push_back(record);
    const WeightedSums& sums = record.sums;
    halves.push_back({record.pair, {sums.w1 / 2, sums.w2 / 4, sums.s / 2}});
  }
  EXPECT_EQ(Fitted(halves).PriorOf(PairOf(2, 9)), Fitted(whole).PriorOf(PairOf(2, 9)));
}

TEST(FleetPriorTest, SuppliersGivenUpLongAgoFade) {
  std::vector<RateRecord> records = TwentySuppliers();
  const FleetPrior before = Fitted(records);
  for (int supplier = 100; supplier < 160; ++supplier) {
    for (int lane = 0; lane < 10; ++lane) {
      records.push_back(Record(supplier, lane, 80, 40, std::exp2(-16)));  // 16 half-lives ago
    }
  }
  const FleetPrior after = Fitted(records);
  for (const Pair& pair : {PairOf(1, 2), PairOf(2, 9), PairOf(999, 9), PairOf(999, 99)}) {
    EXPECT_NEAR(after.PriorOf(pair).mean / before.PriorOf(pair).mean, 1, .02);
    EXPECT_NEAR(after.PriorOf(pair).strength / before.PriorOf(pair).strength, 1, .05);
  }
  // And what was known of them is forgotten.
  EXPECT_NEAR(after.PriorOf(PairOf(100, 2)).mean, after.PriorOf(PairOf(999, 2)).mean, .002);
}

TEST(FleetPriorTest, AFleetOfTheDistantPastKeepsItsRate) {
  std::vector<RateRecord> records(10);
  for (int i = 0; i < 10; ++i) records[i] = Record(i, 0, 40, 4, 1e-9);
  const FleetPrior prior = Fitted(records);
  EXPECT_NEAR(prior.PriorOf(PairOf(3, 0)).mean, .1, .01);
  EXPECT_NEAR(prior.PriorOf(PairOf(99, 0)).mean, .1, .01);
}

void ExpectSound(const FleetPrior& prior, const std::vector<Pair>& pairs) {
  for (const Pair& pair : pairs) {
    const Prior of = prior.PriorOf(pair);
    EXPECT_TRUE(of.mean > 0 && of.mean < 1) << of.mean;
    EXPECT_TRUE(of.strength >= 1.0 / 3 - 1e-9 && of.strength <= 1000 + 1e-9) << of.strength;
  }
  const Prior all = prior.PriorOfSum(pairs);
  EXPECT_TRUE(all.mean > 0 && all.mean < 1 && all.strength > 0);
}

TEST(FleetPriorTest, NoHitsAnywhereIsHalfAHitInAll) {
  const FleetPrior prior = Fitted({Record(1, 1, 30, 0), Record(2, 1, 50, 0), Record(2, 2, 20, 0)});
  ExpectSame(prior.evidence().mean, .5 / 101);
  ExpectSound(prior, {PairOf(1, 1), PairOf(2, 1), PairOf(2, 2), PairOf(9, 9)});
}

TEST(FleetPriorTest, NothingButHitsIsHalfAMissInAll) {
  const FleetPrior prior = Fitted({Record(1, 1, 30, 30), Record(2, 1, 50, 50)});
  ExpectSame(prior.evidence().mean, 80.5 / 81);
  ExpectSound(prior, {PairOf(1, 1), PairOf(2, 1), PairOf(9, 9)});
}

TEST(FleetPriorTest, MoreHitsThanOrdersLeaveNoMiss) {
  // Young defects: a tenth of an order has shown, and with it a defect.
  std::vector<RateRecord> records = TwentySuppliers();
  records.push_back({PairOf(40, 3), {.1, .1, 1}});
  records.push_back({PairOf(40, 4), {.1, .1, 1}});
  const FleetPrior prior = Fitted(records);
  ExpectSound(prior, {PairOf(40, 3), PairOf(40, 9), PairOf(1, 3)});
  EXPECT_GT(prior.PriorOf(PairOf(40, 3)).mean, prior.PriorOf(PairOf(99, 3)).mean);
  ExpectSound(Fitted({{PairOf(1, 1), {.1, .1, 1}}}), {PairOf(1, 1), PairOf(2, 2)});
  for (int lane = 0; lane < 60; ++lane) records.push_back({PairOf(41, lane), {.1, .1, 1}});
  ExpectSound(Fitted(records), {PairOf(41, 3), PairOf(41, 99), PairOf(1, 3)});
}

TEST(FleetPriorTest, HoldsForAnySizesAndWeights) {
  Dice dice(3);
  for (int round = 0; round < 60; ++round) {
    std::vector<RateRecord> records;
    std::vector<Pair> pairs;
    for (int i = dice.Below(12); i >= 0; --i) {
      const double orders = std::exp(14 * dice.Unit() - 3);
      const double hits = dice.Below(4) == 0 ? 0 : orders * dice.Unit();
      records.push_back(
          Record(dice.Below(4), dice.Below(4), orders, hits, std::exp2(-300 * dice.Unit())));
      pairs.push_back(records.back().pair);
    }
    std::sort(pairs.begin(), pairs.end());
    pairs.erase(std::unique(pairs.begin(), pairs.end()), pairs.end());
    pairs.push_back(PairOf(9, 1));
    pairs.push_back(PairOf(9, 9));
    ExpectSound(Fitted(records), pairs);
  }
}

// The account once more: by names, in plain loops, each sum taken anew over the pairs that are not
// left out. Strengths come from the same FitStrength.
class PlainAccount {
 public:
  explicit PlainAccount(const std::vector<RateRecord>& records) {
    for (const RateRecord& record : records) {
      const WeightedSums& sums = record.sums;
      entries_.push_back({record.pair, sums.w1, sums.w1 * sums.w1 / sums.w2,
                          sums.w1 * sums.s / sums.w2, std::min(1.0, 2 * sums.w2 / sums.w1)});
    }
    for (int round = 0; round < 2; ++round) Round();
  }

  Prior Of(const std::set<Pair>& asked) const {
    double w1 = 0, mean = 0, spread = 0;
    for (const Entry& entry : entries_) w1 += asked.count(entry.pair) ? entry.w1 : 0;
    std::map<std::string, double> suppliers;
    std::map<Lane, double> lanes;
    for (const Pair& pair : asked) {
      double share = w1 > 0 ? 0 : 1.0 / static_cast<double>(asked.size());
      for (const Entry& entry : entries_) {
        if (entry.pair == pair) share += entry.w1 / w1;
      }
      suppliers[pair.supplier] += share;
      lanes[pair.lane] += share;
      mean += share * Expit(logit_mean_ + Supplier(pair.supplier, asked).first +
                            LaneEffect(pair.lane, asked).first);
      spread += share * share / strength_;
    }
    for (const auto& [name, share] : suppliers)
      spread += share * share * Supplier(name, asked).second;
    for (const auto& [lane, share] : lanes)
      spread += share * share * LaneEffect(lane, asked).second;
    return {mean, 1 / spread};
  }

 private:
  struct Entry {
    Pair pair;
    double w1, orders, hits, voice;
    double counted = 0;
  };
  using Effect = std::pair<double, double>;              // logit, spread
  using Chosen = std::vector<std::pair<Entry, double>>;  // with the expected rate

  static Effect EffectOf(const Chosen& chosen, double strength) {
    double n = 0, y = 0, expected = 0;
    for (const auto& [entry, rate] : chosen) {
      n += entry.counted;
      y += entry.counted * entry.hits / entry.orders;
      expected += entry.counted * rate;
    }
    if (n == 0) return {0, 1 / strength};
    const double usual = expected / n;
    const double found = (y + strength * usual) / (std::max(n, y) + strength);
    return {Logit(found) - Logit(usual), 1 / (n + strength)};
  }

  static RateGroup GroupOf(const Chosen& chosen) {
    double n = 0, squares = 0, y = 0, expected = 0;
    for (const auto& [entry, rate] : chosen) {
      n += entry.counted;
      squares += entry.counted * entry.voice;
      y += entry.counted * entry.hits / entry.orders;
      expected += entry.counted * rate;
    }
    return {n * n / squares, y * n / squares, expected / n, 0, squares / n};
  }

  Chosen OfSupplier(const std::string& name, const std::set<Pair>& without) const {
    Chosen chosen;
    for (const Entry& entry : entries_) {
      if (entry.pair.supplier != name || without.count(entry.pair)) continue;
      const auto at = lanes_.find(entry.pair.lane);
      chosen.emplace_back(entry, Expit(logit_mean_ + (at == lanes_.end() ? 0 : at->second)));
    }
    return chosen;
  }

  Chosen OfLane(const Lane& lane, const std::set<Pair>& without) const {
    Chosen chosen;
    for (const Entry& entry : entries_) {
      if (entry.pair.lane != lane || without.count(entry.pair)) continue;
      chosen.emplace_back(entry, Expit(logit_mean_ + suppliers_.at(entry.pair.supplier)));
    }
    return chosen;
  }

  Effect Supplier(const std::string& name, const std::set<Pair>& without) const {
    return EffectOf(OfSupplier(name, without), supplier_strength_);
  }
  Effect LaneEffect(const Lane& lane, const std::set<Pair>& without) const {
    return EffectOf(OfLane(lane, without), lane_strength_);
  }

  void Round() {
    double n = 0, y = 0, heard = 0, squares = 0;
    std::set<std::string> suppliers;
    std::set<Lane> lanes;
    for (Entry& entry : entries_) {
      entry.counted = entry.voice / (1 / entry.orders + 1 / strength_);
      n += entry.counted;
      y += entry.counted * entry.hits / entry.orders;
      heard += entry.voice * entry.orders;
      squares += entry.voice * entry.voice * entry.orders;
      suppliers.insert(entry.pair.supplier);
      lanes.insert(entry.pair.lane);
    }
    const double size = heard * heard / squares;
    logit_mean_ = Logit((size * y / n + .5) / (size + 1));
    std::vector<RateGroup> groups;
    groups.reserve(suppliers.size());
    for (const std::string& name : suppliers) groups.push_back(GroupOf(OfSupplier(name, {})));
    supplier_strength_ = FitStrength(groups).expected;
    std::map<std::string, double> effects;
    for (const std::string& name : suppliers) effects[name] = Supplier(name, {}).first;
    suppliers_ = effects;
    groups.clear();
    for (const Lane& lane : lanes) groups.push_back(GroupOf(OfLane(lane, {})));
    lane_strength_ = FitStrength(groups).expected;
    for (const Lane& lane : lanes) lanes_[lane] = LaneEffect(lane, {}).first;
    groups.clear();
    for (const Entry& entry : entries_) {
      const Effect a = Supplier(entry.pair.supplier, {entry.pair});
      const Effect b = LaneEffect(entry.pair.lane, {entry.pair});
      groups.push_back({entry.orders, entry.hits, Expit(logit_mean_ + a.first + b.first),
                        a.second + b.second, entry.voice});
    }
    strength_ = FitStrength(groups).expected;
  }

  std::vector<Entry> entries_;
  std::map<std::string, double> suppliers_;
  std::map<Lane, double> lanes_;
  double logit_mean_ = 0, supplier_strength_ = 1000, lane_strength_ = 1000, strength_ = 1000;
};

TEST(FleetPriorTest, AgreesWithThePlainAccount) {
  Dice dice(12);
  for (int round = 0; round < 40; ++round) {
    std::map<Pair, RateRecord> drawn;
    for (int i = dice.Below(30); i >= 0; --i) {
      const Pair pair = PairOf(dice.Below(6), dice.Below(6));
      RateRecord record{pair, {}};
      for (int k = dice.Below(40); k >= 0; --k) {
        record.sums.Add(std::exp2(-6 * dice.Unit()), 1, dice.Below(6) == 0);
      }
      drawn[pair] = record;
    }
    std::vector<RateRecord> records;
    std::set<Pair> some = {PairOf(7, 7)};
    for (const auto& [pair, record] : drawn) {
      records.push_back(record);
      if (dice.Below(3) == 0) some.insert(pair);
    }
    const FleetPrior prior = Fitted(records);
    const PlainAccount plain(records);
    std::set<std::set<Pair>> asked = {some, {PairOf(0, 7)}, {PairOf(7, 0)}, {PairOf(7, 7)}};
    for (const auto& [pair, record] : drawn) asked.insert({pair});
    for (const std::set<Pair>& pairs : asked) {
      const Prior of = prior.PriorOfSum(std::vector<Pair>(pairs.begin(), pairs.end()));
      const Prior expected = plain.Of(pairs);
      EXPECT_NEAR(of.mean / expected.mean, 1, 1e-6) << round;
      EXPECT_NEAR(of.strength / expected.strength, 1, 1e-4) << round;
    }
  }
}

}  // namespace
}  // namespace plumblane
