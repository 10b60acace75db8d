#include "client/show_status.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_format.h>
#include <absl/strings/str_join.h>

#include <map>
#include <string>
#include <vector>

#include "client/show.h"
#include "client/table.h"
#include "client/text.h"

namespace plumblane::client {
namespace {

std::string Fact(const std::string& label, const std::string& value) {
  return DetailLine(label, value, /*label_width=*/13, /*width=*/80);
}

std::string NowText(const v1::ServerStatus& status) {
  if (!status.has_now_time()) return "no event yet";
  const bool of_events = status.clock_mode() == v1::ServerStatus::CLOCK_MODE_EVENTS;
  return TimeText(status.now_time()) + (of_events ? ", the time of the latest event" : "");
}

std::string KindText(const v1::SourceStatus& source) {
  switch (source.kind()) {
    case v1::SourceStatus::KIND_LIVE:
      return "live";
    case v1::SourceStatus::KIND_PERIODIC:
      return "periodic";
    case v1::SourceStatus::KIND_RETIRED:
      return "retired";
    default:
      return "unknown";
  }
}

std::string NewsLimit(const v1::ServerStatus& status) {
  std::vector<std::string> limiting;
  for (const v1::SourceStatus& source : status.sources()) {
    if (source.limits_news()) limiting.push_back(source.source());
  }
  return limiting.empty() ? "" : ", for want of news from " + Listed(limiting);
}

std::string SourcesText(const v1::ServerStatus& status, int width) {
  if (status.sources().empty()) return "\nNo source has sent anything yet.\n";
  Table table({{"source"}, {"kind"}, {"complete up to"}, {"last event"}, {"tells\ndeliveries"}});
  for (const v1::SourceStatus& source : status.sources()) {
    const bool is_live = source.kind() == v1::SourceStatus::KIND_LIVE;
    table.Add({source.source(), KindText(source),
               is_live                              ? "now"
               : source.has_complete_through_time() ? TimeText(source.complete_through_time())
                                                    : "not said",
               source.has_last_event_time() ? TimeText(source.last_event_time()) : "none",
               source.sends_deliveries() ? "yes" : "no"});
  }
  return absl::StrCat("\n", table.Render(width));
}

// "1,203 purged, over before 2025-03-01 00:00 UTC; their counts stay; 2 erased".
std::string NotKeptText(const v1::ServerStatus& status) {
  std::string text;
  if (status.purged_order_count() > 0) {
    text = absl::StrCat(Thousands(status.purged_order_count()), " purged, over before ",
                        TimeText(status.purged_before_time()), "; their counts stay");
  }
  if (status.erased_order_count() > 0) {
    absl::StrAppend(&text, text.empty() ? "" : "; ", Thousands(status.erased_order_count()),
                    " erased");
  }
  return text;
}

std::string SnapshotText(const v1::SnapshotStatus& snapshot) {
  const std::string written = snapshot.has_last_write_time()
                                  ? "written " + TimeText(snapshot.last_write_time())
                                  : "not written yet";
  return absl::StrCat(
      "in ", snapshot.directory(), ", ", written,
      snapshot.failure().empty() ? "" : "; the last try failed: ", snapshot.failure());
}

// "22 of 64 partitions owned, 42 by the one at A; 30 are not followed now: counts may be too low".
std::string PartitionsText(const v1::SharedLogStatus& log) {
  std::map<std::string, int> others;
  int owned = 0, owned_by_none = 0;
  for (const v1::PartitionStatus& part : log.partitions()) {
    if (part.is_owned()) {
      ++owned;
    } else if (part.owner_address().empty()) {
      ++owned_by_none;
    } else {
      ++others[part.owner_address()];
    }
  }
  std::vector<std::string> texts, missing;
  for (const auto& [address, count] : others) {
    texts.push_back(absl::StrCat(count, " by the one at ", address));
  }
  for (int i = 0; i < log.partitions_size(); ++i) {
    if (!log.partitions(i).has_as_of_time()) missing.push_back(absl::StrCat(i));
  }
  if (owned_by_none > 0) texts.push_back(absl::StrCat(owned_by_none, " by none"));
  const std::string which =
      missing.empty() ? "" : absl::StrCat(" (", absl::StrJoin(missing, ", "), ")");
  return absl::StrCat(owned, " of ", log.partitions_size(), " partitions owned",
                      texts.empty() ? "" : ", " + absl::StrJoin(texts, ", "),
                      log.missing_partition_count() > 0
                          ? absl::StrCat("; ", log.missing_partition_count(), which,
                                         " are not followed now: counts may be too low")
                          : "");
}

std::string SharedLogText(const v1::ServerStatus& status) {
  const v1::SharedLogStatus& log = status.shared_log();
  const std::string owner =
      log.owner_address().empty() ? "nobody known" : "the one at " + log.owner_address();
  const std::string role = log.partitions_size() > 0 ? PartitionsText(log)
                           : log.follows()           ? "followed; its owner is " + owner
                                                     : "owned";
  const int64_t behind = log.tail_sequence() - status.log_sequence();
  return absl::StrCat(
      role, "; entry ", status.log_sequence(), " of ", log.tail_sequence(),
      behind > 0 ? absl::StrCat(" is applied, ", behind, " behind") : " is applied", "; complete ",
      log.has_as_of_time() ? "up to " + TimeText(log.as_of_time()) : "up to nobody knows when");
}

}  // namespace

std::vector<std::string> SilentFeeds(const v1::ServerStatus& status, int days) {
  std::vector<std::string> lines;
  for (const v1::SourceStatus& source : status.sources()) {
    if (!source.sends_deliveries() || source.kind() == v1::SourceStatus::KIND_RETIRED) continue;
    const bool is_complete_up_to =
        source.kind() == v1::SourceStatus::KIND_PERIODIC && source.has_complete_through_time();
    const google::protobuf::Timestamp& known =
        is_complete_up_to ? source.complete_through_time() : source.last_event_time();
    const int64_t old = (status.now_time().seconds() - known.seconds()) / 86'400;
    if (old < days) continue;
    lines.push_back(absl::StrCat(source.source(),
                                 is_complete_up_to ? ": complete up to " : ": last event ",
                                 TimeText(known), ", ", Counted(old, "day"), " ago",
                                 source.limits_news() ? "; what was due since is not judged" : ""));
  }
  return lines;
}

std::string ShowStatus(const v1::ServerStatus& status, const std::string& address, int width) {
  std::string text = absl::StrCat("plumblaned ", status.version(), " at ", address, "\n");
  // Where another one takes them the line about the log says so.
  if (!status.accepting_events() && status.shared_log().owner_address().empty()) {
    text += Wrapped("It answers questions but takes no events: " +
                        (status.refusal().empty() ? "a write failed" : status.refusal()) +
                        ". Its log and disk may tell more.",
                    width);
  }
  if (status.has_start_time()) {
    absl::StrAppend(&text, Fact("up since", TimeText(status.start_time())));
  }
  absl::StrAppend(&text, Fact("now", NowText(status)),
                  Fact("orders", absl::StrCat(Thousands(status.order_count()), ", from ",
                                              Counted(status.event_count(), "event"))),
                  Fact("suppliers", absl::StrCat(Thousands(status.supplier_count()), " on ",
                                                 Counted(status.lane_count(), "lane"))));
  if (const std::string gone = NotKeptText(status); !gone.empty()) {
    absl::StrAppend(&text, Fact("not kept", gone));
  }
  if (status.queued_event_count() > 0) {
    absl::StrAppend(
        &text, Fact("waiting", Counted(status.queued_event_count(), "event") + " to be written"));
  }
  absl::StrAppend(
      &text, Fact("half-life", "older orders count half after " + HalfLifeText(status.half_life())),
      Fact("settling", "an order is late no sooner than " + HalfLifeText(status.settle_delay()) +
                           " after its promised day"));
  absl::StrAppend(
      &text, Fact("news", status.has_news_time()
                              ? "known up to " + TimeText(status.news_time()) + NewsLimit(status)
                              : "no feed holds anything up"));
  if (status.has_shared_log()) {
    absl::StrAppend(&text, Fact("shared log", SharedLogText(status)));
  }
  if (status.has_snapshot()) {
    absl::StrAppend(&text, Fact("score files", SnapshotText(status.snapshot())));
  }
  text += SourcesText(status, width);
  const std::vector<std::string> silent = SilentFeeds(status, kSilentFeedDays);
  if (!silent.empty()) text += "\nFeeds without news of deliveries:\n";
  for (const std::string& line : silent) {
    absl::StrAppend(&text, "  ", Wrapped(line, width - 2, /*indent=*/4));
  }
  return text;
}

}  // namespace plumblane::client
