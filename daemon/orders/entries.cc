// Second half of the fold: what a part adds to the cohorts.
#include <algorithm>

#include "cohorts/buckets.h"
#include "orders/facts.h"

namespace plumblane {
namespace {

// Makes the entries of one part.
class Writer {
 public:
  Writer(const PartState& part, const FoldRules& rules) : part_(part), rules_(rules) {
    if (CancelledEarly(part)) left_ = part.cancelled;
    entries_.reserve(kMeasureCount);
  }

  std::vector<Entry> Take() { return std::move(entries_); }

  void OnTime() {
    if (!part_.promised_day || part_.withdrawn) return;
    Entry& entry = Enter(Measure::kOnTime, *part_.promised_day, true);
    if (!part_.delivered) return;
    if (*part_.delivered <= *part_.deadline) {
      entry.outcomes.push_back({Code::kDelivered, 0, 1});
    } else {
      entry.outcomes.push_back({Code::kDeliveredLate, DaysAfterPromise(*part_.delivered), 1});
    }
  }

  void Defect() {
    if (!part_.promised_day) return;
    Entry& entry = Enter(Measure::kDefect, *part_.promised_day, true);
    std::optional<Outcome> first;
    const auto consider = [&first](Code code, uint32_t delay) {
      if (!first || delay < first->bucket) first = {code, delay, 1};
    };
    if (part_.defect) consider(part_.defect->second, DaysAfterPromise(part_.defect->first));
    if (GivenUp()) consider(Code::kLost, LostAfter());
    if (left_) consider(Code::kLeft, DaysAfterPromise(*left_));
    if (first) entry.outcomes.push_back(*first);
  }

  void Handling() {
    if (!part_.paid) return;
    std::optional<Instant> left;
    if (left_ && part_.cancel_reason != Reason::kOutOfStock) left = left_;
    if (!part_.shipped && part_.delivered && (!left || *part_.delivered < *left)) {
      left = part_.delivered;
    }
    Duration(Measure::kHandling, *part_.paid, part_.shipped, Code::kShipped, left, false);
  }

  void Transit() {
    if (!part_.shipped) return;
    Duration(Measure::kTransit, *part_.shipped, part_.delivered, Code::kDelivered, {}, true);
  }

  void Delivery() {
    if (!part_.paid) return;
    Duration(Measure::kDelivery, *part_.paid, part_.delivered, Code::kDelivered, left_, true);
  }

  void Response() {
    if (!part_.disputed) return;
    Duration(Measure::kResponse, *part_.disputed, part_.answered, Code::kAnswered, {}, false);
  }

  void Money(const ReplacementCost& cost) {
    if (!part_.paid) return;
    Entry& entry = Enter(Measure::kMoney, DayOf(*part_.paid), false);
    const auto add = [&entry](Code code, const std::string& currency, int64_t minor_units) {
      if (minor_units == 0) return;
      entry.outcomes.push_back({code, PackCurrency(currency), minor_units});
    };
    if (part_.cost && !cost.own_counts_elsewhere) {
      add(Code::kCost, part_.cost->currency, part_.cost->minor_units);
      if (part_.quoted && part_.quoted->currency == part_.cost->currency) {
        add(Code::kQuotedOrders, part_.cost->currency, 1);
        add(Code::kQuotedCost, part_.cost->currency, part_.cost->minor_units);
        add(Code::kQuoted, part_.cost->currency, part_.quoted->minor_units);
      }
    }
    if (part_.promised_day) {
      const int days = std::max(0, *part_.promised_day - entry.day);
      entry.outcomes.push_back({Code::kPromised, static_cast<uint32_t>(days), 1});
    }
    if (part_.sale) add(Code::kSale, part_.sale->currency, part_.sale->minor_units);
    for (const auto& [currency, sum] : part_.refunds_by_supplier) {
      add(Code::kRefundBySupplier, currency, sum);
    }
    for (const auto& [currency, sum] : part_.refunds_by_shop) {
      add(Code::kRefundByShop, currency, sum);
    }
    if (part_.claim) add(Code::kClaim, part_.claim->currency, part_.claim->minor_units);
    for (const auto& [currency, sum] : cost.of_replacements) {
      add(Code::kReplacementCost, currency, sum);
    }
  }

  void Underway() {
    if (!part_.paid) return;
    const Day paid_day = DayOf(*part_.paid);
    Standing(Enter(Measure::kUnderway, paid_day, false), paid_day);
    if (!part_.promised_day) return;
    const Day due = std::max(*part_.promised_day, paid_day);
    Standing(Enter(Measure::kOverdue, due, false), due);
  }

  void Exposure() {
    if (!part_.paid || Closed()) return;
    const Day day = part_.promised_day.value_or(DayOf(kLatestInstant));
    Entry& entry = Enter(Measure::kExposure, day, false);
    if (part_.cost && part_.cost->minor_units != 0) {
      entry.outcomes.push_back(
          {Code::kCost, PackCurrency(part_.cost->currency), part_.cost->minor_units});
    }
  }

 private:
  Entry& Enter(Measure measure, Day day, bool may_be_excused) {
    Entry& entry = entries_.emplace_back();
    entry.measure = measure;
    entry.day = day;
    entry.excused = may_be_excused && !part_.excuse.empty();
    entry.entered = 1;
    return entry;
  }

  void Duration(Measure measure, Instant from, std::optional<Instant> to, Code code,
                std::optional<Instant> left, bool may_be_excused) {
    Entry& entry = Enter(measure, DayOf(from), may_be_excused);
    if (left && (!to || *left < *to)) {
      to = left;
      code = Code::kLeft;
    }
    if (!to) return;
    if (*to < from) {
      entry.entered = 0;
      entry.outcomes.push_back({Code::kFault, 0, 1});
    } else {
      entry.outcomes.push_back({code, BucketOf(*to - from), 1});
    }
  }

  // When the order stopped being under way, in whole days after the anchor.
  void Standing(Entry& entry, Day anchor) {
    const std::optional<Instant> closed = Closed();
    const auto days_after = [anchor](Day day) {
      return static_cast<uint32_t>(std::clamp(day - anchor, 0, 0xFFFE));
    };
    const uint32_t closed_day = closed ? days_after(DayOf(*closed)) : kNeverClosed;
    if (GivenUp()) {
      const uint32_t lost_day = days_after(*part_.promised_day + rules_.lost_after_days);
      if (lost_day < closed_day) {
        entry.outcomes.push_back({Code::kLost, PackLostThenClosed(lost_day, closed_day), 1});
        return;
      }
    }
    if (closed) entry.outcomes.push_back({Code::kClosed, closed_day, 1});
  }

  // When the first thing happened that ends being under way.
  std::optional<Instant> Closed() const {
    std::optional<Instant> closed;
    for (const auto& end : {part_.delivered, part_.cancelled, part_.refunded_by_supplier}) {
      if (end && (!closed || *end < *closed)) closed = end;
    }
    return closed;
  }

  // Undelivered for so long that it is lost, now or when its day comes.
  bool GivenUp() const {
    return part_.promised_day &&
           (!part_.delivered || DaysAfterPromise(*part_.delivered) > LostAfter());
  }
  uint32_t LostAfter() const { return static_cast<uint32_t>(rules_.lost_after_days); }
  uint32_t DaysAfterPromise(Instant t) const {
    return static_cast<uint32_t>(std::max(0, DayOf(t) - *part_.promised_day));
  }

  const PartState& part_;
  const FoldRules& rules_;
  std::vector<Entry> entries_;
  std::optional<Instant> left_;
};

}  // namespace

std::vector<Entry> EntriesOf(const PartState& part, const ReplacementCost& cost,
                             const FoldRules& rules) {
  if (!part.counts()) return {};
  Writer writer(part, rules);
  writer.OnTime();
  writer.Defect();
  writer.Handling();
  writer.Transit();
  writer.Delivery();
  writer.Response();
  writer.Money(cost);
  writer.Underway();
  writer.Exposure();
  return writer.Take();
}

}  // namespace plumblane
