#include "client/send_report.h"

#include <absl/strings/str_cat.h>

#include <algorithm>
#include <nlohmann/json.hpp>

#include "client/show.h"
#include "client/text.h"
#include "client/words.h"

namespace plumblane::client {
namespace {

void NoteNews(const v1::Event& event, FileReport& report) {
  SourceNews& news = report.sources[event.source()];
  news.has_deliveries = news.has_deliveries || event.type() == v1::EVENT_TYPE_DELIVERED;
  news.has_scans = news.has_scans || event.type() == v1::EVENT_TYPE_SHIPPED ||
                   event.type() == v1::EVENT_TYPE_DELIVERED;
  // A retraction's own time says nothing.
  if (event.type() == v1::EVENT_TYPE_RETRACTED) return;
  news.latest = std::max(news.latest, ToInstant(event.event_time()));
}

Rejection ToRejection(const Outgoing& event, const v1::EventResult& result) {
  std::string message = result.message();
  if (message.empty()) message = "the daemon does not take it and does not say why";
  return {event.line, {result.code(), FileField(result.field()), std::move(message)}, event.text};
}

std::string CountsText(const FileReport& report) {
  std::string text =
      absl::StrCat(report.is_complete ? "" : "broken off after ", Counted(report.events, "event"),
                   ": ", Thousands(report.taken), " taken");
  if (report.repeats > 0) absl::StrAppend(&text, ", ", Counted(report.repeats, "repeat"));
  if (report.not_kept > 0) {
    absl::StrAppend(&text, ", ", Thousands(report.not_kept), " of orders no longer kept");
  }
  if (report.conflicts > 0) absl::StrAppend(&text, ", ", Counted(report.conflicts, "conflict"));
  if (report.rejected > 0) absl::StrAppend(&text, ", ", Thousands(report.rejected), " rejected");
  if (report.rejected + report.conflicts > 0) {
    absl::StrAppend(&text, " (", report.rejected_path, ")");
  }
  return text;
}

std::string UnpromisedText(const FileReport& report) {
  const bool of_new = report.new_orders >= report.unpromised;
  const int64_t count = report.unpromised;
  return absl::StrCat(
      of_new ? Thousands(count) : Counted(count, "order"), count == 1 ? " has" : " have",
      " no promise, so no on-time or defect score. From now on give promises with "
      "--promise-days N or a promise column; for these, send their paid lines again "
      "under new event ids, with a promise");
}

std::string OrdersText(const FileReport& report) {
  std::string text;
  if (report.new_orders > 0) text = Counted(report.new_orders, "new order");
  if (report.unpromised > 0) {
    absl::StrAppend(&text,
                    text.empty()                             ? ""
                    : report.new_orders >= report.unpromised ? ": "
                                                             : "; ",
                    UnpromisedText(report));
  }
  return text;
}

std::string WaitingText(int64_t waiting) {
  if (waiting > 0) {
    return absl::StrCat(
        Counted(waiting, "order"), waiting == 1 ? " waits for its" : " wait for their",
        " supplier or lane (send ", waiting == 1 ? "its" : "their", " paid events)");
  }
  if (waiting == 0) return "";
  return absl::StrCat(Counted(-waiting, "order"),
                      waiting == -1 ? " that waited for its" : " that waited for their",
                      " supplier or lane now ", waiting == -1 ? "counts" : "count");
}

std::string RemarksText(const Remarks& remarks, const std::string& kind, const std::string& kinds) {
  if (remarks.count == 0) return "";
  return absl::StrCat(Counted(remarks.count, kind, kinds),
                      remarks.count == 1 ? ": line " : ", the first: line ", remarks.first_line,
                      ": ", remarks.first_message);
}

// The rows of a table have the ids that the map gives them.
std::string RemappedText(const FileReport& report) {
  if (!report.is_mapped || report.conflicts == 0) return "";
  return "a row of this same export said something else before: was it sent with another map? "
         "Then take that send back (\"plumblane sends\" lists them, \"plumblane sends undo N\" "
         "takes one back) and send the file again; a later export replaces what an earlier one "
         "said "
         "by itself";
}

std::string NewsText(const FileReport& report) {
  std::string text;
  for (const auto& [source, news] : report.sources) {
    if (!news.is_reported || !news.has_deliveries) continue;
    absl::StrAppend(&text, text.empty() ? "delivery news is complete up to " : ", ",
                    TimeText(ToTimestamp(news.complete_through)), " from ", source);
  }
  return text;
}

nlohmann::ordered_json ToJson(const Remarks& remarks) {
  if (remarks.count == 0) return nullptr;
  return {{"line", remarks.first_line}, {"message", remarks.first_message}};
}

nlohmann::ordered_json ToJson(const FileReport& report) {
  nlohmann::ordered_json json;
  json["file"] = report.name;
  json["complete"] = report.is_complete;
  json["eventCount"] = report.events;
  json["takenCount"] = report.taken;
  json["repeatCount"] = report.repeats;
  json["notKeptCount"] = report.not_kept;
  json["conflictCount"] = report.conflicts;
  json["rejectedCount"] = report.rejected;
  const bool has_rejected = report.rejected + report.conflicts > 0;
  json["rejectedFile"] = has_rejected ? nlohmann::ordered_json(report.rejected_path) : nullptr;
  json["newOrderCount"] = report.new_orders;
  json["unpromisedDelta"] = report.unpromised;
  json["waitingDelta"] = report.waiting;
  json["contradictionCount"] = report.contradictions.count;
  json["firstContradiction"] = ToJson(report.contradictions);
  json["firstConflict"] = ToJson(report.conflict_remarks);
  json["waitingRetractionCount"] = report.waiting_retractions.count;
  json["remarkCount"] = report.doubts.count;
  json["firstRemark"] = ToJson(report.doubts);
  json["news"] = nlohmann::ordered_json::array();
  for (const auto& [source, news] : report.sources) {
    if (!news.is_reported) continue;
    json["news"].push_back(
        {{"source", source}, {"completeThroughTime", FormatInstant(news.complete_through)}});
  }
  return json;
}

}  // namespace

void Remarks::Add(int64_t line, const std::string& message) {
  ++count;
  if (count > 1 && line >= first_line) return;
  first_line = line;
  first_message = message;
}

std::vector<Rejection> TakeReceipt(const std::vector<Outgoing>& batch,
                                   const v1::BatchReceipt& receipt, FileReport& report) {
  std::vector<bool> is_refused(batch.size(), false);
  std::vector<Rejection> refused;
  for (const v1::EventResult& result : receipt.results()) {
    const auto index = static_cast<size_t>(result.index());
    if (result.index() < 0 || index >= batch.size()) continue;  // of no line that was sent
    const Outgoing& event = batch[index];
    switch (result.outcome()) {
      case v1::EventResult::OUTCOME_CONTRADICTION:
        report.contradictions.Add(event.line, result.message());
        break;
      case v1::EventResult::OUTCOME_WAITING:
        report.waiting_retractions.Add(event.line, result.message());
        break;
      case v1::EventResult::OUTCOME_REMARK:
        report.doubts.Add(event.line, result.message());
        break;
      case v1::EventResult::OUTCOME_NOT_KEPT:
        // A full export tells old orders every day: nothing to mend, so no line is put aside.
        is_refused[index] = true;
        ++report.not_kept;
        --report.rejected;
        break;
      case v1::EventResult::OUTCOME_CONFLICT:
        report.conflict_remarks.Add(event.line, result.message());
        [[fallthrough]];
      case v1::EventResult::OUTCOME_REJECTED:
        is_refused[index] = true;
        refused.push_back(ToRejection(event, result));
        break;
      default:
        break;
    }
  }
  for (size_t i = 0; i < batch.size(); ++i) {
    if (!is_refused[i]) NoteNews(batch[i].event, report);
  }
  report.taken += receipt.accepted_count();
  report.repeats += receipt.duplicate_count();
  report.conflicts += receipt.conflict_count();
  report.rejected += receipt.rejected_count();
  report.new_orders += receipt.order_delta();
  report.waiting += receipt.waiting_delta();
  report.unpromised += receipt.unpromised_delta();
  return refused;
}

std::string ToText(const std::vector<FileReport>& reports, int width, int64_t send) {
  std::string text;
  for (const FileReport& report : reports) {
    const std::string name = reports.size() > 1 ? report.name + ": " : "";
    if (report.is_empty) {
      absl::StrAppend(&text, report.name, ": no events in it\n");
      continue;
    }
    absl::StrAppend(&text, name, CountsText(report), "\n");
    for (const std::string& thought :
         {OrdersText(report), WaitingText(report.waiting),
          RemarksText(report.conflict_remarks, "conflict", "conflicts"), RemappedText(report),
          RemarksText(report.contradictions, "contradiction", "contradictions"),
          RemarksText(report.waiting_retractions, "retraction that finds nothing yet",
                      "retractions that find nothing yet"),
          RemarksText(report.doubts, "event with a doubt", "events with a doubt"),
          NewsText(report)}) {
      if (!thought.empty()) text += Wrapped(thought, width, 2);
    }
  }
  if (send != 0) {
    absl::StrAppend(&text, "this is send ", send, "; \"plumblane sends undo ", send,
                    "\" takes it back\n");
  }
  return text;
}

std::string ToLine(const FileReport& report) {
  return absl::StrCat(report.name, ": ", CountsText(report));
}

std::string ToJsonLine(const FileReport& report) {
  return ToJson(report).dump(-1, ' ', false, nlohmann::json::error_handler_t::replace);
}

std::string ToJson(const std::vector<FileReport>& reports, int64_t send) {
  nlohmann::ordered_json json;
  if (send != 0) json["sendNumber"] = send;
  json["files"] = nlohmann::ordered_json::array();
  for (const FileReport& report : reports) json["files"].push_back(ToJson(report));
  return json.dump(2, ' ', false, nlohmann::json::error_handler_t::replace) + "\n";
}

}  // namespace plumblane::client
