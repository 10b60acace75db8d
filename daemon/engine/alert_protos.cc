#include "engine/alert_protos.h"

namespace plumblane {
namespace {

namespace pb = ::plumblane::store::v1;

void ToProto(const AlertFacts& facts, pb::AlertFactsRecord& out) {
  out.set_changed(facts.changed.number);
  out.set_opened(facts.opened.number);
  out.set_ending(static_cast<int>(facts.ending));
  if (facts.closed) out.set_closed(facts.closed->number);
  out.set_orders(facts.orders);
  out.set_hits(facts.hits);
}

bool FromProto(const pb::AlertFactsRecord& in, AlertFacts& facts) {
  if (in.ending() < 0 || in.ending() > static_cast<int>(Ending::kAccepted)) return false;
  facts.changed = {in.changed()};
  facts.opened = {in.opened()};
  facts.ending = static_cast<Ending>(in.ending());
  if (in.has_closed()) facts.closed = Day{in.closed()};
  facts.orders = in.orders();
  facts.hits = in.hits();
  return facts.closed.has_value() == (facts.ending != Ending::kOpen);
}

}  // namespace

void ToProto(const AlertNotice& notice, pb::AlertNoticeRecord& out) {
  out.set_alert_id(notice.alert_id);
  out.set_kind(static_cast<int>(notice.kind));
  out.set_time_millis(notice.time.millis);
  out.set_supplier(notice.key.supplier);
  out.set_origin(notice.key.origin);
  out.set_destination(notice.key.destination);
  out.set_measure(static_cast<int>(notice.key.measure));
  ToProto(notice.facts, *out.mutable_facts());
  out.set_normal_rate(notice.chart.normal_rate);
  out.set_false_alarms_a_year(notice.chart.false_alarms_a_year);
  out.set_days_to_hear(notice.chart.days_to_hear);
  out.set_designed(notice.chart.designed.number);
  for (const Lane& lane : notice.pooled) {
    out.add_pooled()->set_origin(lane.origin);
    out.mutable_pooled()->rbegin()->set_destination(lane.destination);
  }
  out.set_told_through(notice.told_through.number);
  out.set_unfounded(notice.unfounded);
  out.set_revision(notice.revision);
  out.set_note(notice.note);
  if (notice.day) out.set_day(notice.day->number);
  out.set_quiet(notice.quiet);
}

bool FromProto(const pb::AlertNoticeRecord& in, AlertNotice& notice) {
  if (in.kind() < static_cast<int>(AlertNotice::Kind::kRaised) ||
      in.kind() > static_cast<int>(AlertNotice::Kind::kActiveAgain) ||
      in.measure() < static_cast<int>(AlertMeasure::kOnTime) ||
      in.measure() > static_cast<int>(kLastAlertMeasure)) {
    return false;
  }
  notice.kind = static_cast<AlertNotice::Kind>(in.kind());
  notice.alert_id = in.alert_id();
  notice.time = {in.time_millis()};
  notice.key = {in.supplier(), in.origin(), in.destination(),
                static_cast<AlertMeasure>(in.measure())};
  notice.chart = {{in.designed()}, in.normal_rate(), in.false_alarms_a_year(), in.days_to_hear()};
  for (const pb::PairRecord& one : in.pooled()) {
    notice.pooled.push_back({one.origin(), one.destination(), ""});
  }
  notice.told_through = {in.told_through()};
  notice.unfounded = in.unfounded();
  notice.revision = in.revision();
  notice.note = in.note();
  if (in.has_day()) notice.day = Day{in.day()};
  notice.quiet = in.quiet();
  return FromProto(in.facts(), notice.facts);
}

}  // namespace plumblane
