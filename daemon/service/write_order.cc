#include <absl/strings/str_cat.h>
#include <absl/strings/str_format.h>

#include <algorithm>

#include "cohorts/buckets.h"
#include "service/write_answer.h"

namespace plumblane {
namespace {

std::string Text(std::string_view text) { return std::string(text); }

std::string Days(uint32_t days) { return absl::StrCat(days, days == 1 ? " day" : " days"); }

std::string Span(uint32_t bucket) {
  const double seconds = BucketSeconds(bucket);
  if (seconds < 60) return "under a minute";
  if (seconds < 2 * 3600) return absl::StrFormat("about %.0f minutes", seconds / 60);
  if (seconds < 2 * 86400) return absl::StrFormat("about %.1f hours", seconds / 3600);
  return absl::StrFormat("about %.1f days", seconds / 86400);
}

// "wrong item".
std::string DefectName(Code kind) {
  std::string name(NameOfKind(kind));
  std::replace(name.begin(), name.end(), '_', ' ');
  return name;
}

// Whether the outcome lies within the watch of its cohort, as scores count it (scoring/moment.h).
bool IsKnown(const Entry& entry, const Outcome& outcome, Instant horizon) {
  const int64_t watch = horizon - EndOf(entry.day);
  const Measure measure = entry.measure;
  // Late is late from the end of the promised day on, whenever it is delivered.
  if (measure == Measure::kOnTime) return watch >= 0;
  const bool in_days = measure == Measure::kDefect;
  return (in_days ? outcome.bucket * kMillisPerDay : BucketEndMillis(outcome.bucket)) <= watch;
}

std::string DescribeOutcome(const Entry& entry, const Outcome& outcome) {
  const bool on_time = entry.measure == Measure::kOnTime;
  const bool in_days = entry.measure == Measure::kDefect;
  const std::string after =
      in_days ? Days(outcome.bucket) + " after that day" : "after " + Span(outcome.bucket);
  switch (outcome.code) {
    case Code::kDelivered:
      return on_time ? "delivered by the promise" : absl::StrCat("delivered ", after);
    case Code::kDeliveredLate:
      return outcome.bucket == 0 ? "delivered late, on the promised day"
                                 : absl::StrCat("delivered ", Days(outcome.bucket), " late");
    case Code::kShipped:
      return absl::StrCat("shipped ", after);
    case Code::kAnswered:
      return absl::StrCat("answered ", after);
    case Code::kLeft:
      return absl::StrCat("left without outcome ", after);
    case Code::kFault:
      return "not counted: its dates contradict each other";
    default:
      return absl::StrCat(Text(DefectName(outcome.code)), " ", after);
  }
}

// What became of the order in this measure, in words, as far as scores know it.
std::string DescribeEntry(const Entry& entry, Instant horizon) {
  const Measure measure = entry.measure;
  if (measure == Measure::kMoney) return "counted";
  const bool day_is_over = EndOf(entry.day) <= horizon;
  const std::string not_yet = "; not counted yet";
  if (!entry.outcomes.empty()) {
    const Outcome& outcome = entry.outcomes.front();
    const std::string words = DescribeOutcome(entry, outcome);
    if (outcome.code == Code::kFault || IsKnown(entry, outcome, horizon)) return words;
    // A loss is written ahead and is none before its day.
    if (measure != Measure::kDefect) return words + not_yet;
  }
  if (!day_is_over) return "counts when that day is over and news is in";
  if (measure == Measure::kOnTime) return "late";
  return measure == Measure::kDefect ? "none known" : "not yet";
}

std::string_view IgnoredWord(Ignored ignored) {
  switch (ignored) {
    case Ignored::kNo:
      return "";
    case Ignored::kRetracted:
      return "retracted";
    case Ignored::kOlderRevision:
      return "replaced by a later export";
  }
  return "";
}

void WriteMissing(const PartState& part, v1::OrderPart* out) {
  if (part.supplier.empty()) out->add_missing("supplier");
  if (part.lane.origin.empty()) out->add_missing("origin");
  if (part.lane.destination.empty()) out->add_missing("destination");
  if (!part.paid) out->add_missing("paid");
  if (!part.promise) out->add_missing("promise");
}

void WritePart(const PartState& part, v1::OrderPart* out) {
  out->set_part(part.part);
  out->set_supplier(part.supplier);
  out->set_origin(part.lane.origin);
  out->set_destination(part.lane.destination);
  out->set_service(part.lane.service);
  if (part.promise) {
    WriteTime(part.promise->time, out->mutable_promise_time());
    out->set_promise_ignored(!part.promise->counted);
    out->set_promise_implied(part.promise->implied);
  }
  if (part.paid) WriteTime(*part.paid, out->mutable_pay_time());
  if (part.shipped) WriteTime(*part.shipped, out->mutable_ship_time());
  if (part.delivered) WriteTime(*part.delivered, out->mutable_deliver_time());
  if (part.disputed) WriteTime(*part.disputed, out->mutable_dispute_time());
  if (part.answered) WriteTime(*part.answered, out->mutable_answer_time());
  if (part.cancelled) WriteTime(*part.cancelled, out->mutable_cancel_time());
  if (part.cost) WriteMoney(*part.cost, out->mutable_cost());
  if (part.quoted) WriteMoney(*part.quoted, out->mutable_quoted());
  if (part.sale) WriteMoney(*part.sale, out->mutable_sale());
  if (part.claim) WriteMoney(*part.claim, out->mutable_claim());
  for (const auto& [currency, sum] : part.refunds_by_supplier) {
    WriteMoney({sum, currency}, out->add_refunds_by_supplier());
  }
  for (const auto& [currency, sum] : part.refunds_by_shop) {
    WriteMoney({sum, currency}, out->add_refunds_by_shop());
  }
  out->set_item(part.item);
  out->set_supplier_item(part.supplier_item);
  if (part.units) out->set_unit_count(*part.units);
  out->set_replaces(part.replaces);
  if (!part.tracking.empty()) out->set_tracking(part.tracking.front());
  out->set_excuse(part.excuse);
  if (part.withdrawn) out->set_withdrawal("cancelled before the promise");
  for (const Fault fault : part.faults) out->add_faults(Text(Describe(fault)));
  WriteMissing(part, out);
}

void WriteCounts(const PartState& part, Instant horizon, v1::OrderPart* out) {
  for (const Entry& entry : part.entries) {
    const Measure measure = entry.measure;
    if (measure > Measure::kMoney) continue;  // tallies, not measures an order is judged by
    v1::Count* to = out->add_counts();
    to->set_measure(Text(MeasureName(measure)));
    to->set_day(FormatDay(entry.day));
    to->set_excused(entry.excused);
    to->set_outcome(DescribeEntry(entry, horizon));
  }
}

}  // namespace

void WriteEvent(const OrderKey& key, const Event& event, v1::Event* out) {
  out->set_event_id(event.event_id);
  out->set_source(event.source);
  out->set_shop(key.shop);
  out->set_order_id(key.order_id);
  out->set_part(event.part);
  out->set_type(static_cast<v1::EventType>(event.type));
  WriteTime(event.time, out->mutable_event_time());
  out->set_supplier(event.supplier);
  out->set_origin(event.origin);
  out->set_destination(event.destination);
  out->set_service(event.service);
  if (event.promise_days) {
    out->set_promise_days(*event.promise_days);
  } else if (event.promise && !event.promise_implied) {
    WriteTime(*event.promise, out->mutable_promise_time());
  }
  out->set_item(event.supplier_item.empty() ? event.item : event.supplier_item);
  if (event.units) out->set_unit_count(*event.units);
  if (event.cost) WriteMoney(*event.cost, out->mutable_cost());
  if (event.sale) WriteMoney(*event.sale, out->mutable_sale());
  out->set_replaces(event.replaces);
  out->set_tracking(event.tracking);
  out->set_reason(static_cast<v1::Reason>(event.reason));
  if (event.claim) WriteMoney(*event.claim, out->mutable_claim());
  if (event.refund) WriteMoney(*event.refund, out->mutable_refund());
  if (event.type == EventType::kRefunded) {
    out->set_refund_side(event.refund_by_shop ? v1::REFUND_SIDE_SHOP : v1::REFUND_SIDE_SUPPLIER);
  }
  out->set_retracts(event.retracts);
  if (event.revision) WriteTime(*event.revision, out->mutable_revision_time());
}

void WriteOrder(const OrderAnswer& answer, v1::Order* out) {
  out->set_shop(answer.key.shop);
  out->set_order_id(answer.key.order_id);
  std::map<int, v1::OrderPart*> parts;
  for (const PartState& part : answer.state.parts) {
    v1::OrderPart* to = out->add_parts();
    WritePart(part, to);
    WriteCounts(part, answer.horizon, to);
    parts[part.part] = to;
  }
  for (size_t i = 0; i < answer.events.size(); ++i) {
    v1::OrderEvent* to = parts.at(answer.events[i].part)->add_events();
    WriteEvent(answer.key, answer.events[i], to->mutable_event());
    to->set_ignored(Text(IgnoredWord(answer.ignored[i])));
  }
}

}  // namespace plumblane
