#include "service/write_alert.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_format.h>

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
      return "came late";
    case AlertMeasure::kDefect:
      return "were defective";
    case AlertMeasure::kHandling:
      return "were not shipped within the usual time";
    case AlertMeasure::kDelivery:
      return "were not delivered within the usual time";
    case AlertMeasure::kUnsafe:
      return "were reported unsafe";
    case AlertMeasure::kCounterfeit:
      return "were reported counterfeit";
    case AlertMeasure::kSilence:
      break;
  }
  return "";
}

std::string Sentence(const ToldAlert& alert, const v1::Alert& out) {
  const std::string since = FormatDay(alert.facts.changed), name = NameOf(alert.key);
  if (alert.key.measure == AlertMeasure::kSilence) {
    return absl::StrCat("Nothing was heard of ", name, " after ", since, " for ", out.hit_count(),
                        " days, longer than usual, while ", out.order_count(), " orders wait.");
  }
  const std::string counts = absl::StrCat(out.hit_count(), " of ", out.order_count(), " orders (",
                                          name, ") ", WhatHappened(alert.key.measure));
  if (!HasChart(alert.key.measure)) return absl::StrCat(counts, ", first on ", since, ".");
  return absl::StrCat(counts, " since ", since, ": ", Percent(out.rate_since()), " instead of ",
                      Percent(out.rate_before()), ".");
}

std::string Advice(const WatchKey& key) {
  switch (key.measure) {
    case AlertMeasure::kOnTime:
      if (key.supplier.empty()) {
        return "See whether one supplier or service accounts for it; if all do, promise longer "
               "times on this lane.";
      }
      return "Ask the supplier; until it has recovered, give its orders to others or pause it.";
    case AlertMeasure::kDefect:
      return "Look at the claims since the change, ask for the cause, and claim what is due.";
    case AlertMeasure::kHandling:
      return "Ask what holds up shipping before promises pass; warn customers who wait.";
    case AlertMeasure::kDelivery:
      return "Ask the carrier; warn customers who wait, and promise longer times for now.";
    case AlertMeasure::kUnsafe:
    case AlertMeasure::kCounterfeit:
      return "Pause the supplier, stop what is under way, and look at the item.";
    case AlertMeasure::kSilence:
      return "See whether its feed still comes; if it does, ask the supplier for its open orders.";
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
                     FormatDay(cause.last), ": more than by chance, so probably one cause");
    for (const size_t at : cause.alerts) words[*ids[at]] = text;
  }
  return words;
}

void WriteAlert(const std::string& id, const ToldAlert& alert, const AlertEvidence* evidence,
                const std::string& shared_cause, Day today, v1::Alert* out) {
  out->set_alert_id(id);
  WriteWatched(alert.key, alert.pooled, out->mutable_watched());
  out->set_state(StateOf(alert, today));
  out->set_change_date(FormatDay(alert.facts.changed));
  // A report made before the promised day is counted on it.
  out->set_open_date(FormatDay(std::min(alert.facts.opened, DayOf(alert.raise_time))));
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
  out->set_sentence(Sentence(alert, *out));
  out->set_advice(Advice(alert.key));
  out->set_shared_cause(shared_cause);
  out->set_note(alert.note);
  if (alert.shelved_until) out->set_shelved_until_date(FormatDay(*alert.shelved_until));
  out->set_revision(alert.revision);
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
