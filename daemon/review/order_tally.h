// What only the orders themselves say of a period: refunds by their own day, claims and what is
// owed, overcharges, goods out of stock, excuses, items, what late and bad orders cost; and the
// findings that go into the evidence.
//
// A part is seen as of the moment asked, by the same days as cells: outcomes through the horizon,
// payments, claims, refunds and cancellations through the last day whose events count. Corrections
// hold at every moment.
//
// Pure; a tally belongs to one thread, and the sums of tallies add up.
#pragma once

#include <array>
#include <functional>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "agreements/agreements.h"
#include "orders/fold.h"
#include "orders/plain_order.h"
#include "review/account.h"
#include "review/figures.h"
#include "review/period.h"

namespace plumblane {

// What is compared, in this order.
enum class Which { kPeriod, kBefore, kYearAgo };
inline constexpr size_t kPeriodCount = 3;
using Periods = std::array<Period, kPeriodCount>;

// What became of one part.
struct PartOutcome {
  std::optional<Day> due;  // on_time and defect count it on this day, if it is over
  bool settled = false, on_time_counts = false, late = false;
  bool arrived = false;  // of late ones
  int days_late = 0;     // whole days after the promised one, until it arrived or so far
  std::optional<Code> defect;
  std::optional<Day> paid;
  bool out_of_stock = false;
  std::optional<Money> overcharged;
  std::optional<Day> claimed;
  std::optional<Money> owed;  // above 0
  bool under_way = false;
  MoneySums refunded;  // by the supplier
  std::string excuse;  // why it is in no rate of the supplier; "" = it is
};
// REQUIRES: part.counts(); `events` are those of its order.
PartOutcome OutcomeOf(const std::vector<Event>& events, const PartState& part,
                      const ReviewRules& rules);

// The part without the times and claim of later days than `last`. Figures are no part of it.
PartState KnownBy(PartState part, Day last);

// The words of the evidence: "late", the kind of the defect, "overcharged", "out_of_stock", "owed";
// each only when its day lies in the period.
std::vector<std::string_view> FindingsOf(const PartOutcome& outcome, const Period& period);

// Of one pair.
struct OrderFigures {
  struct InPeriod {
    int64_t out_of_stock = 0, unsettled = 0;
    std::map<std::string, MoneyFigures> money;
    // As far as it is known: where orders are gone only what was paid for those under way, since
    // all of these are kept.
    void PutInto(Figures& figures) const;
  };
  std::array<InPeriod, kPeriodCount> in;  // by Which
  // Of the period alone.
  std::map<std::string, ExcusedOrders> excuses;
  std::array<MoneySums, kStakeCount> paid_for;
  PeriodCosts costs;

  void Add(const OrderFigures& other);
};

struct OrderSums {
  std::map<Pair, OrderFigures> pairs;
  // By supplier and item: what was due in the period and is not excused.
  ByText<ByText<ItemCount>> items;

  void Add(OrderSums other);
};

class OrderTally {
 public:
  // `agreements`: whose cost settings hold, null for none. It must outlive the tally.
  OrderTally(const Periods& periods, const ReviewRules& rules, const Agreements* agreements)
      : periods_(periods), rules_(rules), agreements_(agreements) {}

  // REQUIRES: `part` is folded from `events` and counts().
  void Add(const OrderKey& order, const std::vector<Event>& events, const PartState& part);

  // What a plain order adds. kNothing: nothing. kOnTime: nothing but one on-time order of its item,
  // unless it is excused; AddOnTime adds that. kMore: it must be folded and added.
  enum class Plain { kNothing, kOnTime, kMore };
  Plain LookAt(const PlainOrder& order, const FoldRules& fold) const;
  void AddOnTime(std::string_view supplier, std::string_view item);

  // Leaves nothing behind.
  OrderSums Take() { return std::move(sums_); }

 private:
  void AddMoney(const std::vector<Event>& events, const PartState& part, const PartOutcome& outcome,
                OrderFigures& figures) const;
  void AddDue(const PartState& part, const PartOutcome& outcome, OrderFigures& figures);
  ItemCount& ItemOf(std::string_view supplier, std::string_view item);
  void AddCosts(const OrderKey& order, const PartState& part, const PartOutcome& outcome,
                PeriodCosts& costs) const;

  Periods periods_;
  ReviewRules rules_;
  const Agreements* agreements_;
  OrderSums sums_;
};

}  // namespace plumblane
