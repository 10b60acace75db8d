#include <absl/strings/str_cat.h>

#include <cassert>
#include <cmath>

#include "orders/tellings.h"
#include "service/write_answer.h"

namespace plumblane {
namespace {

void WriteRate(const RateEstimate& rate, v1::Rate* out) {
  if (rate.observed) out->set_observed(*rate.observed);
  if (rate.estimate) out->set_estimate(*rate.estimate);
  if (rate.low) out->set_low(*rate.low);
  if (rate.high) out->set_high(*rate.high);
  out->set_weight(rate.weight);
  out->set_order_count(rate.order_count);
  out->set_hit_count(rate.hit_count);
}

// Codes and reasons have the same order.
void WriteKinds(const DefectKinds& kinds, v1::Score* out) {
  for (int code = static_cast<int>(Code::kDamaged); code <= static_cast<int>(Code::kLost); ++code) {
    const auto kind = static_cast<Code>(code);
    if (kinds.Of(kind) <= 0) continue;
    v1::DefectShare* share = out->add_defect_kinds();
    share->set_kind(ReasonOf(kind));
    share->set_share(kinds.Of(kind));
  }
}

void WriteArrival(const Arrival& arrival, v1::Arrival* out) {
  out->set_days(arrival.days);
  if (!arrival.estimate) return;
  out->set_share(arrival.estimate->share);
  out->set_late_days(arrival.estimate->late_days);
  if (!arrival.estimate->limits) return;
  out->set_low(arrival.estimate->limits->low);
  out->set_high(arrival.estimate->limits->high);
}

void WriteDifference(const StrengthEstimate& strength, v1::Difference* out) {
  out->set_strength(strength.expected);
  out->set_likeliest_strength(strength.likeliest);
  out->set_undetectable(strength.no_difference);
}

std::string NameOf(const Subject& subject) {
  std::string name;
  if (subject.supplier) name = absl::StrCat("suppliers/", *subject.supplier);
  if (subject.lane) {
    absl::StrAppend(&name, name.empty() ? "" : "/", "lanes/", FormatLaneQuery(*subject.lane));
  }
  return name;
}

void WriteLane(const LaneQuery& lane, v1::Lane* out) {
  out->set_origin(lane.origin);
  out->set_destination(lane.destination);
  if (lane.service) out->set_service(*lane.service);
}

void WriteEstimate(const Basis& basis, const Subject& subject, const ScoreEstimate& score,
                   v1::Score* out) {
  out->set_name(NameOf(subject));
  if (subject.supplier) out->set_supplier_id(*subject.supplier);
  if (subject.lane) WriteLane(*subject.lane, out->mutable_lane());
  WriteTime(basis.as_of, out->mutable_as_of_time());
  WriteDuration(basis.half_life_days * 86400, out->mutable_half_life());
  if (basis.news) WriteTime(*basis.news, out->mutable_news_time());
  WriteRate(score.on_time, out->mutable_on_time());
  WriteRate(score.defect, out->mutable_defect());
  out->set_rate_mode(basis.rate_mode == RateMode::kAverage ? v1::RATE_MODE_AVERAGE
                                                           : v1::RATE_MODE_CURRENT);
  if (score.defect_kinds) WriteKinds(*score.defect_kinds, out);
  WriteTimes(score.handling, out->mutable_handling());
  WriteTimes(score.transit, out->mutable_transit());
  WriteTimes(score.delivery, out->mutable_delivery());
  WriteTimes(score.response, out->mutable_response());
  for (const Arrival& arrival : score.arrivals) WriteArrival(arrival, out->add_arrivals());
  out->set_underway_count(score.underway_count);
  out->set_overdue_count(score.overdue_count);
  out->set_excused_count(score.excused_count);
  out->set_fault_count(score.fault_count);
  const auto prior = [](const std::optional<Prior>& from, auto make) {
    if (!from) return;
    v1::Prior* to = make();
    to->set_mean(from->mean);
    to->set_strength(from->strength);
  };
  prior(score.late_prior, [out] { return out->mutable_late_prior(); });
  prior(score.defect_prior, [out] { return out->mutable_defect_prior(); });
}

Subject SubjectOf(const Pair& pair) {
  return {pair.supplier, LaneQuery{pair.lane.origin, pair.lane.destination, pair.lane.service}};
}

}  // namespace

void WriteTimes(const TimesEstimate& times, v1::Times* out) {
  if (times.median) {
    WriteDuration(times.median->seconds, out->mutable_median());
    if (times.median->low) WriteDuration(*times.median->low, out->mutable_median_low());
    if (times.median->high) WriteDuration(*times.median->high, out->mutable_median_high());
  }
  if (times.p90) {
    WriteDuration(times.p90->seconds, out->mutable_p90());
    if (times.p90->low) WriteDuration(*times.p90->low, out->mutable_p90_low());
    if (times.p90->high) WriteDuration(*times.p90->high, out->mutable_p90_high());
  }
  out->set_entered_count(times.entered_count);
  out->set_finished_count(times.finished_count);
  out->set_median_reached(times.median_reached);
  out->set_median_too_few(times.median_too_few);
  out->set_p90_too_few(times.p90_too_few);
  if (times.longest_watch) WriteDuration(*times.longest_watch, out->mutable_longest_watch());
}

v1::Reason ReasonOf(Code kind) {
  switch (kind) {
    case Code::kDamaged:
      return v1::REASON_DAMAGED;
    case Code::kQuality:
      return v1::REASON_QUALITY;
    case Code::kWrongItem:
      return v1::REASON_WRONG_ITEM;
    case Code::kMissingPart:
      return v1::REASON_MISSING_PART;
    case Code::kCounterfeit:
      return v1::REASON_COUNTERFEIT;
    case Code::kUnsafe:
      return v1::REASON_UNSAFE;
    default:
      assert(kind == Code::kLost);
      return v1::REASON_LOST;
  }
}

void WriteTarget(const TargetReading& reading, v1::TargetReading* out) {
  out->set_measure(std::string(MeasureName(reading.measure)));
  out->set_target(reading.target);
  switch (reading.standing) {
    case Standing::kMet:
      return out->set_standing(v1::TargetReading::STANDING_MET);
    case Standing::kMissed:
      return out->set_standing(v1::TargetReading::STANDING_MISSED);
    case Standing::kMetNotSure:
      return out->set_standing(v1::TargetReading::STANDING_MET_NOT_SURE);
    case Standing::kMissedNotSure:
      return out->set_standing(v1::TargetReading::STANDING_MISSED_NOT_SURE);
    case Standing::kTooFew:
      return out->set_standing(v1::TargetReading::STANDING_TOO_FEW);
  }
}

void WriteTime(Instant t, google::protobuf::Timestamp* out) {
  const int64_t seconds = t.millis / kMillisPerSecond;
  out->set_seconds(seconds);
  out->set_nanos(static_cast<int32_t>(t.millis - seconds * kMillisPerSecond) * 1'000'000);
}

void WriteDuration(double seconds, google::protobuf::Duration* out) {
  const int64_t millis = std::llround(seconds * kMillisPerSecond);
  out->set_seconds(millis / kMillisPerSecond);
  out->set_nanos(static_cast<int32_t>(millis % kMillisPerSecond) * 1'000'000);
}

void WriteMoney(const Money& money, v1::Money* out) {
  out->set_minor_units(money.minor_units);
  out->set_currency_code(money.currency);
}

void WriteFleet(const FleetEvidence& fleet, v1::Fleet* out) {
  out->set_mean(fleet.mean);
  WriteDifference(fleet.suppliers, out->mutable_suppliers());
  WriteDifference(fleet.lanes, out->mutable_lanes());
  WriteDifference(fleet.pairs, out->mutable_pairs());
  out->set_supplier_count(fleet.supplier_count);
  out->set_lane_count(fleet.lane_count);
  out->set_pair_count(fleet.pair_count);
}

void WriteScore(const Basis& basis, const ScoreAnswer& answer, v1::Score* out) {
  WriteEstimate(basis, answer.subject, answer.score, out);
  for (const TargetReading& reading : answer.targets) WriteTarget(reading, out->add_targets());
  if (answer.last_event) WriteTime(*answer.last_event, out->mutable_last_event_time());
  if (basis.late_fleet) WriteFleet(*basis.late_fleet, out->mutable_late_fleet());
  if (basis.defect_fleet) WriteFleet(*basis.defect_fleet, out->mutable_defect_fleet());
  for (const auto& [pair, score] : answer.pairs) {
    WriteEstimate(basis, SubjectOf(pair), score, out->add_pairs());
  }
}

void WritePairScore(const Basis& basis, const Pair& pair, const ScoreEstimate& score,
                    v1::Score* out) {
  WriteEstimate(basis, SubjectOf(pair), score, out);
}

std::string_view MeasureName(Measure measure) {
  constexpr std::string_view kNames[] = {"on_time",  "defect", "handling", "transit", "delivery",
                                         "response", "money",  "underway", "overdue", "exposure"};
  return kNames[IndexOf(measure)];
}

v1::EventResult WriteItemRemark(int index, std::string remark) {
  v1::EventResult result;
  result.set_index(index);
  result.set_outcome(v1::EventResult::OUTCOME_REMARK);
  result.set_code("AMBIGUOUS_ITEM");
  result.set_field("item");
  result.set_message(std::move(remark));
  return result;
}

std::optional<v1::EventResult> WriteFate(int index, const EventFate& fate) {
  v1::EventResult result;
  result.set_index(index);
  const auto say = [&](v1::EventResult::Outcome outcome, const char* code, const char* field,
                       const std::string& message) {
    result.set_outcome(outcome);
    result.set_code(code);
    result.set_field(field);
    result.set_message(message);
  };
  switch (fate.kind) {
    case EventFate::Kind::kAccepted:
    case EventFate::Kind::kDuplicate:
    case EventFate::Kind::kNoSend:  // its stream ends
      return std::nullopt;
    case EventFate::Kind::kContradiction:
      say(v1::EventResult::OUTCOME_CONTRADICTION, "CONTRADICTION", "", fate.message);
      break;
    case EventFate::Kind::kConflict:
      say(v1::EventResult::OUTCOME_CONFLICT, "ID_CONFLICT", "event_id",
          "this id is known with other content; the first stays");
      break;
    case EventFate::Kind::kOrderFull:
      say(v1::EventResult::OUTCOME_REJECTED, "ORDER_FULL", "order_id",
          absl::StrCat("the order holds ", kMaxEventsPerOrder, " events already"));
      break;
    case EventFate::Kind::kNotKept:
      say(v1::EventResult::OUTCOME_NOT_KEPT, "ORDER_NOT_KEPT", "order_id",
          "the order is no longer kept, so nothing more is taken of it");
      break;
    case EventFate::Kind::kWaiting:
      say(v1::EventResult::OUTCOME_WAITING, "UNKNOWN_RETRACTED", "retracts",
          "no event with this id from this source is known in this order; the retraction waits for "
          "it");
      break;
  }
  return result;
}

void WriteExcuse(const Excuse& excuse, v1::Excuse* out) {
  out->set_excuse_id(excuse.excuse_id);
  out->set_reason(excuse.reason);
  out->set_withdrawn(excuse.withdrawn);
  if (const auto* order = std::get_if<ExcusedOrder>(&excuse.subject)) {
    out->mutable_order()->set_shop(order->order.shop);
    out->mutable_order()->set_order_id(order->order.order_id);
    out->mutable_order()->set_part(order->part);
    return;
  }
  const auto& days = std::get<ExcusedDays>(excuse.subject);
  WriteLane(days.lane, out->mutable_lane_days()->mutable_lane());
  out->mutable_lane_days()->set_first_due_date(FormatDay(days.first_due));
  out->mutable_lane_days()->set_last_due_date(FormatDay(days.last_due));
}

}  // namespace plumblane
