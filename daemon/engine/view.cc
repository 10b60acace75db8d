#include "engine/view.h"

#include <absl/strings/str_cat.h>

#include <algorithm>
#include <cmath>
#include <set>

#include "engine/leaving.h"
#include "engine/records.h"
#include "scoring/decay.h"
#include "storage/keys.h"
#include "storage/order_codec.h"

namespace plumblane {
namespace {

constexpr int64_t kMinuteMillis = 60'000;

void AddMeasures(MeasureSet& sum, const MeasureSet& other) {
  for (int i = 0; i < kMeasureCount; ++i) {
    const auto at = static_cast<size_t>(i);
    AddSeries(sum.series[at], other.series[at]);
  }
}

// Somebody had paid an order of it by then.
bool IsKnown(const MeasureSet& measures, const Moment& moment) {
  const Series& underway = measures[Measure::kUnderway];
  return !underway.empty() && underway.front().day <= moment.underway_limit;
}

}  // namespace

Moment View::MomentOf(const std::optional<Instant>& as_of) const {
  Moment moment;
  moment.now = as_of.value_or(now_);
  // Finer than a minute nothing is told apart, and within one a state has the same answers.
  const int64_t settled = (moment.now - rules_.settle_delay_millis).millis;
  moment.horizon = Instant{settled - settled % kMinuteMillis};
  if (const std::optional<Instant> news = catalog_->NewsHorizon()) {
    moment.horizon = std::min(moment.horizon, *news);
  }
  // Asked about a moment in the past, only days that were over by then count.
  moment.underway_limit = as_of ? DayOf(*as_of) - 1 : DayOf(now_);
  return moment;
}

absl::StatusOr<View::Question> View::Put(const Asked& asked, Scope scope) const {
  Question question;
  question.scope = scope;
  question.as_of_now = !asked.as_of;
  question.basis.as_of = asked.as_of.value_or(now_);
  question.basis.half_life_days = asked.half_life_days.value_or(rules_.half_life_days);
  if (!IsHalfLife(question.basis.half_life_days)) {
    return absl::InvalidArgumentError("half_life: expected 1 hour to 100 years");
  }
  question.basis.news = catalog_->NewsHorizon();
  question.moment = MomentOf(asked.as_of);
  question.basis.rate_mode = asked.rate_mode;
  question.within_days = asked.within_days;
  question.rules = {question.basis.half_life_days, rules_.claim_window_days, kFewestAtRisk,
                    asked.rate_mode};
  auto fleet = AskFleet(question, Scope::kCounted);
  if (!fleet.ok()) return fleet.status();
  question.fleet = question.pairs_fleet = *std::move(fleet);
  if (scope != Scope::kCounted) {
    auto with_excused = AskFleet(question, scope);
    if (!with_excused.ok()) return with_excused.status();
    question.fleet = *std::move(with_excused);
  }
  question.basis.late_fleet = question.fleet->priors.late_evidence();
  question.basis.defect_fleet = question.fleet->priors.defect_evidence();
  return question;
}

absl::StatusOr<std::shared_ptr<const Fleet>> View::AskFleet(const Question& question,
                                                            Scope scope) const {
  Snapshot::Scanner cells;
  const auto read = [this, &cells](
                        const Pair& pair,
                        bool again) -> absl::StatusOr<std::shared_ptr<const MeasureSet>> {
    if (again) return Read(pair);
    if (auto kept = memory_->series.Peek(catalog_->log_sequence, pair)) return kept;
    if (!cells) cells = snapshot_->ScannerOf(Space::kCells);
    auto rates = ReadPair(cells, pair, Measure::kDefect);
    if (!rates.ok()) return rates.status();
    return std::make_shared<const MeasureSet>(*std::move(rates));
  };
  return memory_->fleets.Ask({EndedDays(question.moment), question.rules, scope},
                             {catalog_->log_sequence, catalog_->pairs->by_supplier, read});
}

void View::MakeAhead() const {
  const auto read = [this](const Pair& pair, bool) {
    return memory_->series.ReadAside(*snapshot_, catalog_->log_sequence, pair, Measure::kDefect);
  };
  memory_->fleets.MakeAhead(EndedDays(MomentOf({})),
                            {catalog_->log_sequence, catalog_->pairs->by_supplier, read});
}

absl::StatusOr<std::shared_ptr<const MeasureSet>> View::Read(const Pair& pair) const {
  return memory_->series.Read(*snapshot_, catalog_->log_sequence, pair);
}

absl::StatusOr<ScoreAnswer> View::SumOf(const std::vector<Pair>& pairs, const Question& question,
                                        bool each) const {
  ScoreAnswer answer;
  std::shared_ptr<const MeasureSet> only;  // a single pair needs no sum
  MeasureSet sum;
  std::vector<Pair> known;
  for (const Pair& pair : pairs) {
    const auto measures = Read(pair);
    if (!measures.ok()) return measures.status();
    if (pairs.size() == 1) {
      only = *measures;
    } else {
      AddMeasures(sum, **measures);
    }
    if (IsKnown(**measures, question.moment)) known.push_back(pair);
    if (each) {
      answer.pairs.emplace_back(
          pair, ScoreOf(**measures, Scope::kCounted, question.pairs_fleet->priors.Of({&pair, 1}),
                        question.moment, question.rules, question.within_days));
    }
  }
  answer.score = ScoreOf(only ? *only : sum, question.scope,
                         question.fleet->priors.Of(known.empty() ? pairs : known), question.moment,
                         question.rules, question.within_days);
  return answer;
}

std::vector<Pair> View::PairsOf(const Subject& subject) const {
  const PairDirectory& directory = *catalog_->pairs;
  std::vector<Pair> pairs;
  if (subject.supplier) {
    for (auto it = directory.by_supplier.lower_bound(Pair{*subject.supplier, {}});
         it != directory.by_supplier.end() && it->supplier == *subject.supplier; ++it) {
      if (!subject.lane || subject.lane->Covers(it->lane)) pairs.push_back(*it);
    }
    return pairs;
  }
  const auto at = directory.by_destination.find(subject.lane->destination);
  if (at == directory.by_destination.end()) return pairs;
  for (const auto& [lane, supplier] : at->second) {
    if (subject.lane->Covers(lane)) pairs.push_back({supplier, lane});
  }
  return pairs;
}

absl::StatusOr<std::optional<Instant>> View::LastHeard(const std::string& supplier) const {
  const auto read = [&]() -> absl::StatusOr<std::optional<Instant>> {
    const auto stored = snapshot_->Get(Space::kIndex, SupplierKey(supplier));
    if (!stored.ok()) return stored.status();
    if (!*stored) return std::nullopt;
    const auto time = DecodeInstant(**stored);
    if (!time.ok()) return time.status();
    return *time;
  };
  return memory_->heard.Ask(catalog_->log_sequence, supplier, read);
}

bool View::HasTag(const std::string& supplier, const std::string& tag) const {
  if (tag.empty()) return true;
  const HeldTerms* terms = catalog_->agreements->terms.Find(supplier);
  return terms != nullptr &&
         std::binary_search(terms->terms.tags.begin(), terms->terms.tags.end(), tag);
}

// When it was last heard of, and how its targets stand over all its lanes.
absl::Status View::AddSupplierFacts(ScoreAnswer& answer) const {
  if (!answer.subject.supplier) return absl::OkStatus();
  const std::string& supplier = *answer.subject.supplier;
  const auto heard = LastHeard(supplier);
  if (!heard.ok()) return heard.status();
  answer.last_event = *heard;
  const HeldTerms* terms = catalog_->agreements->terms.Find(supplier);
  if (terms != nullptr && !answer.subject.lane) {
    answer.targets = ReadTargets(terms->terms.targets, answer.score);
  }
  return absl::OkStatus();
}

absl::StatusOr<View::Counted> View::KeptOr(
    const ScoreKey& key, const std::function<absl::StatusOr<Counted>()>& count) const {
  return memory_->scores.Ask(catalog_->log_sequence, key, count, [](const Counted& counted) {
    return counted->answer.pairs.size() + 1;
  });
}

absl::StatusOr<View::Counted> View::CountScore(const Subject& subject, const Asked& asked) const {
  const std::vector<Pair> pairs = PairsOf(subject);
  if (pairs.empty()) {
    return absl::NotFoundError(
        absl::StrCat("no order names ", subject.supplier ? "supplier " + *subject.supplier : "",
                     subject.supplier && subject.lane ? " on " : "",
                     subject.lane ? "lane " + FormatLaneQuery(*subject.lane) : ""));
  }
  const auto question = Put(asked, subject.supplier ? Scope::kCounted : Scope::kWithExcused);
  if (!question.ok()) return question.status();
  const bool each = !(subject.supplier && subject.lane);
  auto answer = SumOf(pairs, *question, each);
  if (!answer.ok()) return answer.status();
  return std::make_shared<const WithBasis<ScoreAnswer>>(
      WithBasis<ScoreAnswer>{question->basis, *std::move(answer)});
}

absl::StatusOr<WithBasis<ScoreAnswer>> View::Score(const Subject& subject,
                                                   const Asked& asked) const {
  const double half_life_days = asked.half_life_days.value_or(rules_.half_life_days);
  const auto count = [&] { return CountScore(subject, asked); };
  const bool is_kept = !asked.as_of && IsHalfLife(half_life_days);
  const Moment moment = MomentOf(asked.as_of);
  const auto counted = is_kept ? KeptOr({subject, half_life_days, asked.rate_mode,
                                         asked.within_days, DayOf(moment.now), moment.horizon},
                                        count)
                               : count();
  if (!counted.ok()) return counted.status();
  WithBasis<ScoreAnswer> score = **counted;
  score.basis.as_of = moment.now;
  score.answer.subject = subject;
  if (absl::Status status = AddSupplierFacts(score.answer); !status.ok()) return status;
  return score;
}

absl::StatusOr<std::shared_ptr<const ScoreEstimate>> View::ReadScore(
    const Pair& pair, const Question& question) const {
  const auto count = [&]() -> absl::StatusOr<Counted> {
    auto answer = SumOf({pair}, question, /*each=*/false);
    if (!answer.ok()) return answer.status();
    return std::make_shared<const WithBasis<ScoreAnswer>>(
        WithBasis<ScoreAnswer>{question.basis, *std::move(answer)});
  };
  const Subject subject{pair.supplier,
                        LaneQuery{pair.lane.origin, pair.lane.destination, pair.lane.service}};
  // Who has quoted only has no score to ask for.
  const bool is_kept = question.as_of_now && catalog_->pairs->by_supplier.contains(pair);
  const auto counted =
      is_kept ? KeptOr({subject, question.basis.half_life_days, question.basis.rate_mode,
                        question.within_days, DayOf(question.moment.now), question.moment.horizon},
                       count)
              : count();
  if (!counted.ok()) return counted.status();
  return std::shared_ptr<const ScoreEstimate>(*counted, &(*counted)->answer.score);
}

absl::StatusOr<WithBasis<std::vector<ScoreAnswer>>> View::ListSuppliers(
    const Asked& asked, const std::string& after, size_t limit,
    const SupplierFilter& filter) const {
  const auto question = Put(asked, Scope::kCounted);
  if (!question.ok()) return question.status();
  WithBasis<std::vector<ScoreAnswer>> list{question->basis, {}};
  const std::set<Pair>& pairs = catalog_->pairs->by_supplier;
  auto it = pairs.begin();
  if (!after.empty()) {
    // A zero byte cannot occur in a name: this is the first pair of a later supplier.
    it = pairs.lower_bound(Pair{after + '\0', {}});
  }
  while (it != pairs.end() && list.answer.size() < limit) {
    const Subject subject{it->supplier, filter.lane};
    std::vector<Pair> own;
    for (; it != pairs.end() && it->supplier == *subject.supplier; ++it) {
      if (!filter.lane || filter.lane->Covers(it->lane)) own.push_back(*it);
    }
    if (own.empty() || !HasTag(*subject.supplier, filter.tag)) continue;
    auto answer = SumOf(own, *question, /*each=*/false);
    if (!answer.ok()) return answer.status();
    if (answer->score.on_time.order_count < filter.min_order_count) continue;
    answer->subject = subject;
    if (absl::Status status = AddSupplierFacts(*answer); !status.ok()) return status;
    list.answer.push_back(*std::move(answer));
  }
  return list;
}

absl::StatusOr<WithBasis<std::vector<ScoreAnswer>>> View::ListLanes(const Asked& asked,
                                                                    const std::string& after,
                                                                    size_t limit) const {
  const auto question = Put(asked, Scope::kWithExcused);
  if (!question.ok()) return question.status();
  WithBasis<std::vector<ScoreAnswer>> list{question->basis, {}};
  std::map<std::string, std::pair<LaneQuery, std::vector<Pair>>> lanes;  // by name
  for (const Pair& pair : catalog_->pairs->by_supplier) {
    const LaneQuery lane{pair.lane.origin, pair.lane.destination, std::nullopt};
    auto& [query, pairs] = lanes[FormatLaneQuery(lane)];
    query = lane;
    pairs.push_back(pair);
  }
  for (auto it = lanes.upper_bound(after); it != lanes.end() && list.answer.size() < limit; ++it) {
    const auto& [lane, pairs] = it->second;
    auto answer = SumOf(pairs, *question, /*each=*/false);
    if (!answer.ok()) return answer.status();
    answer->subject = {std::nullopt, lane};
    list.answer.push_back(*std::move(answer));
  }
  return list;
}

absl::StatusOr<MonthUse> View::MonthUse(const std::string& supplier) const {
  const HeldTerms* terms = catalog_->agreements->terms.Find(supplier);
  plumblane::MonthUse use;
  use.month = MonthOf(DayOf(now_), terms ? terms->terms.month_start_day : 1);
  for (const Pair& pair : PairsOf({supplier, std::nullopt})) {
    const auto measures = Read(pair);
    if (!measures.ok()) return measures.status();
    // Every part paid is in it on its paid day, whatever became of it and however its dates
    // contradict each other.
    const Series& paid = (**measures)[Measure::kUnderway];
    for (auto cohort = paid.rbegin(); cohort != paid.rend() && use.month.first <= cohort->day;
         ++cohort) {
      use.paid_count += cohort->cell.counted.entered + cohort->cell.excused.entered;
    }
  }
  const auto& open = catalog_->assignments->by_part;
  for (auto it = open.begin(); it != open.end(); ++it) {
    const auto next = std::next(it);
    // Routed again, the part before waits for nothing.
    if (next != open.end() && next->first.first == it->first.first) continue;
    if (it->second.supplier == supplier && use.month.first <= DayOf(it->second.time)) {
      ++use.assigned_count;
    }
  }
  return use;
}

absl::StatusOr<OrderAnswer> View::Order(const OrderKey& key) const {
  const auto record = snapshot_->Get(Space::kOrders, OrderRecordKey(key));
  if (!record.ok()) return record.status();
  if (!*record) {
    const auto gone = NotKeptSince(*snapshot_, key);
    if (!gone.ok()) return gone.status();
    return absl::NotFoundError(*gone ? absl::StrCat("order ", FormatOrder(key),
                                                    " is no longer kept, since ", FormatDay(**gone))
                                     : absl::StrCat("no event names order ", FormatOrder(key)));
  }
  auto events = DecodeOrder(**record);
  if (!events.ok()) return events.status();
  OrderAnswer answer;
  answer.key = key;
  answer.events = *std::move(events);
  answer.ignored = EventsInEffect(answer.events);
  answer.state = Fold(key, answer.events, rules_.fold, *catalog_->excuses);
  answer.horizon = MomentOf({}).horizon;
  return answer;
}

absl::StatusOr<std::optional<OrderMatch>> View::FindByTracking(const std::string& tracking) const {
  std::optional<IndexedPart> found;
  absl::Status bad;
  const absl::Status scanned =
      snapshot_->Scan(Space::kIndex, TrackingPrefix(tracking), "", [&](auto key, auto) {
        const auto part = ParseTrackingKey(key);
        bad.Update(part.status());
        if (part.ok()) found = *part;
        return false;
      });
  bad.Update(scanned);
  if (!bad.ok()) return bad;
  if (!found) return std::nullopt;
  return FindPart(found->order, found->part);
}

absl::StatusOr<std::optional<OrderMatch>> View::FindPart(const OrderKey& key, int part) const {
  const auto order = Order(key);
  if (absl::IsNotFound(order.status())) return std::nullopt;
  if (!order.ok()) return order.status();
  for (const PartState& state : order->state.parts) {
    if (state.part == part) return OrderMatch{key, part, state.lane.destination};
  }
  return std::nullopt;
}

}  // namespace plumblane
