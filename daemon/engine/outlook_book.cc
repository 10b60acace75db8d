#include "engine/outlook_book.h"

#include <algorithm>
#include <utility>

#include "cohorts/buckets.h"

namespace plumblane {
namespace {

bool IsTimed(Measure measure) {
  return measure == Measure::kDelivery || measure == Measure::kResponse;
}

// Whether an outlook as of `ended` would count any of the change.
bool Shows(const CellChange& change, const Moment& ended) {
  const Measure measure = change.measure;
  if (!IsTimed(measure) && measure != Measure::kDefect && measure != Measure::kMoney) return false;
  if (EndOf(change.day) > ended.horizon) return false;
  if (!IsTimed(measure)) return true;
  const int64_t watch = WatchMillis(change.day, ended);
  bool shows = false;
  VisitTallies(change.cell, Scope::kWithExcused, [&](const Tally& tally) {
    shows = shows || tally.entered != 0 ||
            std::any_of(tally.outcomes.begin(), tally.outcomes.end(), [&](const Outcome& outcome) {
              return BucketEndMillis(outcome.bucket) <= watch;
            });
  });
  return shows;
}

// The pairs with a change that shows.
std::vector<const Pair*> PairsShown(const CellChanges& changes, const Moment& ended) {
  std::vector<const Pair*> pairs;
  for (const auto& [pair, cells] : changes) {
    const bool shows = std::any_of(cells.begin(), cells.end(),
                                   [&](const CellChange& one) { return Shows(one, ended); });
    if (shows) pairs.push_back(&pair);
  }
  return pairs;
}

// What all of them add up to.
std::shared_ptr<const Outlooks> SumOf(std::vector<Outlooks::OfPair> pairs, const Fleet& fleet) {
  auto sum = std::make_shared<Outlooks>();
  for (Outlooks::OfPair& one : pairs) {
    Outlook& lane = sum->lanes[one.pair.lane.origin];
    auto& suppliers = sum->suppliers;
    Mishaps& supplier = suppliers.try_emplace(suppliers.end(), one.pair.supplier)->second;
    MixInto(lane, *one.own);
    MixInto(supplier, *one.own);
    MixInto(sum->all, *one.own);
    one.lane = &lane;
    one.supplier = &supplier;
    one.judged = fleet.CandidateOf(one.pair);
  }
  sum->pairs = std::move(pairs);
  return sum;
}

template <typename Map, typename Key>
const typename Map::mapped_type* FindIn(const Map& map, const Key& key) {
  const auto found = map.find(key);
  return found == map.end() ? nullptr : &found->second;
}

}  // namespace

OrderBelief Outlooks::BeliefOf(const OfPair& one) const {
  return {*one.judged.late, *one.judged.bad, one.own.get(), one.lane, one.supplier, &all};
}

OrderBelief Outlooks::BeliefOf(const Pair& pair, const RankCandidate& judged) const {
  return {*judged.late,
          *judged.bad,
          nullptr,
          FindIn(lanes, pair.lane.origin),
          FindIn(suppliers, pair.supplier),
          &all};
}

bool OutlookBook::IsAsked(const Question& question) const {
  return question.ended.now == asked_.ended.now && question.ended.horizon == asked_.ended.horizon &&
         question.rules.half_life_days == asked_.rules.half_life_days &&
         question.rules.claim_window_days == asked_.rules.claim_window_days;
}

// Those kept, if they hold; else null, and the pairs with those of their outlooks that do.
std::shared_ptr<const Outlooks> OutlookBook::Find(const Question& question, const Source& source,
                                                  std::vector<Outlooks::OfPair>& pairs) {
  std::lock_guard lock(mutex_);
  const bool is_asked = IsAsked(question) && source.sequence >= since_;
  const Kept* kept = is_asked ? FindIn(kept_, question.destination) : nullptr;
  if (kept != nullptr && !kept->outlooks) kept = nullptr;
  const bool same_pairs = kept != nullptr && kept->pairs == source.pairs;
  const uint64_t both_have = kept != nullptr ? std::min(source.sequence, kept->sequence) : 0;
  if (same_pairs && kept->fleet == source.fleet && kept->last_change <= both_have) {
    return kept->outlooks;
  }
  const auto* shipped = FindIn(source.pairs->by_destination, question.destination);
  if (shipped == nullptr) return std::make_shared<const Outlooks>();
  pairs.reserve(shipped->size());
  if (same_pairs) {
    for (const Outlooks::OfPair& one : kept->outlooks->pairs) pairs.push_back({one.pair});
  } else {
    for (const auto& [lane, supplier] : *shipped) pairs.push_back({{supplier, lane}});
    std::sort(pairs.begin(), pairs.end(),
              [](const auto& one, const auto& other) { return one.pair < other.pair; });
  }
  if (kept == nullptr) return nullptr;
  // All ascending by pair.
  auto known = kept->outlooks->pairs.begin();
  auto change = kept->changed.begin();
  for (Outlooks::OfPair& one : pairs) {
    while (known != kept->outlooks->pairs.end() && known->pair < one.pair) ++known;
    if (known == kept->outlooks->pairs.end() || known->pair != one.pair) continue;
    while (change != kept->changed.end() && change->first < one.pair) ++change;
    const bool changed = change != kept->changed.end() && change->first == one.pair;
    if (!changed || change->second <= both_have) one.own = known->own;
  }
  return nullptr;
}

absl::StatusOr<std::shared_ptr<const Outlooks>> OutlookBook::Ask(const Question& question,
                                                                 const Source& source) {
  std::vector<Outlooks::OfPair> pairs;
  if (auto found = Find(question, source, pairs)) return found;
  for (Outlooks::OfPair& one : pairs) {
    if (one.own) continue;
    const auto measures = source.read(one.pair);
    if (!measures.ok()) return measures.status();
    one.own = std::make_shared<const Outlook>(
        OutlookOf(**measures, Scope::kCounted, question.ended, question.rules));
  }
  std::shared_ptr<const Outlooks> outlooks = SumOf(std::move(pairs), *source.fleet);
  Kept gone;  // given back without the mutex
  std::lock_guard lock(mutex_);
  if (!IsAsked(question)) {
    asked_ = question;
    since_ = noted_;
    kept_.clear();
  }
  Kept& kept = kept_[question.destination];
  if (source.sequence < std::max(since_, kept.sequence)) return outlooks;
  gone.outlooks = std::exchange(kept.outlooks, outlooks);
  gone.fleet = std::exchange(kept.fleet, source.fleet);
  kept.pairs = source.pairs;
  kept.sequence = source.sequence;
  return outlooks;
}

void OutlookBook::Note(uint64_t sequence, const CellChanges& changes) {
  // As in SeriesCache: what takes time is done while nobody waits for the mutex.
  Moment ended;
  {
    std::lock_guard lock(mutex_);
    ended = asked_.ended;
  }
  std::vector<const Pair*> shown = PairsShown(changes, ended);
  std::lock_guard lock(mutex_);
  if (asked_.ended.now != ended.now || asked_.ended.horizon != ended.horizon) {
    shown = PairsShown(changes, asked_.ended);
  }
  noted_ = sequence;
  for (const Pair* pair : shown) {
    Kept& kept = kept_[pair->lane.destination];
    kept.changed[*pair] = sequence;
    kept.last_change = sequence;
  }
}

}  // namespace plumblane
