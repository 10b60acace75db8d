#include <algorithm>

#include "engine/best_few.h"
#include "engine/part_reader.h"
#include "engine/view.h"
#include "orders/standing.h"
#include "ranking/chase.h"
#include "scoring/times.h"

namespace plumblane {
namespace {

constexpr double kSecondsPerDay = 86'400;
constexpr double kAllAlike = 36'500;  // a half-life that weighs all orders the same

// The cells of these pairs, added up.
template <typename Read>
absl::StatusOr<Series> SumOfSeries(const std::vector<Pair>& pairs, Measure measure,
                                   const Read& read) {
  Series sum;
  for (const Pair& pair : pairs) {
    const auto measures = read(pair);
    if (!measures.ok()) return measures.status();
    AddSeries(sum, (**measures)[measure]);
  }
  return sum;
}

}  // namespace

// Judges the open orders of one question; what is read of a pair, lane or supplier is read once.
class View::Chaser {
 public:
  Chaser(const View& view, const UnderwayFilter& filter, const std::optional<UnderwayPlace>& after,
         size_t limit)
      : view_(view), filter_(filter), best_(after, limit), moment_(view.MomentOf({})) {
    answer_.as_of = view.now_;
    answer_.news = view.catalog_->NewsHorizon();
    answer_.currency = view.catalog_->agreements->costs.currency;
    news_ = std::min(view.now_, answer_.news.value_or(view.now_));
    rules_.half_life_days = view.rules_.half_life_days;
    rules_.claim_window_days = view.rules_.claim_window_days;
    rules_.fewest_at_risk = kFewestAtRisk;
  }

  absl::StatusOr<UnderwayAnswer> Run() {
    PartReader reader(
        *view_.snapshot_, view_.rules_.fold, *view_.catalog_->excuses,
        [this](const OrderKey& order, const PartState& part) { return Consider(order, part); });
    absl::Status bad;
    const absl::Status scanned = view_.snapshot_->Scan(
        Space::kIndex, PairIndexPrefix(PairIndex::kOpen, filter_.supplier), "",
        [&](auto key, auto) {
          const auto open = ParsePairIndexKey(key);
          bad.Update(open.status());
          if (open.ok() && (!filter_.lane || filter_.lane->Covers(open->pair.lane))) {
            bad.Update(reader.Add(open->part));
          }
          return bad.ok();
        });
    bad.Update(scanned);
    if (bad.ok()) bad = reader.Finish();
    if (!bad.ok()) return bad;
    auto best = best_.Take();
    answer_.orders = std::move(best.items);
    answer_.more = best.more;
    return std::move(answer_);
  }

 private:
  absl::Status Consider(const OrderKey& order, const PartState& part) {
    if (moment_.underway_limit < DayOf(*part.paid) ||
        IsGivenUp(part, view_.rules_.fold, moment_.horizon)) {
      return absl::OkStatus();
    }
    const Pair pair{part.supplier, part.lane};
    UnderwayOrder out;
    out.place.order = order;
    out.place.part = part.part;
    out.pair = pair;
    out.item = part.item;
    if (!part.tracking.empty()) out.tracking = part.tracking.front();
    out.paid = *part.paid;
    out.shipped = part.shipped;
    if (part.deadline) out.promise = part.promise->time;
    out.age_days =
        static_cast<double>(view_.now_ - *part.paid) / static_cast<double>(kMillisPerDay);
    out.cost = part.cost;
    if (absl::Status status = Judge(part, out); !status.ok()) return status;
    const bool likely = out.state == UnderwayState::kLikelyLate;
    const bool overdue = out.state == UnderwayState::kOverdue;
    const bool slow = out.usual_handling_days.has_value();
    if (filter_.late_only && !likely && !overdue && !slow) return absl::OkStatus();
    UnderwayTally& tally = answer_.counts[pair];
    ++tally.orders;
    tally.overdue += overdue ? 1 : 0;
    tally.likely_late += likely ? 1 : 0;
    tally.slow_to_leave += slow ? 1 : 0;
    out.place.in_time = !overdue;
    if (out.chase_value) out.place.minus_value = -*out.chase_value;
    if (out.late_chance) out.place.minus_chance = -*out.late_chance;
    best_.Add(std::move(out));
    return absl::OkStatus();
  }

  absl::Status Judge(const PartState& part, UnderwayOrder& out) {
    Chased chased{*part.paid, part.shipped, part.deadline, std::nullopt};
    if (!part.shipped) {
      const auto usual = UsualDays(part.supplier);
      if (!usual.ok()) return usual.status();
      chased.usual_days = *usual;
    }
    if (IsSlowToLeave(chased, news_)) out.usual_handling_days = chased.usual_days;
    if (part.deadline) {
      const Measure leg = part.shipped ? Measure::kTransit : Measure::kDelivery;
      const auto chance = ChanceOf(chased, leg, out.pair);
      if (!chance.ok()) return chance.status();
      out.late_chance = *chance;
    }
    out.state = !part.deadline                              ? UnderwayState::kNoPromise
                : IsOverdue(part, moment_.horizon)          ? UnderwayState::kOverdue
                : out.late_chance.value_or(0) > kLikelyLate ? UnderwayState::kLikelyLate
                                                            : UnderwayState::kOnTime;
    out.reason = WhyChase(chased, out.late_chance, news_);
    const Agreements& agreements = *view_.catalog_->agreements;
    const CostClass* costs =
        agreements.costs.Find(out.place.order.shop, agreements.items.ClassOf(part.item));
    if (costs != nullptr && out.late_chance) {
      out.chase_value = *out.late_chance * static_cast<double>(costs->late_order);
    }
    return absl::OkStatus();
  }

  // By the pair, else by all pairs between the same ends.
  absl::StatusOr<std::optional<double>> ChanceOf(const Chased& chased, Measure measure,
                                                 const Pair& pair) {
    auto& own = of_pairs_[{pair, measure}];
    if (!own) {
      const auto measures = view_.Read(pair);
      if (!measures.ok()) return measures.status();
      own = LegCurveOf(measure, (**measures)[measure], Scope::kCounted, moment_, rules_);
    }
    auto chance = LateChance(chased, {&*own}, news_);
    if (chance) return chance;
    const LaneQuery lane{pair.lane.origin, pair.lane.destination, std::nullopt};
    auto& all = of_lanes_[{lane, measure}];
    if (!all) {
      const auto sum = SumOfSeries(view_.PairsOf({std::nullopt, lane}), measure,
                                   [this](const Pair& one) { return view_.Read(one); });
      if (!sum.ok()) return sum.status();
      all = LegCurveOf(measure, *sum, Scope::kWithExcused, moment_, rules_);
    }
    return LateChance(chased, {&*all}, news_);
  }

  // Nine in ten orders of the supplier are shipped within so many days; none when too few say. Old
  // orders count like new ones: one that stops shipping does not thereby change what is usual.
  absl::StatusOr<std::optional<double>> UsualDays(const std::string& supplier) {
    const auto known = usual_.find(supplier);
    if (known != usual_.end()) return known->second;
    const auto sum = SumOfSeries(view_.PairsOf({supplier, std::nullopt}), Measure::kHandling,
                                 [this](const Pair& one) { return view_.Read(one); });
    if (!sum.ok()) return sum.status();
    ScoreRules usual_rules = rules_;
    usual_rules.half_life_days = kAllAlike;
    const TimesEstimate times =
        TimesOf(Measure::kHandling, *sum, Scope::kCounted, moment_, usual_rules);
    std::optional<double> days;
    if (times.p90) days = times.p90->seconds / kSecondsPerDay;
    return usual_[supplier] = days;
  }

  const View& view_;
  const UnderwayFilter& filter_;
  BestFew<UnderwayOrder> best_;
  const Moment moment_;
  Instant news_;  // an arrival before it would be known
  ScoreRules rules_;
  std::map<std::pair<Pair, Measure>, std::optional<LegCurve>> of_pairs_;
  std::map<std::pair<LaneQuery, Measure>, std::optional<LegCurve>> of_lanes_;
  std::map<std::string, std::optional<double>> usual_;
  UnderwayAnswer answer_;
};

absl::StatusOr<UnderwayAnswer> View::Underway(const UnderwayFilter& filter,
                                              const std::optional<UnderwayPlace>& after,
                                              size_t limit) const {
  return Chaser(*this, filter, after, limit).Run();
}

}  // namespace plumblane
