#include "engine/review_counting.h"

#include <iterator>
#include <thread>

#include "engine/period_cells.h"

namespace plumblane {
namespace {

// Measures that figures are made of, in the order in which a pair's cells are stored.
constexpr Measure kMeasures[] = {Measure::kOnTime,  Measure::kDefect,   Measure::kHandling,
                                 Measure::kTransit, Measure::kDelivery, Measure::kResponse,
                                 Measure::kMoney};

// Counts pairs of whole suppliers, on one thread.
class PairCounter {
 public:
  explicit PairCounter(const PairCount& count) : count_(count), ranges_(RangesOf(count.periods)) {}

  absl::Status Count(std::span<const Pair* const> pairs) {
    for (const Pair* pair : pairs) {
      if (count_.give_up && count_.give_up()) return absl::CancelledError("given up");
      const bool wanted = count_.wanted(*pair);
      if (wanted && pair->supplier != supplier_) {
        FinishSupplier();
        supplier_ = pair->supplier;
      }
      const absl::Status read = CountPair(*pair, wanted);
      if (!read.ok()) return read;
    }
    FinishSupplier();
    return absl::OkStatus();
  }
  CountedPairs Take() { return std::move(counted_); }

 private:
  absl::Status CountPair(const Pair& pair, bool wanted) {
    const Periods& periods = count_.periods;
    Counting one;
    // A year's period before is that of a year ago.
    const size_t distinct = periods[2] == periods[1] ? 2 : 3;
    const absl::Status read =
        Read(pair, wanted ? std::span(kMeasures) : std::span(kMeasures).last(1),
             [&](Measure measure, const Cohort& cohort) {
               for (size_t i = 0; i < distinct; ++i) {
                 if (!periods[i].Contains(cohort.day)) continue;
                 one.figures[i].Add(measure, cohort.day, cohort.cell, count_.rules);
               }
             });
    if (!read.ok()) return read;
    if (distinct == 2) one.figures[2] = one.figures[1];
    Counting& lane = counted_.lanes[{pair.lane.origin, pair.lane.destination}];
    for (size_t i = 0; i < kPeriodCount; ++i) {
      const Figures paid = one.figures[i].MakePaid();
      lane.portions[i].Add(pair.supplier, paid);
      counted_.all.portions[i].Add(pair.supplier, paid);
    }
    if (!wanted) return absl::OkStatus();
    if (const auto found = count_.orders.find(pair); found != count_.orders.end()) {
      one.orders = found->second;
    }
    if (const auto found = count_.assigned.find(pair); found != count_.assigned.end()) {
      one.assigned = found->second;
    }
    lane.Add(one);
    of_supplier_.Add(one);
    count_.keep(counted_.pairs, one, pair.supplier,
                LaneQuery{pair.lane.origin, pair.lane.destination, pair.lane.service});
    return absl::OkStatus();
  }

  absl::Status Read(const Pair& pair, std::span<const Measure> measures,
                    const VisitCohort& visit) const {
    if (count_.shop_cells == nullptr) {
      return ReadCells(count_.snapshot, pair, measures, ranges_, visit);
    }
    const MeasureSet cells = count_.shop_cells->Of(pair);
    for (const Measure measure : measures) {
      for (const Cohort& cohort : cells[measure]) visit(measure, cohort);
    }
    return absl::OkStatus();
  }

  void FinishSupplier() {
    if (supplier_.empty()) return;
    counted_.all.Add(of_supplier_);
    count_.keep(counted_.suppliers, of_supplier_, supplier_, {});
    of_supplier_ = {};
  }

  const PairCount& count_;
  const std::vector<Period> ranges_;
  CountedPairs counted_;
  std::string supplier_;
  Counting of_supplier_;
};

}  // namespace

void Counting::Add(const Counting& other) {
  for (size_t i = 0; i < kPeriodCount; ++i) figures[i].Add(other.figures[i]);
  orders.Add(other.orders);
  assigned.Add(other.assigned);
}

void Kept::Add(Kept other) {
  accounts.insert(accounts.end(), std::make_move_iterator(other.accounts.begin()),
                  std::make_move_iterator(other.accounts.end()));
  rest.insert(rest.end(), std::make_move_iterator(other.rest.begin()),
              std::make_move_iterator(other.rest.end()));
}

void CountedPairs::Add(CountedPairs other) {
  const auto add = [](Counting& sum, const Counting& one) {
    sum.Add(one);
    for (size_t i = 0; i < kPeriodCount; ++i) sum.portions[i].Add(one.portions[i]);
  };
  add(all, other.all);
  for (const auto& [ends, counted] : other.lanes) add(lanes[ends], counted);
  suppliers.Add(std::move(other.suppliers));
  pairs.Add(std::move(other.pairs));
}

absl::StatusOr<CountedPairs> CountPairs(const PairCount& count,
                                        std::span<const Pair* const> pairs) {
  size_t half = pairs.size() / 2;
  while (0 < half && half < pairs.size() && pairs[half]->supplier == pairs[half - 1]->supplier) {
    ++half;
  }
  PairCounter first(count), second(count);
  absl::Status second_status;
  std::thread beside([&] { second_status = second.Count(pairs.subspan(half)); });
  absl::Status status = first.Count(pairs.first(half));
  beside.join();
  status.Update(second_status);
  if (!status.ok()) return status;
  CountedPairs counted = first.Take();
  counted.Add(second.Take());
  return counted;
}

}  // namespace plumblane
