#include "service/write_alert.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_format.h>
#include <absl/strings/str_join.h>

#include <algorithm>
#include <utility>
#include <vector>

#include "alerting/shared_cause.h"
#include "scoring/beta.h"
#include "service/write_answer.h"

namespace plumblane {
namespace {

constexpr size_t kMostContributors = 10;

std::string Percent(double share) { return absl::StrFormat("%.3g %%", 100 * share); }

bool HasChart(AlertMeasure measure) { return measure <= AlertMeasure::kDelivery; }

void WriteWatched(const WatchKey& key, const std::vector<Lane>& pooled, v1::Watched* out) {
  out->set_supplier_id(key.supplier);
  out->set_measure(std::string(NameOf(key.measure)));
  if (!key.supplier.empty()) return;
  out->mutable_lane()->set_origin(key.origin);
  out->mutable_lane()->set_destination(key.destination);
  for (const Lane& lane : pooled) {
    v1::Lane* one = out->add_pooled_lanes();
    one->set_origin(lane.origin);
    one->set_destination(lane.destination);
  }
}

std::string WhatHappened(AlertMeasure measure) {
  switch (measure) {
    case AlertMeasure::kOnTime:
      return "late";
    case AlertMeasure::kDefect:
      return "defective";
    case AlertMeasure::kHandling:
      return "not shipped within the usual time";
    case AlertMeasure::kDelivery:
      return "not delivered within the usual time";
    case AlertMeasure::kUnsafe:
      return "reported unsafe";
    case AlertMeasure::kCounterfeit:
      return "reported counterfeit";
    case AlertMeasure::kSilence:
      break;
  }
  return "";
}

// "orders of supplier lotus", "order on lane VN-DE".
std::string OrdersOf(const WatchKey& key, int64_t count) {
  return absl::StrCat(count == 1 ? "order" : "orders", key.supplier.empty() ? " on " : " of ",
                      NameOf(key));
}

// The days of the orders counted: up to the closing, with `counted` also those since, else up to
// the opening.
std::string DaysOf(const ToldAlert& alert, bool counted) {
  const bool by_promise =
      alert.key.measure == AlertMeasure::kOnTime || alert.key.measure == AlertMeasure::kDefect;
  const std::string changed =
      absl::StrCat(by_promise ? " due " : " paid ", counted && !alert.facts.closed ? "since " : "",
                   FormatDay(alert.facts.changed));
  if (counted && !alert.facts.closed) return changed;
  return absl::StrCat(changed, " to ",
                      FormatDay(counted ? *alert.facts.closed : alert.facts.opened));
}

std::string Sentence(const ToldAlert& alert, bool counted, const v1::Alert& out) {
  const AlertMeasure measure = alert.key.measure;
  const int64_t hits = out.hit_count(), orders = out.order_count();
  if (measure == AlertMeasure::kSilence) {
    return absl::StrCat("On ", out.open_date(), " nothing had been heard of ", NameOf(alert.key),
                        " since ", out.change_date(), ": ", hits,
                        " days, longer than usual, while ", orders,
                        orders == 1 ? " order" : " orders", " waited.");
  }
  const std::string happened = absl::StrCat(hits == 1 ? " was " : " were ", WhatHappened(measure));
  if (!HasChart(measure)) {
    return absl::StrCat(hits, " ", OrdersOf(alert.key, hits), happened,
                        hits == 1 ? " on " : ", the first on ", out.change_date(), ".");
  }
  return absl::StrCat(
      hits, " of ", orders, " ", OrdersOf(alert.key, orders), DaysOf(alert, counted), happened,
      ": ", Percent(out.rate_since()), " instead of ", Percent(out.rate_before()), ".",
      alert.facts.ending == Ending::kReturned ? " The rate has returned to normal." : "");
}

std::string Advice(const WatchKey& key) {
  switch (key.measure) {
    case AlertMeasure::kOnTime:
      if (key.IsPool()) {
        return "See whether one lane, supplier or service accounts for it; if all do, promise "
               "longer times on these lanes.";
      }
      if (key.supplier.empty()) {
        return "See whether one supplier or service accounts for it; if all do, promise longer "
               "times on this lane.";
      }
      return "Ask the supplier; until it has recovered, give its orders to others or pause it.";
    case AlertMeasure::kDefect:
      return "Look at the claims since the change, ask for the cause, and claim what is due.";
    case AlertMeasure::kHandling:
      return "Ask what holds up shipping while promises can still be kept; warn customers who "
             "wait.";
    case AlertMeasure::kDelivery:
      return "Ask the carrier; warn customers who wait, and promise longer times for now.";
    case AlertMeasure::kUnsafe:
    case AlertMeasure::kCounterfeit:
      return "Pause the supplier, stop what is under way, and look at the item.";
    case AlertMeasure::kSilence:
      return "See whether its feed still comes; if it does, ask the supplier about its open "
             "orders.";
  }
  return "";
}

void WriteContributors(const AlertEvidence& evidence, v1::Alert* out) {
  for (const AlertShare& share : evidence.shares) {
    if (static_cast<size_t>(out->contributors_size()) == kMostContributors) return;
    v1::Contributor* one = out->add_contributors();
    one->set_supplier_id(share.pair.supplier);
    one->mutable_lane()->set_origin(share.pair.lane.origin);
    one->mutable_lane()->set_destination(share.pair.lane.destination);
    one->mutable_lane()->set_service(share.pair.lane.service);
    one->set_order_count(share.orders);
    one->set_hit_count(share.hits);
    if (evidence.hits > 0) {
      one->set_share(static_cast<double>(share.hits) / static_cast<double>(evidence.hits));
    }
  }
}

}  // namespace

v1::Alert::State StateOf(const ToldAlert& alert, Day today) {
  if (alert.unfounded) return v1::Alert::STATE_REVISED_AWAY;
  if (alert.facts.ending == Ending::kReturned) return v1::Alert::STATE_RETURNED_TO_NORMAL;
  if (alert.facts.ending == Ending::kAccepted) return v1::Alert::STATE_ACCEPTED;
  if (alert.is_shelved(today)) return v1::Alert::STATE_SHELVED;
  // A shelf that has ended ends what was acknowledged before it, told already or not.
  if (alert.acknowledged && !alert.shelved_until) return v1::Alert::STATE_ACKNOWLEDGED;
  return v1::Alert::STATE_ACTIVE;
}

std::string NameOf(const WatchKey& key) {
  if (!key.supplier.empty()) return absl::StrCat("supplier ", key.supplier);
  if (key.origin.empty()) return absl::StrCat("slow lanes to ", key.destination);
  if (key.destination.empty()) return absl::StrCat("slow lanes from ", key.origin);
  return absl::StrCat("lane ", key.origin, "-", key.destination);
}

std::map<std::string, std::string> SharedCauses(const AlertsTold& told,
                                                double false_alarms_a_year) {
  std::vector<Day> opened;
  std::vector<const std::string*> ids;
  for (const auto& [id, alert] : told.by_id) {
    if (alert.unfounded || !HasChart(alert.key.measure)) continue;
    opened.push_back(alert.facts.opened);
    ids.push_back(&id);
  }
  std::map<std::string, std::string> words;
  for (const SharedCause& cause : GroupAlerts(opened, false_alarms_a_year)) {
    const std::string text =
        absl::StrCat(cause.alerts.size(), " alerts opened from ", FormatDay(cause.first), " to ",
                     FormatDay(cause.last), ": more than by chance, so probably of one cause");
    for (const size_t at : cause.alerts) words[*ids[at]] = text;
  }
  return words;
}

std::string SameOrders(const std::string& id, const ToldAlert& alert, const AlertEvidence& evidence,
                       const AlertsTold& told) {
  std::vector<std::string> others;
  const auto ends_before = [](const ToldAlert& one, Day day) {
    return one.facts.closed && *one.facts.closed < day;
  };
  for (const auto& [other_id, other] : told.by_id) {
    if (other_id == id || other.unfounded || !HasChart(other.key.measure)) continue;
    if (ends_before(other, alert.facts.changed) || ends_before(alert, other.facts.changed))
      continue;
    int64_t hits = 0;
    for (const AlertShare& share : evidence.shares) {
      if (other.Covers(share.pair)) hits += share.hits;
    }
    if (hits == 0 || 2 * hits < evidence.hits) continue;
    others.push_back(absl::StrCat(other_id, " (", NameOf(other.key), ", ",
                                  WhatHappened(other.key.measure), ")"));
  }
  if (others.empty()) return "";
  return absl::StrCat("perhaps the same matter as ", absl::StrJoin(others, ", "),
                      ": at least half of these orders are watched there too");
}

void WriteAlert(const std::string& id, const ToldAlert& alert, const AlertEvidence* evidence,
                const std::string& shared_cause, Day today, v1::Alert* out) {
  out->set_alert_id(id);
  WriteWatched(alert.key, alert.pooled, out->mutable_watched());
  out->set_state(StateOf(alert, today));
  // A report made before the promised day is counted on it.
  const Day raised = DayOf(alert.raise_time);
  out->set_change_date(FormatDay(std::min(alert.facts.changed, raised)));
  out->set_open_date(FormatDay(std::min(alert.facts.opened, raised)));
  if (alert.facts.closed) out->set_close_date(FormatDay(*alert.facts.closed));
  WriteTime(alert.raise_time, out->mutable_raise_time());
  WriteTime(alert.update_time, out->mutable_update_time());
  const bool counted = evidence != nullptr && evidence->orders > 0;
  out->set_order_count(counted ? evidence->orders : alert.facts.orders);
  out->set_hit_count(counted ? evidence->hits : alert.facts.hits);
  if (HasChart(alert.key.measure) && out->order_count() > 0) {
    const auto hits = static_cast<double>(out->hit_count());
    const auto orders = static_cast<double>(out->order_count());
    const Interval limits = WilsonLimits(hits, orders);
    out->set_rate_before(alert.chart.normal_rate);
    out->set_rate_since(hits / orders);
    out->set_rate_since_low(limits.low);
    out->set_rate_since_high(limits.high);
    out->set_false_alarms_a_year(alert.chart.false_alarms_a_year);
    out->set_days_to_hear(alert.chart.days_to_hear);
  }
  if (evidence != nullptr) WriteContributors(*evidence, out);
  out->set_sentence(Sentence(alert, counted, *out));
  out->set_advice(Advice(alert.key));
  out->set_shared_cause(shared_cause);
  out->set_note(alert.note);
  if (alert.shelved_until) out->set_shelved_until_date(FormatDay(*alert.shelved_until));
  out->set_revision(alert.revision);
  out->set_quiet(alert.quiet);
}

void WriteNotice(int64_t cursor, const AlertNotice& notice, const ToldAlert& after,
                 v1::AlertNotice* out) {
  static constexpr v1::AlertNotice::Kind kKinds[] = {v1::AlertNotice::KIND_RAISED,
                                                     v1::AlertNotice::KIND_REVISED,
                                                     v1::AlertNotice::KIND_RETURNED_TO_NORMAL,
                                                     v1::AlertNotice::KIND_ACKNOWLEDGED,
                                                     v1::AlertNotice::KIND_SHELVED,
                                                     v1::AlertNotice::KIND_ACCEPTED,
                                                     v1::AlertNotice::KIND_ACTIVE_AGAIN};
  out->set_cursor(cursor);
  WriteTime(notice.time, out->mutable_notice_time());
  out->set_kind(kKinds[static_cast<size_t>(notice.kind) - 1]);
  WriteAlert(notice.alert_id, after, nullptr, "", DayOf(notice.time), out->mutable_alert());
}

void WriteWatch(const AlertBook::Shown& shown, v1::Watch* out) {
  WriteWatched(shown.key, shown.pooled, out->mutable_watched());
  if (!shown.plan) {
    out->set_idle(true);
    out->set_reason(
        shown.next_day
            ? absl::StrCat("too little is known yet; looked at again with the orders of ",
                           FormatDay(*shown.next_day))
            : "no order yet");
    return;
  }
  out->set_normal_rate(shown.plan->normal);
  out->set_yearly_orders(shown.plan->yearly_orders);
  out->set_false_alarms_a_year(shown.plan->FalseAlarmsAYear());
  if (shown.plan->yearly_orders > 0) out->set_days_to_hear(shown.plan->DaysToHear());
  out->set_warning(shown.warning);
}

}  // namespace plumblane
