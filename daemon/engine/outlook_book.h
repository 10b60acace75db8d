// The outlooks of pairs (scoring/outlook.h) as of the ended days, and what those of a destination
// add up to, kept between questions. A cache: with or without it every answer is the same.
//
// What happens today shows in an outlook only when its day is over, so within a day hardly any is
// made twice. Keeps those of the day and half-life asked last, 3.7 KiB each. To ask again costs a
// look-up; after a change, the outlooks of the pairs changed and 1.2 us for each of all.
//
// Thread-safe: one writer notes changes, any thread asks.
#pragma once

#include <absl/status/statusor.h>

#include <cstdint>
#include <functional>
#include <map>
#include <memory>
#include <mutex>
#include <string>
#include <vector>

#include "cohorts/cell.h"
#include "engine/catalog.h"
#include "engine/cell_changes.h"
#include "engine/fleet_book.h"
#include "ranking/order_cost.h"
#include "scoring/moment.h"
#include "scoring/outlook.h"

namespace plumblane {

// Of all pairs that have shipped to one destination. Immutable.
struct Outlooks {
  struct OfPair {
    Pair pair;
    std::shared_ptr<const Outlook> own{};
    const Outlook* lane = nullptr;
    const Mishaps* supplier = nullptr;
    RankCandidate judged{};
  };
  std::vector<OfPair> pairs;             // ascending
  std::map<std::string, Outlook> lanes;  // by origin, over all services
  std::map<std::string, Mishaps> suppliers;
  Mishaps all;

  // REQUIRES: `one` is among the pairs, and the fleet can judge.
  OrderBelief BeliefOf(const OfPair& one) const;
  // Of one that only quotes.
  OrderBelief BeliefOf(const Pair& pair, const RankCandidate& judged) const;
};

class OutlookBook {
 public:
  struct Question {
    Moment ended;  // scoring/priors.h
    ScoreRules rules;
    std::string destination;
  };
  // The state to make them from.
  struct Source {
    uint64_t sequence = 0;
    std::shared_ptr<const PairDirectory> pairs;
    std::shared_ptr<const Fleet> fleet;
    std::function<absl::StatusOr<std::shared_ptr<const MeasureSet>>(const Pair&)> read;
  };

  absl::StatusOr<std::shared_ptr<const Outlooks>> Ask(const Question& question,
                                                      const Source& source);

  // As for SeriesCache.
  void Note(uint64_t sequence, const CellChanges& changes);

 private:
  // Of one destination.
  struct Kept {
    uint64_t sequence = 0;  // of the state it was made from
    std::shared_ptr<const PairDirectory> pairs;
    std::shared_ptr<const Fleet> fleet;
    std::shared_ptr<const Outlooks> outlooks;  // null: none was made
    std::map<Pair, uint64_t> changed;          // by the entry that last did
    uint64_t last_change = 0;
  };
  bool IsAsked(const Question& question) const;
  std::shared_ptr<const Outlooks> Find(const Question& question, const Source& source,
                                       std::vector<Outlooks::OfPair>& pairs);

  std::mutex mutex_;
  Question asked_{};
  uint64_t since_ = 0;  // changes are known from the state of this entry on
  uint64_t noted_ = 0;
  std::map<std::string, Kept> kept_;  // by destination
};

}  // namespace plumblane
