#include "orders/facts.h"

#include <algorithm>

namespace plumblane {
namespace {

bool ExcusesByItself(const Event& event) {
  return (event.type == EventType::kDisputed || event.type == EventType::kRefunded) &&
         (event.reason == Reason::kWrongAddress || event.reason == Reason::kRefused);
}

// Reads the events of one part, earliest first, and keeps the first word on everything.
class Reader {
 public:
  // Into `state`, which is new.
  Reader(int part, const FoldRules& rules, PartState& state) : rules_(rules), state_(state) {
    state_.part = part;
  }

  void Read(const Event& event) {
    ReadFacts(event);
    ReadPromise(event);
    ReadTime(event);
    if (ExcusesByItself(event) && state_.excuse.empty()) {
      state_.excuse = NameOf(event.reason);
      state_.excuse_kind = ExcuseKind::kCustomer;
    }
  }

  void Finish(const OrderKey& order, const ExcuseBook& excuses) {
    SettlePromise();
    SettleResponse();
    FindFaults();
    state_.withdrawn = Withdraws();
    const Excuse* excuse = excuses.Find(order, state_.part, state_.lane, state_.promised_day);
    if (excuse != nullptr && state_.excuse.empty()) {
      state_.excuse = excuse->reason;
      state_.excuse_kind = std::holds_alternative<ExcusedOrder>(excuse->subject)
                               ? ExcuseKind::kOrder
                               : ExcuseKind::kLaneDays;
    }
    std::sort(state_.tracking.begin(), state_.tracking.end());
    state_.tracking.erase(std::unique(state_.tracking.begin(), state_.tracking.end()),
                          state_.tracking.end());
    std::sort(state_.faults.begin(), state_.faults.end());
    state_.faults.erase(std::unique(state_.faults.begin(), state_.faults.end()),
                        state_.faults.end());
  }

  void AddFault(Fault fault) { state_.faults.push_back(fault); }

 private:
  static void First(std::string& fact, const std::string& said) {
    if (fact.empty()) fact = said;
  }
  template <typename T>
  static void First(std::optional<T>& fact, const std::optional<T>& said) {
    if (!fact) fact = said;
  }

  void ReadFacts(const Event& event) {
    First(state_.supplier, event.supplier);
    First(state_.lane.origin, event.origin);
    First(state_.lane.destination, event.destination);
    First(state_.lane.service, event.service);
    if (state_.item.empty()) state_.supplier_item = event.supplier_item;
    First(state_.item, event.item);
    First(state_.units, event.units);
    First(state_.cost, event.cost);
    First(state_.quoted, event.quoted);
    First(state_.sale, event.sale);
    First(state_.claim, event.claim);
    if (state_.replaces == 0) state_.replaces = event.replaces;
    if (!event.tracking.empty()) state_.tracking.push_back(event.tracking);
    if (!event.supplier.empty() && event.supplier != state_.supplier) {
      AddFault(Fault::kOtherSupplier);
    }
    const auto differs = [](const std::string& said, const std::string& fact) {
      return !said.empty() && said != fact;
    };
    if (differs(event.origin, state_.lane.origin) ||
        differs(event.destination, state_.lane.destination) ||
        differs(event.service, state_.lane.service)) {
      AddFault(Fault::kOtherLane);
    }
  }

  void ReadPromise(const Event& event) {
    if (!event.promise) return;
    std::optional<Promise>& first = event.promise_implied ? implied_ : explicit_;
    if (!first) first = {*event.promise, event.promise_implied, *event.promise >= event.time};
  }

  void ReadTime(const Event& event) {
    switch (event.type) {
      case EventType::kPaid:
        First(state_.paid, {event.time});
        break;
      case EventType::kShipped:
        First(state_.shipped, {event.time});
        break;
      case EventType::kDelivered:
        First(state_.delivered, {event.time});
        break;
      case EventType::kDisputed:
        if (!state_.disputed) state_.dispute_reason = event.reason;
        First(state_.disputed, {event.time});
        ReadDefect(event);
        break;
      case EventType::kAnswered:
        answers_.push_back(event.time);
        break;
      case EventType::kCancelled:
        if (!state_.cancelled) state_.cancel_reason = event.reason;
        First(state_.cancelled, {event.time});
        break;
      case EventType::kRefunded:
        ReadDefect(event);
        if (event.refund) {
          auto& refunds =
              event.refund_by_shop ? state_.refunds_by_shop : state_.refunds_by_supplier;
          refunds[event.refund->currency] += event.refund->minor_units;
        }
        if (!event.refund_by_shop) {
          First(state_.refunded_by_supplier, {event.time});
          supplier_refunds_.push_back(event.time);
        }
        break;
      case EventType::kRetracted:
        break;
    }
  }

  void ReadDefect(const Event& event) {
    const std::optional<Code> kind = DefectKind(event.reason);
    if (kind && !state_.defect) state_.defect = {event.time, *kind};
  }

  void SettlePromise() {
    state_.promise = explicit_ ? explicit_ : implied_;
    if (!state_.promise) return;
    if (!state_.promise->counted) {
      AddFault(Fault::kPromiseAfterTheFact);
    } else {
      state_.deadline = state_.promise->time + rules_.tolerance_millis;
      state_.promised_day = DayOf(*state_.deadline);
    }
  }

  void SettleResponse() {
    bool undisputed = false;
    for (const Instant time : answers_) {
      undisputed = undisputed || !state_.disputed || time < *state_.disputed;
    }
    if (undisputed) AddFault(Fault::kAnsweredUndisputed);
    if (!state_.disputed) return;
    answers_.insert(answers_.end(), supplier_refunds_.begin(), supplier_refunds_.end());
    for (const Instant time : answers_) {
      if (time >= *state_.disputed && (!state_.answered || time < *state_.answered)) {
        state_.answered = time;
      }
    }
  }

  void FindFaults() {
    const auto before = [](const std::optional<Instant>& a, const std::optional<Instant>& b) {
      return a && b && *a < *b;
    };
    if (before(state_.shipped, state_.paid)) AddFault(Fault::kShippedBeforePaid);
    if (before(state_.delivered, state_.paid)) AddFault(Fault::kDeliveredBeforePaid);
    if (before(state_.delivered, state_.shipped)) AddFault(Fault::kDeliveredBeforeShipped);
    if (before(state_.cancelled, state_.paid)) AddFault(Fault::kCancelledBeforePaid);
    if (before(state_.cancelled, state_.shipped) || before(state_.cancelled, state_.delivered)) {
      AddFault(Fault::kDeliveredAfterCancelled);
    }
  }

  bool Withdraws() const {
    if (!CancelledEarly(state_) || !state_.deadline) return false;
    return *state_.cancelled <= *state_.deadline && state_.cancel_reason != Reason::kOutOfStock &&
           state_.cancel_reason != Reason::kLate && state_.cancel_reason != Reason::kNotReceived;
  }

  const FoldRules& rules_;
  PartState& state_;
  std::optional<Promise> explicit_, implied_;
  std::vector<Instant> answers_, supplier_refunds_;
};

}  // namespace

void ReadPart(const OrderKey& order, int part, std::span<const Event* const> events,
              std::span<const Ignored> ignored, const FoldRules& rules, const ExcuseBook& excuses,
              PartState& state) {
  Reader reader(part, rules, state);
  for (size_t i = 0; i < events.size(); ++i) {
    if (ignored[i] == Ignored::kNo && events[i]->type != EventType::kRetracted) {
      reader.Read(*events[i]);
    }
  }
  for (size_t i = 0; i < events.size(); ++i) {
    if (events[i]->type != EventType::kRetracted || ignored[i] != Ignored::kNo) continue;
    for (size_t j = 0; j < events.size(); ++j) {
      // One of an older revision may be gone already.
      if (events[j]->type == EventType::kRetracted && ignored[j] != Ignored::kOlderRevision &&
          events[j]->source == events[i]->source && events[j]->event_id == events[i]->retracts) {
        reader.AddFault(Fault::kRetractsRetraction);
      }
    }
  }
  reader.Finish(order, excuses);
}

std::optional<Code> DefectKind(Reason reason) {
  switch (reason) {
    case Reason::kDamaged:
      return Code::kDamaged;
    case Reason::kQuality:
      return Code::kQuality;
    case Reason::kWrongItem:
      return Code::kWrongItem;
    case Reason::kMissingPart:
      return Code::kMissingPart;
    case Reason::kCounterfeit:
      return Code::kCounterfeit;
    case Reason::kUnsafe:
      return Code::kUnsafe;
    case Reason::kLost:
      return Code::kLost;
    default:
      return std::nullopt;
  }
}

bool CancelledEarly(const PartState& part) {
  return part.cancelled && !(part.shipped && *part.shipped < *part.cancelled) &&
         !(part.delivered && *part.delivered < *part.cancelled);
}

}  // namespace plumblane
