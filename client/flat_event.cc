#include "client/flat_event.h"

#include <absl/status/statusor.h>
#include <absl/strings/str_cat.h>

#include "base/money.h"
#include "client/flat_fields.h"
#include "client/text.h"
#include "client/words.h"

namespace plumblane::client {
namespace {

using Outcome = std::optional<Complaint>;

Complaint Missing(const std::string& field, const std::string& expected) {
  return {"MISSING_FIELD", field, expected};
}

Outcome SetMoney(const std::optional<Cell>& amount, const std::string& currency, v1::Money* to) {
  const absl::StatusOr<Money> money = ParseMoney(amount->value, currency);
  if (!money.ok()) return BadValue(*amount, std::string(money.status().message()));
  if (money->minor_units < 0) {
    return BadValue(*amount,
                    "expected an amount that is not below 0; `type` says which way it goes");
  }
  to->set_minor_units(money->minor_units);
  to->set_currency_code(money->currency);
  return std::nullopt;
}

Outcome SetAmounts(const Amounts& amounts, v1::Event& event) {
  const std::string& currency = amounts.currency;
  if (!currency.empty() && !ParseMoney("0", currency).ok()) {
    return BadValue({"currency", currency}, "expected an ISO 4217 currency such as EUR");
  }
  const std::pair<const std::optional<Cell>&, v1::Money* (v1::Event::*)()> all[] = {
      {amounts.cost, &v1::Event::mutable_cost},
      {amounts.sale, &v1::Event::mutable_sale},
      {amounts.claim, &v1::Event::mutable_claim},
      {amounts.refund, &v1::Event::mutable_refund}};
  for (const auto& [amount, field] : all) {
    if (!amount) continue;
    if (currency.empty()) {
      return Missing("currency",
                     absl::StrCat("expected the currency of `", amount->field, "`, such as EUR"));
    }
    if (Outcome bad = SetMoney(amount, currency, (event.*field)())) return bad;
  }
  return std::nullopt;
}

// What an event of any type must say.
Outcome CheckRequired(const Draft& draft) {
  const v1::Event& event = draft.event;
  if (event.event_id().empty()) {
    return Missing("event_id",
                   "expected an id that is this event's own within its source, so that "
                   "sending it twice changes nothing");
  }
  if (event.type() == v1::EVENT_TYPE_UNSPECIFIED) {
    return Missing("type", "expected what happened, such as paid or delivered");
  }
  if (!event.has_event_time() && !draft.date) {
    return Missing("time", "expected when it happened, such as 2026-03-05T14:00:00+01:00");
  }
  if (!event.order_id().empty()) return std::nullopt;
  if (event.type() != v1::EVENT_TYPE_DELIVERED) {
    return Missing("order_id", "expected the order it happened to");
  }
  if (event.tracking().empty()) {
    return Missing("order_id", "expected the order that was delivered, or its `tracking`");
  }
  return std::nullopt;
}

Outcome CheckBelongs(bool is_set, bool belongs, const std::string& field,
                     const std::string& types) {
  if (!is_set || belongs) return std::nullopt;
  return Complaint{"FIELD_CONFLICT", field,
                   absl::StrCat("goes with ", types, " only; leave it empty here")};
}

// Fields that say nothing on an event of this type.
Outcome CheckTypeFields(const v1::Event& event) {
  const v1::EventType type = event.type();
  const bool disputed = type == v1::EVENT_TYPE_DISPUTED, refunded = type == v1::EVENT_TYPE_REFUNDED,
             cancelled = type == v1::EVENT_TYPE_CANCELLED,
             retracted = type == v1::EVENT_TYPE_RETRACTED;
  const bool moves = type == v1::EVENT_TYPE_SHIPPED || type == v1::EVENT_TYPE_DELIVERED;
  if (auto bad =
          CheckBelongs(event.reason() != v1::REASON_UNSPECIFIED, disputed || refunded || cancelled,
                       "reason", "disputed, refunded and cancelled")) {
    return bad;
  }
  if (auto bad = CheckBelongs(event.has_claim(), disputed, "claim", "disputed")) return bad;
  if (auto bad = CheckBelongs(event.has_refund(), refunded, "refund", "refunded")) return bad;
  if (auto bad = CheckBelongs(event.refund_side() != v1::REFUND_SIDE_UNSPECIFIED, refunded, "by",
                              "refunded")) {
    return bad;
  }
  if (auto bad = CheckBelongs(!event.retracts().empty(), retracted, "retracts", "retracted")) {
    return bad;
  }
  if (auto bad =
          CheckBelongs(!event.tracking().empty(), moves, "tracking", "shipped and delivered")) {
    return bad;
  }
  if (retracted && event.retracts().empty()) {
    return Missing("retracts", "expected the event_id that is taken back");
  }
  return std::nullopt;
}

Outcome CheckFacts(const Draft& draft) {
  const v1::Event& event = draft.event;
  if (event.has_promise_days() && (event.has_promise_time() || draft.promise_date)) {
    return Complaint{"FIELD_CONFLICT", "promise_days",
                     "give `promise` or `promise_days`, not both"};
  }
  const int part = event.part() == 0 ? 1 : event.part();
  if (event.replaces() >= part) {
    return Complaint{"FIELD_CONFLICT", "replaces",
                     absl::StrCat("a part replaces an earlier one: expected less than part ", part,
                                  ", not ", event.replaces())};
  }
  return std::nullopt;
}

void FillDefaults(const EventDefaults& defaults, Draft& draft) {
  v1::Event& event = draft.event;
  draft.says_shop = !event.shop().empty();
  if (event.shop().empty()) event.set_shop(defaults.shop);
  if (event.source().empty()) event.set_source(defaults.source);
  const bool promised = event.has_promise_days() || event.has_promise_time() || draft.promise_date;
  if (event.type() == v1::EVENT_TYPE_PAID && !promised && defaults.promise_days) {
    event.set_promise_days(*defaults.promise_days);
  }
  if (event.type() != v1::EVENT_TYPE_DELIVERED) return;
  if (event.order_id().empty()) draft.find_by = event.tracking();
  event.clear_tracking();
}

}  // namespace

std::optional<Complaint> CheckFieldName(const std::string& name) {
  if (SetterOf(name) != nullptr) return std::nullopt;
  const std::string meant = DidYouMean(name, Strings(EventFields()));
  return Complaint{"UNKNOWN_FIELD", name,
                   absl::StrCat("unknown field ", Quoted(name),
                                meant.empty() ? "; leave it out: only what is named in \"plumblane "
                                                "send --help\" is kept, and no customer's data"
                                              : meant)};
}

std::optional<Complaint> ReadEvent(const Row& row, const EventDefaults& defaults, Draft& draft) {
  draft.line = row.line;
  draft.text = row.text;
  Amounts amounts;
  for (const Cell& cell : row.cells) {
    const SetField set = SetterOf(cell.field);
    if (set == nullptr) return CheckFieldName(cell.field);
    if (cell.kind == Cell::Kind::kOther) return BadValue(cell, "expected a text or a number");
    if (Outcome bad = set(cell, draft, amounts)) return bad;
  }
  if (Outcome bad = CheckRequired(draft)) return bad;
  if (Outcome bad = SetAmounts(amounts, draft.event)) return bad;
  if (Outcome bad = CheckTypeFields(draft.event)) return bad;
  if (Outcome bad = CheckFacts(draft)) return bad;
  FillDefaults(defaults, draft);
  return std::nullopt;
}

}  // namespace plumblane::client
