// Walking all orders: a change of fold rules, and the comparison of cells with orders.
#include <absl/strings/escaping.h>
#include <absl/strings/str_cat.h>

#include <algorithm>
#include <iterator>

#include "engine/applier.h"
#include "engine/assignments.h"
#include "engine/changes.h"
#include "engine/leaving.h"
#include "orders/tellings.h"
#include "storage/cell_codec.h"
#include "storage/keys.h"
#include "storage/memory_store.h"
#include "storage/order_codec.h"

namespace plumblane {
namespace {

constexpr int64_t kToldEvery = 256;

std::string Readable(std::string_view key) {
  return absl::CHexEscape(absl::string_view(key.data(), key.size()));
}

// Kinds of index keys that the fold of an order makes (storage/keys.h).
constexpr char kFoldedIndexes[] = {'o', 'd', 't', 'c', 'l'};

// Compares what was folded with what is stored under `prefix` of a space.
absl::StatusOr<std::string> Compare(const Snapshot& snapshot, Space space, std::string_view prefix,
                                    const std::map<std::string, std::string>& folded,
                                    std::string_view what) {
  std::string difference;
  auto expected = folded.begin();
  const absl::Status scanned = snapshot.Scan(space, prefix, "", [&](auto key, auto value) {
    if (expected == folded.end() || key < expected->first) {
      difference =
          absl::StrCat(std::string(what), " ", Readable(key), " is stored but no order makes it");
    } else if (key > expected->first) {
      difference = absl::StrCat(std::string(what), " ", Readable(expected->first), " is missing");
    } else if (value != expected->second) {
      difference = absl::StrCat(std::string(what), " ", Readable(key),
                                " differs from the fold of its orders");
    } else {
      ++expected;
    }
    return difference.empty();
  });
  if (!scanned.ok()) return scanned;
  if (difference.empty() && expected != folded.end()) {
    difference = absl::StrCat(std::string(what), " ", Readable(expected->first), " is missing");
  }
  return difference;
}

std::map<std::string, std::string> EncodePages(const CellChanges& changes) {
  std::map<std::string, Series> pages;
  for (const auto& [pair, cells] : changes) {
    for (const CellChange& one : cells) {
      pages[CellPageKey({pair, one.measure, one.day})].push_back({one.day, one.cell});
    }
  }
  std::map<std::string, std::string> encoded;
  for (const auto& [key, page] : pages)
    encoded[key] = EncodePage(FirstDayOf(PageOf(page.front().day)), page);
  return encoded;
}

// Compares what became of assignments with their orders, and the list by time with them.
absl::StatusOr<std::string> CompareAssignments(const Snapshot& snapshot, const Catalog& catalog,
                                               const FoldRules& rules) {
  std::map<std::string, std::string> records, by_time;
  OpenAssignments open;
  absl::Status bad = snapshot.Scan(Space::kIndex, kAssignmentPrefix, "", [&](auto key, auto value) {
    records.emplace(key, value);
    return true;
  });
  if (!bad.ok()) return bad;
  for (const auto& [key, value] : records) {
    const auto stored = DecodeAssignment(value);
    if (!stored.ok()) return stored.status();
    const Assignment& given = stored->assignment;
    by_time[AssignedKey(given.time, given.order, given.part)] = "";
    const auto record = snapshot.Get(Space::kOrders, OrderRecordKey(given.order));
    if (!record.ok()) return record.status();
    if (!*record && stored->state != AssignmentState::kOpen) {
      // It stays as it was when its order left.
      const auto gone = NotKeptSince(snapshot, given.order);
      if (!gone.ok()) return gone.status();
      if (*gone) continue;
    }
    OrderState order;
    if (*record) {
      const auto events = DecodeOrder(**record);
      if (!events.ok()) return events.status();
      order = Fold(given.order, *events, rules, *catalog.excuses);
    }
    const std::string* paid_to = PaidTo(order, given.part);
    const AssignmentState state = StateOf(given, paid_to ? std::optional(*paid_to) : std::nullopt);
    if (key != AssignmentKey(given.order, given.part) || state != stored->state) {
      return absl::StrCat("assignment ", Readable(key), " differs from the fold of its order");
    }
    if (state == AssignmentState::kOpen) {
      open.by_part[{given.order, given.part}] = {given.pick.supplier, given.time};
    }
  }
  if (open != *catalog.assignments) return std::string("open assignments differ from the stored");
  return Compare(snapshot, Space::kIndex, kAssignedPrefix, by_time, "time of an assignment");
}

}  // namespace

absl::StatusOr<Batch> WritePagesAnew(const Snapshot& snapshot, Space space, size_t limit,
                                     std::string& from) {
  const bool gone = space == Space::kIndex;
  Batch batch;
  absl::Status bad;
  const absl::Status scanned = snapshot.Scan(
      space, gone ? kGonePagePrefix : std::string_view(), from, [&](auto key, auto value) {
        const auto page = gone ? ParseGonePageKey(key) : ParseCellPageKey(key);
        bad = page.status();
        if (!bad.ok()) return false;
        const auto series = DecodePage(page->first_day, value);
        bad = series.status();
        if (!bad.ok()) return false;
        batch.Put(space, std::string(key), EncodePage(page->first_day, *series));
        return batch.changes.size() < limit;
      });
  bad.Update(scanned);
  if (!bad.ok()) return bad;
  if (!batch.changes.empty()) from = batch.changes.back().key + '\0';
  return batch;
}

absl::StatusOr<Batch> UpgradeFormat(const Snapshot& snapshot, const Catalog& catalog,
                                    Format& format) {
  Changes changes;
  Batch batch;
  absl::Status bad;
  const auto drop = [&](Space space, std::string_view prefix) {
    bad.Update(snapshot.Scan(space, prefix, "", [&](auto key, auto) {
      batch.Delete(space, std::string(key));
      return true;
    }));
  };
  drop(Space::kCells, "");
  for (const char kind : kFoldedIndexes) drop(Space::kIndex, std::string_view(&kind, 1));
  drop(Space::kIndex, kPairPrefix);
  if (!bad.ok()) return bad;
  const absl::Status scanned = snapshot.Scan(Space::kOrders, "", "", [&](auto key, auto value) {
    const auto events = DecodeOrder(value);
    bad = events.status();
    if (!bad.ok()) return false;
    const bool refolded = format.next_rules && key <= format.refolded_through;
    const OrderKey order = ParseOrderRecordKey(key);
    changes.Replace(
        order, {},
        Fold(order, *events, refolded ? *format.next_rules : format.rules, *catalog.excuses));
    return true;
  });
  bad.Update(scanned);
  bad.Update(changes.AddGone(snapshot));
  if (!bad.ok()) return bad;
  const MemoryStore nothing;
  std::set<Pair> born, gone;
  WritersMemory empty(0);
  absl::Status added = changes.AppendTo(*nothing.TakeSnapshot(), empty, batch, born, gone);
  if (!added.ok()) return added;
  format.version = kFormatVersion;
  batch.Put(Space::kMeta, std::string(kFormatKey), EncodeFormat(format));
  return batch;
}

absl::StatusOr<Batch> RefoldSome(const Snapshot& snapshot, const Catalog& catalog, size_t limit,
                                 Format& format) {
  Changes changes;
  absl::Status bad;
  size_t seen = 0;
  bool more = false;
  std::string last;
  const absl::Status scanned =
      snapshot.Scan(Space::kOrders, "", format.refolded_through, [&](auto key, auto value) {
        if (key == format.refolded_through) return true;
        if (seen == limit) {
          more = true;
          return false;
        }
        auto events = DecodeOrder(value);
        bad = events.status();
        if (!bad.ok()) return false;
        const OrderKey order = ParseOrderRecordKey(key);
        changes.Replace(order, Fold(order, *events, format.rules, *catalog.excuses),
                        Fold(order, *events, *format.next_rules, *catalog.excuses));
        last = key;
        ++seen;
        return true;
      });
  bad.Update(scanned);
  if (!bad.ok()) return bad;
  if (more) {
    format.refolded_through = last;
  } else {
    format.rules = *format.next_rules;
    format.next_rules.reset();
    format.refolded_through.clear();
  }
  Batch batch;
  std::set<Pair> born, gone;  // rules do not change which parts count
  WritersMemory empty(0);
  if (absl::Status status = changes.AppendTo(snapshot, empty, batch, born, gone); !status.ok()) {
    return status;
  }
  batch.Put(Space::kMeta, std::string(kFormatKey), EncodeFormat(format));
  return batch;
}

absl::StatusOr<std::string> FindDifference(const Snapshot& snapshot, const Catalog& catalog,
                                           const FoldRules& rules,
                                           const std::function<bool(int64_t)>& told) {
  Changes all;
  absl::Status bad;
  std::map<std::string, std::string> sends;
  int64_t records = 0, orders = 0, events_seen = 0;
  const absl::Status scanned = snapshot.Scan(Space::kOrders, "", "", [&](auto key, auto value) {
    auto events = DecodeOrder(value);
    bad = events.status();
    if (!bad.ok()) return false;
    const OrderKey order = ParseOrderRecordKey(key);
    const OrderState state = Fold(order, *events, rules, *catalog.excuses);
    all.Replace(order, {}, state);
    orders += static_cast<int64_t>(state.parts.size());
    events_seen += static_cast<int64_t>(events->size());
    if (told && ++records % kToldEvery == 0 && !told(records)) {
      bad = absl::CancelledError("given up");
      return false;
    }
    for (const int64_t send : SendsOf(*events)) sends[SendOrderKey(send, order)] = "";
    return true;
  });
  bad.Update(scanned);
  bad.Update(all.AddGone(snapshot));
  if (!bad.ok()) return bad;

  if (orders != catalog.order_count || events_seen != catalog.event_count) {
    return absl::StrCat("stored are ", orders, " order parts with ", events_seen,
                        " events, counted were ", catalog.order_count, " with ",
                        catalog.event_count);
  }
  auto difference = Compare(snapshot, Space::kCells, "", EncodePages(all.TakeCells()), "cell page");
  if (!difference.ok() || !difference->empty()) return difference;
  std::map<std::string, std::string> pairs;
  for (const auto& [pair, count] : all.PairCounts()) pairs[PairKey(pair)] = EncodeCount(count);
  difference = Compare(snapshot, Space::kIndex, kPairPrefix, pairs, "pair");
  if (!difference.ok() || !difference->empty()) return difference;
  for (const char kind : kFoldedIndexes) {
    std::map<std::string, std::string> keys;
    for (const auto& [key, count] : all.index()) {
      if (key[0] == kind) keys[key] = "";
    }
    difference = Compare(snapshot, Space::kIndex, std::string_view(&kind, 1), keys, "index entry");
    if (!difference.ok() || !difference->empty()) return difference;
  }
  difference = Compare(snapshot, Space::kIndex, "n", sends, "order of a send");
  if (!difference.ok() || !difference->empty()) return difference;
  return CompareAssignments(snapshot, catalog, rules);
}

}  // namespace plumblane
