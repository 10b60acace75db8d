#include "engine/fleet_book.h"

#include <algorithm>
#include <utility>

namespace plumblane {
namespace {

std::vector<PairOfFleet>::const_iterator Find(const std::vector<PairOfFleet>& pairs,
                                              const Pair& pair) {
  const auto it =
      std::lower_bound(pairs.begin(), pairs.end(), pair,
                       [](const PairOfFleet& one, const Pair& other) { return one.pair < other; });
  return it != pairs.end() && it->pair == pair ? it : pairs.end();
}

std::vector<PairOfFleet> Replaced(const std::vector<PairOfFleet>& before,
                                  std::map<Pair, PairRates> recounted) {
  std::vector<PairOfFleet> after;
  after.reserve(before.size() + recounted.size());
  auto next = recounted.begin();
  for (const PairOfFleet& one : before) {
    for (; next != recounted.end() && next->first < one.pair; ++next) {
      after.push_back({next->first, std::move(next->second)});
    }
    if (next != recounted.end() && next->first == one.pair) {
      after.push_back({one.pair, std::move((next++)->second)});
    } else {
      after.push_back(one);
    }
  }
  for (; next != recounted.end(); ++next) after.push_back({next->first, std::move(next->second)});
  return after;
}

}  // namespace

RankCandidate Fleet::CandidateOf(const Pair& pair) const {
  const auto it = Find(pairs, pair);
  if (it != pairs.end()) return candidates[static_cast<size_t>(it - pairs.begin())];
  return plumblane::CandidateOf(pair, {}, priors.Of({&pair, 1}));
}

std::shared_ptr<FleetBook::Made> FleetBook::FindOrMake(const Key& key, const Source& source) {
  const auto it =
      std::find_if(made_.begin(), made_.end(), [&](const auto& one) { return one->key == key; });
  if (it != made_.end()) {
    made_.splice(made_.begin(), made_, it);
    return made_.front();
  }
  auto made = std::make_shared<Made>();
  made->key = key;
  made->since = noted_;
  made_.push_front(made);
  const size_t most =
      std::clamp(most_pairs_ / std::max<size_t>(source.pairs.size(), 1), kLeastFleets, kMostFleets);
  while (made_.size() > most) {
    // Who still waits for it must not take what is no longer told of changes.
    made_.back()->dropped = true;
    made_.pop_back();
  }
  return made;
}

FleetBook::Key FleetBook::KeyOf(const Question& question) {
  return {question.ended.now, question.ended.horizon, question.rules.half_life_days,
          question.rules.claim_window_days, question.scope};
}

FleetBook::Start FleetBook::StartOf(const Made& made, const Source& source) {
  if (made.dropped) return {};
  Start start{made.fleet, {}, made.times};
  for (const auto& [pair, entries] : made.changed) {
    if (entries.first <= source.sequence) start.changed.emplace(pair, entries);
  }
  return start;
}

void FleetBook::Keep(Made& made, std::shared_ptr<const Fleet> fleet, const Start& from,
                     const Source& source) {
  // Nothing was made, and what is being made of a later state is not undone.
  if (fleet == from.before && from.changed.empty()) return;
  if (made.dropped || made.times != from.times) return;
  // What was noted after that state and before anybody asked would be missing.
  if (!from.before && source.sequence < made.since) return;
  ++made.times;
  made.fleet = std::move(fleet);
  for (const auto& [pair, entries] : from.changed) {
    const auto it = made.changed.find(pair);
    if (it->second.last <= source.sequence) {
      made.changed.erase(it);
    } else {
      it->second.first = source.sequence + 1;
    }
  }
}

void FleetBook::NoteAsked(const Question& question) {
  if (question.ended.now < latest_ended_) return;
  const auto it = std::find_if(lately_.begin(), lately_.end(), [&](const Lately& one) {
    return one.scope == question.scope &&
           one.rules.half_life_days == question.rules.half_life_days &&
           one.rules.claim_window_days == question.rules.claim_window_days;
  });
  if (it != lately_.end()) {
    it->states_ahead = kStatesAhead;
  } else if (lately_.size() < kMostAhead) {
    lately_.push_back({question.rules, question.scope, kStatesAhead});
  }
}

absl::StatusOr<std::shared_ptr<const Fleet>> FleetBook::Ask(const Question& question,
                                                            const Source& source) {
  std::shared_ptr<Made> made;
  {
    std::lock_guard lock(mutex_);
    NoteAsked(question);
    made = FindOrMake(KeyOf(question), source);
  }
  std::lock_guard making(made->making);
  Start start;
  {
    std::lock_guard lock(mutex_);
    start = StartOf(*made, source);
  }
  auto fleet = Make(question, source, start);
  if (!fleet.ok()) return fleet.status();
  std::lock_guard lock(mutex_);
  Keep(*made, *fleet, start, source);
  return fleet;
}

void FleetBook::MakeAhead(const Moment& ended, const Source& source) {
  if (source.pairs.size() > kMostPairsAhead) return;
  std::vector<Lately> lately;
  {
    std::lock_guard lock(mutex_);
    latest_ended_ = ended.now;
    for (Lately& one : lately_) --one.states_ahead;
    std::erase_if(lately_, [](const Lately& one) { return one.states_ahead < 0; });
    lately = lately_;
  }
  for (const Lately& one : lately) {
    const Question question{ended, one.rules, one.scope};
    std::shared_ptr<Made> made;
    Start start;
    {
      std::lock_guard lock(mutex_);
      made = FindOrMake(KeyOf(question), source);
      start = StartOf(*made, source);
    }
    auto fleet = Make(question, source, start);
    if (!fleet.ok()) return;
    std::lock_guard lock(mutex_);
    Keep(*made, *std::move(fleet), start, source);
  }
}

absl::StatusOr<std::shared_ptr<const Fleet>> FleetBook::Make(const Question& question,
                                                             const Source& source,
                                                             const Start& from) {
  const std::shared_ptr<const Fleet>& before = from.before;
  const std::map<Pair, Entries>& changed = from.changed;
  const auto rates_of = [&](const Pair& pair, bool again) -> absl::StatusOr<PairRates> {
    const auto measures = source.read(pair, again);
    if (!measures.ok()) return measures.status();
    return RatesOf((**measures)[Measure::kOnTime], (**measures)[Measure::kDefect], question.scope,
                   question.ended, question.rules);
  };
  if (before && changed.empty()) return before;
  auto fleet = std::make_shared<Fleet>();
  bool same_rates = false;
  if (!before) {
    fleet->pairs.reserve(source.pairs.size());
    for (const Pair& pair : source.pairs) {
      auto rates = rates_of(pair, /*again=*/false);
      if (!rates.ok()) return rates.status();
      fleet->pairs.push_back({pair, *std::move(rates)});
    }
  } else {
    std::map<Pair, PairRates> recounted;
    for (const auto& [pair, entries] : changed) {
      if (pair == Pair{}) continue;
      auto rates = rates_of(pair, /*again=*/true);
      if (!rates.ok()) return rates.status();
      const auto known = Find(before->pairs, pair);
      if (known == before->pairs.end() || known->rates != *rates) {
        recounted.emplace(pair, *std::move(rates));
      }
    }
    same_rates = recounted.empty();
    if (!same_rates) fleet->pairs = Replaced(before->pairs, std::move(recounted));
  }
  const auto total = source.read(Pair{}, /*again=*/true);
  if (!total.ok()) return total.status();
  const MeasureSet& sums = **total;
  fleet->pooled = PooledPriors(sums[Measure::kOnTime], sums[Measure::kDefect], question.ended,
                               question.rules, question.scope, sums.KeptIn(question.scope));
  // A defect known a day later changes no rate of a pair, yet the curve of delays.
  if (same_rates) {
    if (fleet->pooled == before->pooled) return before;
    fleet->pairs = before->pairs;
  }
  fleet->priors = FleetPriors(fleet->pairs, fleet->pooled);
  fleet->candidates.reserve(fleet->pairs.size());
  for (const PairOfFleet& one : fleet->pairs) {
    fleet->candidates.push_back(CandidateOf(one.pair, one.rates, fleet->priors.Of({&one.pair, 1})));
  }
  return fleet;
}

void FleetBook::Note(uint64_t sequence, const CellChanges& changes) {
  std::lock_guard lock(mutex_);
  noted_ = sequence;
  if (made_.empty()) return;
  for (const PairChange& one : changes) {
    // A cohort whose day is not over by the horizon is in no count: new orders change nothing.
    std::optional<Day> first;
    for (const CellChange& change : one.cells) {
      if (change.measure > Measure::kDefect) continue;
      first = first ? std::min(*first, change.day) : change.day;
    }
    if (!first) continue;
    for (const auto& made : made_) {
      if (EndOf(*first) > made->key.horizon) continue;
      made->changed.try_emplace(one.pair, Entries{sequence, sequence}).first->second.last =
          sequence;
    }
  }
}

}  // namespace plumblane
