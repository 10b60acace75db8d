#include "engine/joining.h"

#include <algorithm>
#include <utility>
#include <vector>

#include "engine/records.h"
#include "storage/cell_codec.h"
#include "storage/keys.h"

namespace plumblane {
namespace {

using Values = std::span<const Held<std::string_view>>;

template <typename T>
void TakeEarliest(const std::optional<T>& other, std::optional<T>& time) {
  if (other && (!time || *other < *time)) time = other;
}

absl::StatusOr<std::string> AddPages(Day first_day, Values held) {
  Series sum;
  for (const auto& one : held) {
    const auto page = DecodePage(first_day, one.value);
    if (!page.ok()) return page.status();
    AddSeries(sum, *page);
  }
  return EncodePage(first_day, sum);
}

absl::StatusOr<std::string> AddCounts(Values held) {
  int64_t sum = 0;
  for (const auto& one : held) {
    const auto count = DecodeCount(one.value);
    if (!count.ok()) return count.status();
    sum += *count;
  }
  return EncodeCount(sum);
}

absl::StatusOr<std::string> Latest(Values held) {
  Instant latest{INT64_MIN};
  for (const auto& one : held) {
    const auto time = DecodeInstant(one.value);
    if (!time.ok()) return time.status();
    latest = std::max(latest, *time);
  }
  return EncodeInstant(latest);
}

absl::StatusOr<std::string> JoinEncodedSources(Values held, uint32_t partitions) {
  std::vector<Source> sources;
  for (const auto& one : held) {
    auto source = DecodeSource(one.value);
    if (!source.ok()) return source.status();
    sources.push_back(*std::move(source));
  }
  std::vector<Held<const Source*>> decoded;
  for (size_t i = 0; i < held.size(); ++i) decoded.push_back({held[i].partition, &sources[i]});
  return EncodeSource(JoinSources(decoded, partitions));
}

absl::StatusOr<std::string> JoinEncodedSends(Values held, uint32_t partitions) {
  std::vector<Held<Send>> sends;
  for (const auto& one : held) {
    auto send = DecodeSend(one.value);
    if (!send.ok()) return send.status();
    sends.push_back({one.partition, *std::move(send)});
  }
  return EncodeSend(JoinSends(sends, partitions));
}

absl::StatusOr<std::string> JoinEncodedProgress(Values held) {
  Catalog whole;
  for (const auto& one : held) {
    Catalog part;
    if (absl::Status bad = DecodeProgress(one.value, part); !bad.ok()) return bad;
    JoinProgress(part, whole);
  }
  return EncodeProgress(whole);
}

}  // namespace

Source JoinSources(std::span<const Held<const Source*>> held, uint32_t partitions) {
  const bool all_know = held.size() == partitions;
  Source whole;
  whole.retired = all_know;
  bool all_complete = all_know;
  std::optional<Instant> complete;
  SourceWord outside;
  bool some_by_sends = false;
  for (const auto& one : held) {
    const Source& part = *one.value;
    whole.Add(part);
    whole.periodic = whole.periodic || part.periodic;
    whole.retired = whole.retired && part.retired;
    all_complete = all_complete && part.complete_through;
    TakeEarliest(part.complete_through, complete);
    // Where no send told of it all was told outside.
    outside.Add(part.outside.value_or(part));
    some_by_sends = some_by_sends || part.outside;
  }
  if (some_by_sends) whole.outside = outside;
  whole.complete_through = all_complete ? complete : std::nullopt;
  return whole;
}

Send JoinSends(std::span<const Held<Send>> held, uint32_t partitions) {
  Send whole = held.front().value;
  size_t taken_back = 0;
  bool being_taken_back = false;
  for (const auto& [partition, part] : held) {
    taken_back += part.state == SendState::kTakenBack ? 1 : 0;
    being_taken_back = being_taken_back || !part.takes_events();
  }
  if (being_taken_back) {
    whole.state = taken_back == partitions ? SendState::kTakenBack : SendState::kBeingTakenBack;
  }
  for (const auto& [partition, part] : held.subspan(1)) {
    whole.accepted += part.accepted;
    whole.repeated += part.repeated;
    whole.conflicts += part.conflicts;
    whole.rejected += part.rejected;
    TakeEarliest(part.first_event, whole.first_event);
    whole.last_event = std::max(whole.last_event, part.last_event);
    if (part.first_sequence != 0 &&
        (whole.first_sequence == 0 || part.first_sequence < whole.first_sequence)) {
      whole.first_sequence = part.first_sequence;
    }
    whole.last_sequence = std::max(whole.last_sequence, part.last_sequence);
    TakeEarliest(part.taken_back, whole.taken_back);
    whole.events_taken_back.gone += part.events_taken_back.gone;
    whole.events_taken_back.staying += part.events_taken_back.staying;
    for (const auto& [name, word] : part.sources) whole.sources[name].Add(word);
  }
  return whole;
}

void JoinProgress(const Catalog& part, Catalog& whole) {
  whole.log_sequence += part.log_sequence;
  whole.latest_event = std::max(whole.latest_event, part.latest_event);
  whole.history_through = std::max(whole.history_through, part.history_through);
  whole.order_count += part.order_count;
  whole.event_count += part.event_count;
  whole.last_send = std::max(whole.last_send, part.last_send);
  whole.purged_count += part.purged_count;
  whole.erased_count += part.erased_count;
  whole.purged_before = std::max(whole.purged_before, part.purged_before);
}

absl::StatusOr<std::string> JoinValues(Space space, std::string_view key, Values held,
                                       uint32_t partitions) {
  switch (space) {
    case Space::kCells: {
      if (held.size() == 1) break;
      const auto page = ParseCellPageKey(key);
      return page.ok() ? AddPages(page->first_day, held) : page.status();
    }
    case Space::kIndex: {
      if (held.size() == 1) break;
      const std::string_view kind = key.substr(0, 1);
      if (kind == kPairPrefix || kind == kGonePairPrefix) return AddCounts(held);
      if (kind == SupplierKey("")) return Latest(held);
      if (kind != kGonePagePrefix) break;
      const auto page = ParseGonePageKey(key);
      return page.ok() ? AddPages(page->first_day, held) : page.status();
    }
    case Space::kMeta:
      if (key == kProgressKey) return JoinEncodedProgress(held);
      if (key.starts_with(kSourcePrefix)) return JoinEncodedSources(held, partitions);
      if (key.starts_with(kSendPrefix)) return JoinEncodedSends(held, partitions);
      break;
    case Space::kOrders:
    case Space::kLog:
      break;
  }
  return std::string(held.front().value);
}

}  // namespace plumblane
