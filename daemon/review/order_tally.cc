#include "review/order_tally.h"

#include <algorithm>

#include "orders/standing.h"

namespace plumblane {
namespace {

constexpr double kMillisPerDayReal = static_cast<double>(kMillisPerDay);

const Entry* EntryOf(const PartState& part, Measure measure) {
  const auto found = std::find_if(part.entries.begin(), part.entries.end(),
                                  [&](const Entry& one) { return one.measure == measure; });
  return found == part.entries.end() ? nullptr : &*found;
}

// Calls `visit` with each refund of the part that has happened by the last day that counts.
template <typename Visit>
void VisitRefunds(const std::vector<Event>& events, const PartState& part, Day last,
                  const Visit& visit) {
  if (part.refunds_by_supplier.empty() && part.refunds_by_shop.empty()) return;
  const std::vector<Ignored> ignored = EventsInEffect(events);
  for (size_t i = 0; i < events.size(); ++i) {
    const Event& event = events[i];
    if (event.part == part.part && event.type == EventType::kRefunded && event.refund &&
        ignored[i] == Ignored::kNo && DayOf(event.time) <= last) {
      visit(event);
    }
  }
}

void AddDelivery(const PartState& part, const Moment& moment, PartOutcome& outcome) {
  outcome.due = part.promised_day;
  outcome.on_time_counts = !part.withdrawn;
  outcome.settled = EndOf(*part.promised_day) <= moment.horizon;
  if (!outcome.settled || part.withdrawn) return;
  outcome.late = !part.delivered || *part.deadline < *part.delivered;
  if (!outcome.late) return;
  const int over = static_cast<int>((moment.horizon - EndOf(*part.promised_day)) / kMillisPerDay);
  const int days = part.delivered ? std::max(0, DayOf(*part.delivered) - *part.promised_day) : over;
  outcome.arrived = part.delivered && days <= over;
  outcome.days_late = std::min(days, over);
}

// Known by now, and within the claim window.
std::optional<Code> DefectOf(const PartState& part, const ReviewRules& rules) {
  const Entry* entry = EntryOf(part, Measure::kDefect);
  if (entry == nullptr || entry->outcomes.empty()) return std::nullopt;
  const Outcome& first = entry->outcomes.front();
  const int64_t watch = rules.moment.horizon - EndOf(entry->day);
  if (!IsDefect(first.code) || watch < 0) return std::nullopt;
  const int64_t last = std::min<int64_t>(watch / kMillisPerDay, rules.claim_window_days);
  return first.bucket <= last ? std::optional(first.code) : std::nullopt;
}

void AddPayment(const PartState& part, const ReviewRules& rules, PartOutcome& outcome) {
  const Moment& moment = rules.moment;
  const auto happened = [&](const std::optional<Instant>& time) {
    return time && DayOf(*time) <= moment.underway_limit;
  };
  outcome.paid = DayOf(*part.paid);
  outcome.out_of_stock = happened(part.cancelled) && part.cancel_reason == Reason::kOutOfStock;
  outcome.under_way = !happened(part.delivered) && !happened(part.cancelled) &&
                      !happened(part.refunded_by_supplier) &&
                      !IsGivenUp(part, {.lost_after_days = rules.lost_after_days}, moment.horizon);
  const Entry* money = EntryOf(part, Measure::kMoney);
  const auto has_quote = [](const Outcome& one) { return one.code == Code::kQuotedOrders; };
  if (money != nullptr && std::any_of(money->outcomes.begin(), money->outcomes.end(), has_quote) &&
      part.quoted->minor_units < part.cost->minor_units) {
    outcome.overcharged =
        Money{part.cost->minor_units - part.quoted->minor_units, part.cost->currency};
  }
}

// The reason, or where it is not for others its kind.
std::string ExcuseOf(const PartState& part, const ReviewRules& rules) {
  if (!rules.hides_notes || part.excuse_kind == ExcuseKind::kCustomer) return part.excuse;
  if (part.excuse_kind == ExcuseKind::kNone) return "";
  return part.excuse_kind == ExcuseKind::kOrder ? "single orders" : "days on this lane";
}

}  // namespace

PartOutcome OutcomeOf(const std::vector<Event>& events, const PartState& part,
                      const ReviewRules& rules) {
  const Moment& moment = rules.moment;
  PartOutcome outcome;
  // What was paid after the moment asked was not there yet.
  if (part.paid && moment.underway_limit < DayOf(*part.paid)) return outcome;
  outcome.excuse = ExcuseOf(part, rules);
  if (part.promised_day) {
    AddDelivery(part, moment, outcome);
    outcome.defect = DefectOf(part, rules);
  }
  if (part.paid) AddPayment(part, rules, outcome);
  VisitRefunds(events, part, moment.underway_limit, [&](const Event& event) {
    if (event.refund_by_shop) return;
    outcome.refunded[event.refund->currency] += event.refund->minor_units;
  });
  if (part.disputed && part.claim && DayOf(*part.disputed) <= moment.underway_limit) {
    outcome.claimed = DayOf(*part.disputed);
    const auto refunded = outcome.refunded.find(part.claim->currency);
    const int64_t owed =
        part.claim->minor_units - (refunded == outcome.refunded.end() ? 0 : refunded->second);
    if (owed > 0) outcome.owed = Money{owed, part.claim->currency};
  }
  return outcome;
}

PartState KnownBy(PartState part, Day last) {
  for (std::optional<Instant>* time : {&part.paid, &part.shipped, &part.delivered, &part.disputed,
                                       &part.answered, &part.cancelled}) {
    if (*time && last < DayOf(**time)) time->reset();
  }
  if (!part.disputed) part.claim.reset();
  return part;
}

std::vector<std::string_view> FindingsOf(const PartOutcome& outcome, const Period& period) {
  std::vector<std::string_view> findings;
  if (outcome.due && period.Contains(*outcome.due)) {
    if (outcome.late) findings.push_back("late");
    if (outcome.defect) findings.push_back(NameOfKind(*outcome.defect));
  }
  if (outcome.paid && period.Contains(*outcome.paid)) {
    if (outcome.overcharged) findings.push_back("overcharged");
    if (outcome.out_of_stock) findings.push_back("out_of_stock");
  }
  if (outcome.owed && period.Contains(*outcome.claimed)) findings.push_back("owed");
  return findings;
}

void OrderFigures::Add(const OrderFigures& other) {
  for (size_t i = 0; i < in.size(); ++i) {
    in[i].out_of_stock += other.in[i].out_of_stock;
    in[i].unsettled += other.in[i].unsettled;
    for (const auto& [currency, sums] : other.in[i].money) in[i].money[currency].Add(sums);
  }
  for (const auto& [reason, orders] : other.excuses) excuses[reason].Add(orders);
  for (size_t i = 0; i < paid_for.size(); ++i) {
    for (const auto& [currency, sum] : other.paid_for[i]) paid_for[i][currency] += sum;
  }
  costs.Add(other.costs);
}

void OrderFigures::InPeriod::PutInto(Figures& figures) const {
  for (const auto& [currency, sums] : money) {
    if (!figures.orders_gone) {
      figures.money[currency].Add(sums);
    } else if (sums.exposure != 0) {
      figures.money[currency].exposure += sums.exposure;
    }
  }
  if (figures.orders_gone) return;
  figures.out_of_stock = out_of_stock;
  figures.unsettled = unsettled;
}

void OrderSums::Add(OrderSums other) {
  for (const auto& [pair, figures] : other.pairs) pairs[pair].Add(figures);
  for (auto& [supplier, counts] : other.items) {
    ByText<ItemCount>& own = items[supplier];
    own.merge(counts);  // leaves those that both have
    for (const auto& [item, count] : counts) {
      own[item].late.Add(count.late);
      own[item].defect.Add(count.defect);
    }
  }
}

OrderTally::Plain OrderTally::LookAt(const PlainOrder& order, const FoldRules& fold) const {
  const Moment& moment = rules_.moment;
  const auto happened = [&](Instant time) { return DayOf(time) <= moment.underway_limit; };
  const bool counts =
      !order.supplier.empty() && !order.origin.empty() && !order.destination.empty();
  if (!counts || !order.delivered || !happened(*order.delivered) ||
      (order.paid && !happened(*order.paid))) {
    return Plain::kMore;
  }
  if (order.quoted && order.cost &&
      (order.quoted->currency != order.cost->currency ||
       order.quoted->minor_units < order.cost->minor_units)) {
    return Plain::kMore;
  }
  if (!order.promise || !order.promise->counted) return Plain::kNothing;
  const Instant deadline = order.promise->time + fold.tolerance_millis;
  const Day due = DayOf(deadline);
  if (deadline < *order.delivered || moment.horizon < EndOf(due)) return Plain::kMore;
  const Period& period = periods_[static_cast<size_t>(Which::kPeriod)];
  return period.Contains(due) ? Plain::kOnTime : Plain::kNothing;
}

ItemCount& OrderTally::ItemOf(std::string_view supplier, std::string_view item) {
  auto counts = sums_.items.find(supplier);
  if (counts == sums_.items.end()) counts = sums_.items.try_emplace(std::string(supplier)).first;
  auto count = counts->second.find(item);
  if (count == counts->second.end()) count = counts->second.try_emplace(std::string(item)).first;
  return count->second;
}

void OrderTally::AddOnTime(std::string_view supplier, std::string_view item) {
  ItemCount& count = ItemOf(supplier, item);
  count.late.Add({1, 0});
  count.defect.Add({1, 0});
}

void OrderTally::Add(const OrderKey& order, const std::vector<Event>& events,
                     const PartState& part) {
  const PartOutcome outcome = OutcomeOf(events, part, rules_);
  OrderFigures& figures = sums_.pairs[{part.supplier, part.lane}];
  for (size_t i = 0; i < kPeriodCount; ++i) {
    if (outcome.due && outcome.on_time_counts && !outcome.settled &&
        periods_[i].Contains(*outcome.due)) {
      ++figures.in[i].unsettled;
    }
    if (outcome.out_of_stock && periods_[i].Contains(*outcome.paid)) ++figures.in[i].out_of_stock;
  }
  AddMoney(events, part, outcome, figures);
  const Period& period = periods_[static_cast<size_t>(Which::kPeriod)];
  if (outcome.due && period.Contains(*outcome.due)) AddDue(part, outcome, figures);
  if (outcome.out_of_stock && period.Contains(*outcome.paid) && part.cost) {
    figures.paid_for[static_cast<size_t>(Stake::kOutOfStock)][part.cost->currency] +=
        part.cost->minor_units;
  }
  if (agreements_ != nullptr) AddCosts(order, part, outcome, figures.costs);
}

void OrderTally::AddMoney(const std::vector<Event>& events, const PartState& part,
                          const PartOutcome& outcome, OrderFigures& figures) const {
  const auto in_periods = [&](Day day, const std::string& currency, const auto& change) {
    for (size_t i = 0; i < kPeriodCount; ++i) {
      if (periods_[i].Contains(day)) change(figures.in[i].money[currency]);
    }
  };
  VisitRefunds(events, part, rules_.moment.underway_limit, [&](const Event& event) {
    in_periods(DayOf(event.time), event.refund->currency, [&](MoneyFigures& money) {
      (event.refund_by_shop ? money.refunded_by_shop : money.refunded_by_supplier) +=
          event.refund->minor_units;
    });
  });
  if (outcome.claimed) {
    in_periods(*outcome.claimed, part.claim->currency, [&](MoneyFigures& money) {
      money.claimed += part.claim->minor_units;
      money.owed += outcome.owed ? outcome.owed->minor_units : 0;
      money.owed_orders += outcome.owed ? 1 : 0;
    });
  }
  if (outcome.overcharged) {
    in_periods(*outcome.paid, outcome.overcharged->currency, [&](MoneyFigures& money) {
      ++money.overcharged_orders;
      money.overcharged += outcome.overcharged->minor_units;
    });
  }
  if (outcome.under_way && part.cost) {
    figures.in[static_cast<size_t>(Which::kPeriod)].money[part.cost->currency].exposure +=
        part.cost->minor_units;
  }
}

void OrderTally::AddDue(const PartState& part, const PartOutcome& outcome, OrderFigures& figures) {
  if (!part.excuse.empty()) {
    if (!outcome.on_time_counts) return;
    const HitCount settled{outcome.settled ? 1 : 0, outcome.late ? 1 : 0};
    figures.excuses[outcome.excuse].Add({settled, 1, *outcome.due, *outcome.due});
    return;
  }
  if (!outcome.settled) return;
  ItemCount& item = ItemOf(part.supplier, part.item);
  if (outcome.on_time_counts) item.late.Add({1, outcome.late ? 1 : 0});
  item.defect.Add({1, outcome.defect ? 1 : 0});
  if (!part.cost) return;
  const auto stake = [&](Stake what) {
    figures.paid_for[static_cast<size_t>(what)][part.cost->currency] += part.cost->minor_units;
  };
  // What is lost is late as well, and counts once.
  const bool lost = outcome.defect == Code::kLost;
  if (outcome.late && !lost) stake(Stake::kLate);
  if (outcome.defect) stake(lost ? Stake::kLost : Stake::kDefect);
}

void OrderTally::AddCosts(const OrderKey& order, const PartState& part, const PartOutcome& outcome,
                          PeriodCosts& costs) const {
  const Moment& moment = rules_.moment;
  const Period& period = periods_[static_cast<size_t>(Which::kPeriod)];
  const CostClass* settings =
      agreements_->costs.Find(order.shop, agreements_->items.ClassOf(part.item));
  if (settings == nullptr) return;
  const bool answered = part.answered && DayOf(*part.answered) <= moment.underway_limit;
  if (part.disputed && DayOf(*part.disputed) <= moment.underway_limit &&
      period.Contains(DayOf(*part.disputed))) {
    const Instant until = answered ? *part.answered : moment.now;
    costs.unanswered += static_cast<double>(std::max<int64_t>(0, until - *part.disputed)) /
                        kMillisPerDayReal * static_cast<double>(settings->unanswered_day);
  }
  if (!part.excuse.empty() || !outcome.settled || !period.Contains(*outcome.due)) return;
  const bool lost = outcome.defect == Code::kLost;
  if (outcome.late && !lost) {
    costs.late += static_cast<double>(settings->late_order);
    costs.days_late += outcome.days_late * static_cast<double>(settings->day_late);
  }
  if (!outcome.defect) return;
  const DefectCost& defect = settings->defects[IndexOfKind(*outcome.defect)];
  const auto in_currency = [&](const std::optional<Money>& money) -> std::optional<double> {
    if (!money) return std::nullopt;
    const auto converted =
        agreements_->exchange.Convert(*money, agreements_->costs.currency, DayOf(moment.now));
    if (!converted.ok()) return std::nullopt;
    return static_cast<double>(converted->money.minor_units);
  };
  std::optional<double> sale = in_currency(part.sale);
  if (!sale && settings->sale) sale = static_cast<double>(*settings->sale);
  const std::optional<double> cost = in_currency(part.cost);
  if ((defect.refund_share > 0 && !sale) || (defect.reship && !cost)) {
    ++costs.unknown;
    return;
  }
  (lost ? costs.lost : costs.defects) +=
      defect.refund_share * sale.value_or(0) + (defect.reship ? *cost : 0);
}

}  // namespace plumblane
