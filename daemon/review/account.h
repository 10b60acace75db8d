// The account of a period: what one supplier, lane or pair did, and all together. Plain counts of
// the orders whose day lies in the period; nothing decays.
//
// Plain values; const use is thread-safe.
#pragma once

#include <array>
#include <cstdint>
#include <map>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "agreements/costs.h"
#include "base/lane.h"
#include "base/money.h"
#include "base/time.h"
#include "cohorts/cell.h"
#include "ranking/targets.h"
#include "review/compare.h"
#include "review/compare_times.h"
#include "review/period.h"
#include "scoring/times.h"

namespace plumblane {

using MoneySums = std::map<std::string, int64_t>;  // minor units by currency

// Minor units of one currency.
struct MoneyFigures {
  int64_t paid = 0, replacements = 0;  // for orders paid in the period; replacements are in both
  int64_t refunded_by_supplier = 0, refunded_by_shop = 0;  // in the period
  int64_t claimed = 0, owed = 0, owed_orders = 0;          // of the claims put in the period
  int64_t quoted_orders = 0, charged = 0, quoted = 0;      // of the orders paid with a quote
  int64_t overcharged_orders = 0, overcharged = 0;
  int64_t exposure = 0;  // paid for what is under way at the moment asked, whenever paid

  void Add(const MoneyFigures& other);
  bool operator==(const MoneyFigures&) const = default;
};

struct Figures {
  int64_t order_count = 0;  // paid
  std::map<std::string, MoneyFigures> money;
  HitCount late;
  std::optional<HitCount> late_without_excuses;  // where a due order is excused and not counted
  int64_t days_late = 0, late_arrived = 0;       // whole days of those late ones that have arrived
  HitCount defect;                               // of orders whose promised day is over
  std::array<int64_t, kDefectKinds.size()> kinds{};
  HitCount mature_defect;  // of orders whose claim window is over
  int64_t unsettled = 0;   // due, and their day is not over
  TimesEstimate handling, transit, delivery, response;
  int64_t out_of_stock = 0;
  std::optional<double> order_share, money_share;                  // suppliers
  std::optional<double> order_concentration, money_concentration;  // lanes and all together
  // Some of its orders are no longer kept: what orders themselves tell (unsettled, out_of_stock;
  // of money refunds, claims, what is owed and overcharged) is not known, and 0 here.
  bool orders_gone = false;

  int64_t immature() const { return defect.orders - mature_defect.orders; }
  bool operator==(const Figures&) const = default;
};

// One of the late or defective shares against that of another period.
struct Change {
  enum class Against { kPeriodBefore, kYearAgo };
  enum class Verdict { kWorse, kBetter, kNoMoreThanChance, kTooThin };
  Measure measure = Measure::kOnTime;  // or kDefect, of mature orders
  Against against = Against::kPeriodBefore;
  HitCount now, then;
  std::optional<Comparison> comparison;  // none when too thin
  double adjusted_p = 1;
  Verdict verdict = Verdict::kTooThin;
  bool operator==(const Change&) const = default;
};

// Times of the period against those of an earlier one.
struct TimesChange {
  // Days late: of late orders, until they arrived, by whole days after the promised one. Delivery
  // is not looked at: it is handling and transit once more.
  enum class What { kHandling, kTransit, kResponse, kDaysLate };
  struct Counts {
    int64_t orders = 0, finished = 0;
    bool operator==(const Counts&) const = default;
  };
  What what = What::kHandling;
  Change::Against against = Change::Against::kPeriodBefore;
  Counts now = {}, then = {};
  std::optional<TimesComparison> comparison = {};  // none when too thin
  double adjusted_p = 1;
  Change::Verdict verdict = Change::Verdict::kTooThin;  // longer is worse
  bool operator==(const TimesChange&) const = default;
};

// An item whose orders are worse than the supplier's others.
struct SpoilingItem {
  std::string item;
  Measure measure = Measure::kOnTime;  // or kDefect
  HitCount own, others;
  Comparison comparison;
  double adjusted_p = 1;
};

// Orders due in the period that are excused for one reason.
struct ExcusedOrders {
  HitCount settled;  // late without the excuse
  int64_t orders = 0;
  Day first_due, last_due;

  void Add(const ExcusedOrders& other);
  bool operator==(const ExcusedOrders&) const = default;
};

// What is at stake with which orders: sums of what was paid for them.
enum class Stake { kLate, kDefect, kLost, kOutOfStock };
inline constexpr size_t kStakeCount = 4;

// What the orders cost beyond their price, in minor units of the costs' currency.
struct PeriodCosts {
  double late = 0, days_late = 0, defects = 0, lost = 0, unanswered = 0;
  int64_t unknown = 0;  // orders of which sale or cost could not be told

  void Add(const PeriodCosts& other);
  bool operator==(const PeriodCosts&) const = default;
};

// Hashed for the many that are counted; looked up without making a string.
struct TextHash : std::hash<std::string_view> {
  using is_transparent = void;
};
template <typename Value>
using ByText = std::unordered_map<std::string, Value, TextHash, std::equal_to<>>;

// An item of one supplier.
struct ItemCount {
  HitCount late, defect;
};

// Something to raise, or what went well.
struct Point {
  enum class Kind {
    kLate,
    kDefect,
    kLost,
    kOvercharged,
    kOwed,
    kOutOfStock,
    kSlowAnswers,
    kSlowHandling,
    kItem
  };
  Kind kind = Kind::kLate;
  bool good = false;
  std::string sentence;
  HitCount count;
  bool is_share = true;  // count is a share worth limits
  std::optional<Money> at_stake;
  bool by_costs = false;
  std::string item;
};

struct StakeSum {
  std::optional<Money> sum;        // none where nothing has a known worth
  std::set<std::string> left_out;  // currencies of what cannot be converted
  bool operator==(const StakeSum&) const = default;
};

struct CurvePoint {
  double days = 0, share = 0;
  bool operator==(const CurvePoint&) const = default;
};

struct Account {
  std::string supplier;           // "" = all suppliers
  std::optional<LaneQuery> lane;  // of a pair with its service, of a lane without; none = all lanes
  Figures period;
  std::optional<Figures> before, year_ago;  // none without any order
  std::vector<Change> changes;
  std::vector<TimesChange> times_changes;  // none without an earlier period
  std::vector<Point> points;
  StakeSum at_stake;  // of the points raised
  std::vector<TargetReading> targets;
  ByText<ItemCount> item_counts;  // suppliers, until they are judged: then empty
  std::vector<SpoilingItem> items;
  std::map<std::string, ExcusedOrders> excuses;     // by reason
  std::array<MoneySums, kStakeCount> paid_for;      // by Stake
  std::optional<PeriodCosts> costs;                 // with cost settings
  std::map<Day, HitCount> weeks;                    // by Monday
  std::vector<CurvePoint> transit, transit_before;  // all but pairs

  bool IsPair() const { return !supplier.empty() && lane; }
  bool IsSupplier() const { return !supplier.empty() && !lane; }
};

}  // namespace plumblane
