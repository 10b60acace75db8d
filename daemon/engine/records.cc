#include "engine/records.h"

#include <plumblane/store/v1/records.pb.h>

#include "engine/agreement_protos.h"
#include "engine/alert_protos.h"
#include "engine/leaving_protos.h"
#include "engine/send_protos.h"
#include "storage/bytes.h"
#include "storage/keys.h"
#include "storage/order_codec.h"

namespace plumblane {
namespace {

namespace pb = ::plumblane::store::v1;

absl::Status Malformed(std::string_view what) {
  return absl::DataLossError("malformed record of " + std::string(what));
}

FoldRules FromProto(const pb::FoldRules& in) {
  return {in.lost_after_days(), in.tolerance_millis()};
}

bool Parse(google::protobuf::MessageLite& message, std::string_view bytes) {
  return message.ParseFromArray(bytes.data(), static_cast<int>(bytes.size()));
}

void ToProto(const SourceNews& news, pb::News& out) {
  out.set_source(news.source);
  out.set_send(news.send);
  if (const auto* through = std::get_if<Instant>(&news.news)) {
    out.set_complete_through_millis(through->millis);
  } else if (std::holds_alternative<SourceNews::Live>(news.news)) {
    out.set_live(true);
  } else {
    out.set_retired(true);
  }
}

SourceNews FromProto(const pb::News& in) {
  SourceNews news{in.source(), SourceNews::Retired{}, in.send()};
  if (in.has_complete_through_millis()) {
    news.news = Instant{in.complete_through_millis()};
  } else if (in.live()) {
    news.news = SourceNews::Live{};
  }
  return news;
}

void ToProto(const Excuse& excuse, pb::ExcuseRecord& out) {
  out.set_excuse_id(excuse.excuse_id);
  out.set_reason(excuse.reason);
  out.set_withdrawn(excuse.withdrawn);
  if (const auto* order = std::get_if<ExcusedOrder>(&excuse.subject)) {
    out.set_shop(order->order.shop);
    out.set_order_id(order->order.order_id);
    out.set_part(order->part);
    return;
  }
  const auto& days = std::get<ExcusedDays>(excuse.subject);
  out.set_origin(days.lane.origin);
  out.set_destination(days.lane.destination);
  if (days.lane.service) out.set_service(*days.lane.service);
  out.set_first_due_day(days.first_due.number);
  out.set_last_due_day(days.last_due.number);
}

Excuse FromProto(const pb::ExcuseRecord& in) {
  Excuse excuse{in.excuse_id(), {}, in.reason(), in.withdrawn()};
  if (!in.order_id().empty()) {
    excuse.subject = ExcusedOrder{{in.shop(), in.order_id()}, in.part()};
    return excuse;
  }
  ExcusedDays days{{in.origin(), in.destination(), {}}, {in.first_due_day()}, {in.last_due_day()}};
  if (in.has_service()) days.lane.service = in.service();
  excuse.subject = days;
  return excuse;
}

void ToProto(const FoldRules& rules, pb::FoldRules& out) {
  out.set_lost_after_days(rules.lost_after_days);
  out.set_tolerance_millis(rules.tolerance_millis);
}

}  // namespace

std::string EncodeContent(const Submission& content) {
  google::protobuf::Arena arena;  // or each event would be allocated piece by piece
  pb::LogEntry& entry = *google::protobuf::Arena::CreateMessage<pb::LogEntry>(&arena);
  entry.mutable_sends_taken_back()->Assign(content.sends_taken_back.begin(),
                                           content.sends_taken_back.end());
  for (const OrderEvent& event : content.events) {
    pb::LoggedEvent& logged = *entry.add_events();
    logged.set_shop(event.order.shop);
    logged.set_order_id(event.order.order_id);
    logged.set_event(EncodeEvent(event.event));
  }
  for (const SourceNews& news : content.news) ToProto(news, *entry.add_news());
  for (const Excuse& excuse : content.excuses) ToProto(excuse, *entry.add_excuses());
  for (const AgreementLoad& load : content.agreements) ToProto(load, *entry.add_agreements());
  for (const Assignment& one : content.assignments) ToProto(one, *entry.add_assignments());
  for (const AlertNotice& one : content.alert_notices) ToProto(one, *entry.add_alert_notices());
  for (const Delivered& one : content.deliveries) {
    pb::DeliveryRecord& out = *entry.add_deliveries();
    out.set_sink(one.sink);
    out.set_cursor(one.cursor);
  }
  for (const SendBegun& begun : content.sends_begun) ToProto(begun, *entry.add_sends_begun());
  for (const SendFinished& finished : content.sends_finished) {
    pb::SendFinished& out = *entry.add_sends_finished();
    out.set_number(finished.number);
    out.set_rejected_count(finished.rejected);
  }
  for (const Purge& purge : content.purges) ToProto(purge, *entry.add_purges());
  for (const OrderKey& order : content.erased) ToProto(order, *entry.add_erased());
  for (const auto& one : content.erased_suppliers) ToProto(one, *entry.add_erased_suppliers());
  return entry.SerializeAsString();
}

std::string EncodeLogEntry(Instant receive_time, std::optional<Instant> history_through,
                           std::span<const std::string_view> contents) {
  pb::LogEntry entry;
  entry.set_receive_time_millis(receive_time.millis);
  if (history_through) entry.set_history_through_millis(history_through->millis);
  std::string bytes = entry.SerializeAsString();
  size_t size = bytes.size();
  for (const std::string_view content : contents) size += content.size();
  bytes.reserve(size);
  for (const std::string_view content : contents) bytes += content;
  return bytes;
}

std::string EncodeLogEntry(Instant receive_time, const Submission& content) {
  const std::string encoded = EncodeContent(content);
  const std::string_view only = encoded;
  return EncodeLogEntry(receive_time, content.history_through, {&only, 1});
}

absl::StatusOr<LogEntry> DecodeLogEntry(std::string_view bytes) {
  pb::LogEntry in;
  if (!Parse(in, bytes)) return Malformed("the log");
  LogEntry entry;
  entry.receive_time = {in.receive_time_millis()};
  for (const pb::LoggedEvent& logged : in.events()) {
    auto event = DecodeEvent(logged.event());
    if (!event.ok()) return event.status();
    entry.content.events.push_back({{logged.shop(), logged.order_id()}, *std::move(event)});
  }
  for (const pb::News& news : in.news()) entry.content.news.push_back(FromProto(news));
  for (const auto& excuse : in.excuses()) entry.content.excuses.push_back(FromProto(excuse));
  for (const pb::AgreementLoad& load : in.agreements()) {
    if (!FromProto(load, entry.content.agreements.emplace_back())) return Malformed("the log");
  }
  for (const pb::AssignmentRecord& one : in.assignments()) {
    if (!FromProto(one, entry.content.assignments.emplace_back())) return Malformed("the log");
  }
  for (const pb::AlertNoticeRecord& one : in.alert_notices()) {
    if (!FromProto(one, entry.content.alert_notices.emplace_back())) return Malformed("the log");
  }
  for (const pb::DeliveryRecord& one : in.deliveries()) {
    entry.content.deliveries.push_back({one.sink(), one.cursor()});
  }
  if (in.has_history_through_millis()) {
    entry.content.history_through = Instant{in.history_through_millis()};
  }
  for (const auto& begun : in.sends_begun()) entry.content.sends_begun.push_back(FromProto(begun));
  for (const pb::SendFinished& finished : in.sends_finished()) {
    entry.content.sends_finished.push_back({finished.number(), finished.rejected_count()});
  }
  for (const auto& purge : in.purges()) entry.content.purges.push_back(FromProto(purge));
  for (const auto& order : in.erased()) entry.content.erased.push_back(FromProto(order));
  for (const auto& one : in.erased_suppliers()) {
    entry.content.erased_suppliers.push_back(FromProto(one));
  }
  entry.content.sends_taken_back.assign(in.sends_taken_back().begin(), in.sends_taken_back().end());
  return entry;
}

std::string EncodeSource(const Source& source) {
  pb::SourceRecord out;
  out.set_periodic(source.periodic);
  out.set_retired(source.retired);
  out.set_sends_deliveries(source.sends_deliveries);
  if (source.complete_through) out.set_complete_through_millis(source.complete_through->millis);
  if (source.last_event) out.set_last_event_millis(source.last_event->millis);
  if (source.outside) ToProto(*source.outside, *out.mutable_outside());
  return out.SerializeAsString();
}

absl::StatusOr<Source> DecodeSource(std::string_view bytes) {
  pb::SourceRecord in;
  if (!Parse(in, bytes)) return Malformed("a source");
  Source source;
  source.periodic = in.periodic();
  source.retired = in.retired();
  source.sends_deliveries = in.sends_deliveries();
  if (in.has_complete_through_millis()) source.complete_through = {in.complete_through_millis()};
  if (in.has_last_event_millis()) source.last_event = {in.last_event_millis()};
  if (in.has_outside()) source.outside = FromProto(in.outside());
  return source;
}

std::string EncodeSend(const Send& send) {
  pb::SendRecord out;
  out.set_begun_millis(send.begun.millis);
  ToProto(send.from, *out.mutable_from());
  out.set_state(static_cast<int>(send.state));
  out.set_accepted_count(send.accepted);
  out.set_repeat_count(send.repeated);
  out.set_conflict_count(send.conflicts);
  out.set_rejected_count(send.rejected);
  if (send.first_event) out.set_first_event_millis(send.first_event->millis);
  if (send.last_event) out.set_last_event_millis(send.last_event->millis);
  out.set_first_sequence(static_cast<int64_t>(send.first_sequence));
  out.set_last_sequence(static_cast<int64_t>(send.last_sequence));
  if (send.finished) out.set_finished_millis(send.finished->millis);
  if (send.taken_back) out.set_taken_back_millis(send.taken_back->millis);
  out.set_gone_count(send.events_taken_back.gone);
  out.set_staying_count(send.events_taken_back.staying);
  for (const auto& [name, word] : send.sources) {
    pb::SourceWord& source = *out.add_sources();
    source.set_source(name);
    ToProto(word, source);
  }
  return out.SerializeAsString();
}

absl::StatusOr<Send> DecodeSend(std::string_view bytes) {
  pb::SendRecord in;
  if (!Parse(in, bytes) || in.state() < 0 || in.state() > static_cast<int>(SendState::kTakenBack)) {
    return Malformed("a send");
  }
  Send send;
  send.begun = {in.begun_millis()};
  send.from = FromProto(in.from());
  send.state = static_cast<SendState>(in.state());
  send.accepted = in.accepted_count();
  send.repeated = in.repeat_count();
  send.conflicts = in.conflict_count();
  send.rejected = in.rejected_count();
  if (in.has_first_event_millis()) send.first_event = {in.first_event_millis()};
  if (in.has_last_event_millis()) send.last_event = {in.last_event_millis()};
  send.first_sequence = static_cast<uint64_t>(in.first_sequence());
  send.last_sequence = static_cast<uint64_t>(in.last_sequence());
  if (in.has_finished_millis()) send.finished = {in.finished_millis()};
  if (in.has_taken_back_millis()) send.taken_back = {in.taken_back_millis()};
  send.events_taken_back = {in.gone_count(), in.staying_count()};
  for (const pb::SourceWord& word : in.sources()) send.sources[word.source()] = FromProto(word);
  return send;
}

std::string EncodeExcuse(const Excuse& excuse) {
  pb::ExcuseRecord out;
  ToProto(excuse, out);
  return out.SerializeAsString();
}

absl::StatusOr<Excuse> DecodeExcuse(std::string_view bytes) {
  pb::ExcuseRecord in;
  if (!Parse(in, bytes)) return Malformed("an excuse");
  return FromProto(in);
}

std::string EncodeAgreement(Instant receive_time, const AgreementLoad& load) {
  pb::AgreementRecord out;
  out.set_receive_time_millis(receive_time.millis);
  ToProto(load, *out.mutable_load());
  return out.SerializeAsString();
}

absl::StatusOr<ReceivedLoad> DecodeAgreement(std::string_view bytes) {
  pb::AgreementRecord in;
  ReceivedLoad received;
  if (!Parse(in, bytes) || !FromProto(in.load(), received.load)) return Malformed("an agreement");
  received.receive_time = {in.receive_time_millis()};
  return received;
}

std::string EncodeAssignment(const StoredAssignment& stored) {
  pb::AssignmentRecord out;
  ToProto(stored.assignment, out);
  out.set_state(static_cast<int>(stored.state));
  return out.SerializeAsString();
}

absl::StatusOr<StoredAssignment> DecodeAssignment(std::string_view bytes) {
  pb::AssignmentRecord in;
  StoredAssignment stored;
  if (!Parse(in, bytes) || !FromProto(in, stored.assignment) ||
      in.state() < static_cast<int>(AssignmentState::kOpen) ||
      in.state() > static_cast<int>(AssignmentState::kPaidElsewhere)) {
    return Malformed("an assignment");
  }
  stored.state = static_cast<AssignmentState>(in.state());
  return stored;
}

std::string EncodeAlertNotice(const AlertNotice& notice) {
  pb::AlertNoticeRecord out;
  ToProto(notice, out);
  return out.SerializeAsString();
}

absl::StatusOr<AlertNotice> DecodeAlertNotice(std::string_view bytes) {
  pb::AlertNoticeRecord in;
  AlertNotice notice;
  if (!Parse(in, bytes) || !FromProto(in, notice)) return Malformed("a notice of an alert");
  return notice;
}

absl::StatusOr<int64_t> EachAlertNotice(
    const Snapshot& snapshot, int64_t after,
    const std::function<bool(int64_t, const AlertNotice&)>& each) {
  absl::Status bad;
  int64_t cursor = after;  // they have no gaps
  const absl::Status scanned =
      snapshot.Scan(Space::kMeta, kNoticePrefix, NoticeKey(after + 1), [&](auto, auto value) {
        ++cursor;
        if (value.empty()) return true;
        const auto notice = DecodeAlertNotice(value);
        bad = notice.status();
        return notice.ok() && each(cursor, *notice);
      });
  bad.Update(scanned);
  if (!bad.ok()) return bad;
  return cursor;
}

std::string EncodeProgress(const Catalog& catalog) {
  pb::Progress out;
  out.set_log_sequence(static_cast<int64_t>(catalog.log_sequence));
  if (catalog.latest_event) out.set_latest_event_millis(catalog.latest_event->millis);
  out.set_order_count(catalog.order_count);
  out.set_event_count(catalog.event_count);
  if (catalog.history_through) out.set_history_through_millis(catalog.history_through->millis);
  out.set_last_send(catalog.last_send);
  out.set_purged_count(catalog.purged_count);
  out.set_erased_count(catalog.erased_count);
  if (catalog.purged_before) out.set_purged_before_millis(catalog.purged_before->millis);
  return out.SerializeAsString();
}

absl::Status DecodeProgress(std::string_view bytes, Catalog& catalog) {
  pb::Progress in;
  if (!Parse(in, bytes)) return Malformed("progress");
  catalog.log_sequence = static_cast<uint64_t>(in.log_sequence());
  if (in.has_latest_event_millis()) catalog.latest_event = Instant{in.latest_event_millis()};
  catalog.order_count = in.order_count();
  catalog.event_count = in.event_count();
  catalog.last_send = in.last_send();
  catalog.purged_count = in.purged_count();
  catalog.erased_count = in.erased_count();
  if (in.has_purged_before_millis()) catalog.purged_before = Instant{in.purged_before_millis()};
  if (in.has_history_through_millis()) {
    catalog.history_through = Instant{in.history_through_millis()};
  }
  return absl::OkStatus();
}

std::string EncodeFormat(const Format& format) {
  pb::Format out;
  out.set_version(format.version);
  ToProto(format.rules, *out.mutable_rules());
  if (format.next_rules) ToProto(*format.next_rules, *out.mutable_next_rules());
  out.set_refolded_through(format.refolded_through);
  return out.SerializeAsString();
}

absl::StatusOr<Format> DecodeFormat(std::string_view bytes) {
  pb::Format in;
  if (!Parse(in, bytes)) return Malformed("the format");
  Format format{in.version(), FromProto(in.rules()), {}, in.refolded_through()};
  if (in.has_next_rules()) format.next_rules = FromProto(in.next_rules());
  return format;
}

std::string EncodeInstant(Instant t) { return EncodeCount(t.millis); }

absl::StatusOr<Instant> DecodeInstant(std::string_view bytes) {
  const auto millis = DecodeCount(bytes);
  if (!millis.ok()) return millis.status();
  return Instant{*millis};
}

std::string EncodeCount(int64_t count) {
  ByteWriter writer;
  writer.Signed(count);
  return writer.Take();
}

absl::StatusOr<int64_t> DecodeCount(std::string_view bytes) {
  ByteReader reader(bytes);
  const int64_t count = reader.Signed();
  if (!reader.done()) return Malformed("a count");
  return count;
}

}  // namespace plumblane
