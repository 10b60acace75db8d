// What orders no longer kept add to the cells (changes.h).
#include <functional>

#include "engine/changes.h"
#include "engine/records.h"
#include "storage/cell_codec.h"
#include "storage/keys.h"

namespace plumblane {
namespace {

// Of one supplier, or of all for "".
absl::Status EachGonePage(
    const Snapshot& snapshot, const std::string& supplier,
    const std::function<void(std::string_view, const CellPage&, const Series&)>& each) {
  absl::Status bad;
  std::string prefix(kGonePagePrefix);
  if (!supplier.empty()) prefix += supplier + '\0';
  bad.Update(snapshot.Scan(Space::kIndex, prefix, "", [&](auto key, auto value) {
    const auto page = ParseGonePageKey(key);
    bad.Update(page.status());
    if (!page.ok()) return false;
    const auto series = DecodePage(page->first_day, value);
    bad.Update(series.status());
    if (series.ok()) each(key, *page, *series);
    return bad.ok();
  }));
  return bad;
}

absl::Status EachGonePair(const Snapshot& snapshot,
                          const std::function<void(const Pair&, int64_t)>& each) {
  absl::Status bad;
  bad.Update(snapshot.Scan(Space::kIndex, kGonePairPrefix, "", [&](auto key, auto value) {
    const auto pair = ParseGonePairKey(key);
    const auto parts = DecodeCount(value);
    bad.Update(pair.status());
    bad.Update(parts.status());
    if (bad.ok()) each(*pair, *parts);
    return bad.ok();
  }));
  return bad;
}

}  // namespace

void Changes::LetGo(const OrderKey& order, const OrderState& state) {
  for (const PartState& part : state.parts) {
    const Pair pair{part.supplier, part.lane};
    for (const Entry& entry : part.entries) gone_.Add(pair, entry, 1);
    if (part.counts()) ++gone_parts_[pair];
    NoteIndex(order, &part, nullptr);
  }
}

absl::Status Changes::AddGone(const Snapshot& snapshot) {
  absl::Status bad = EachGonePage(
      snapshot, "", [this](std::string_view, const CellPage& page, const Series& series) {
        for (const Cohort& one : series) {
          Add(page.pair, page.measure, one.day, one.cell, 1);
        }
      });
  bad.Update(EachGonePair(
      snapshot, [this](const Pair& pair, int64_t parts) { pairs_[Find(pair)].parts += parts; }));
  return bad;
}

absl::Status Changes::EraseGone(const Snapshot& snapshot, const std::string& supplier) {
  gone_erased_.insert(supplier);
  absl::Status bad = EachGonePage(
      snapshot, supplier, [this](std::string_view, const CellPage& page, const Series& series) {
        for (const Cohort& one : series) {
          Add(page.pair, page.measure, one.day, one.cell, -1);
        }
      });
  bad.Update(EachGonePair(snapshot, [&](const Pair& pair, int64_t parts) {
    if (pair.supplier == supplier) pairs_[Find(pair)].parts -= parts;
  }));
  return bad;
}

absl::Status Changes::AppendGone(const Snapshot& snapshot, Batch& batch) const {
  absl::Status bad;
  for (const std::string& supplier : gone_erased_) {
    bad.Update(
        EachGonePage(snapshot, supplier, [&](std::string_view key, const CellPage&, const Series&) {
          batch.Delete(Space::kIndex, std::string(key));
        }));
  }
  if (!gone_erased_.empty()) {
    bad.Update(EachGonePair(snapshot, [&](const Pair& pair, int64_t) {
      if (gone_erased_.contains(pair.supplier)) batch.Delete(Space::kIndex, GonePairKey(pair));
    }));
  }
  if (!bad.ok()) return bad;
  const auto stored_of = [&](const Pair& pair, const std::string& key) {
    using Stored = absl::StatusOr<std::optional<std::string>>;
    return gone_erased_.contains(pair.supplier) ? Stored(std::nullopt)
                                                : snapshot.Get(Space::kIndex, key);
  };
  std::map<std::string, std::pair<Pair, Series>> pages;
  for (const auto& [key, cell] : gone_.map()) {
    if (key.pair == Pair()) continue;
    auto& page = pages[GonePageKey(key)];
    page.first = key.pair;
    page.second.push_back({key.day, cell});
  }
  for (auto& [key, of] : pages) {
    auto& [pair, page] = of;
    const Day first_day = FirstDayOf(PageOf(page.front().day));
    const auto stored = stored_of(pair, key);
    if (!stored.ok()) return stored.status();
    if (*stored) {
      const auto before = DecodePage(first_day, **stored);
      if (!before.ok()) return before.status();
      AddSeries(page, *before);
    }
    if (page.empty()) {  // money given and taken back
      batch.Delete(Space::kIndex, key);
    } else {
      batch.Put(Space::kIndex, key, EncodePage(first_day, page));
    }
  }
  for (const auto& [pair, parts] : gone_parts_) {
    const std::string key = GonePairKey(pair);
    const auto stored = stored_of(pair, key);
    if (!stored.ok()) return stored.status();
    absl::StatusOr<int64_t> before = 0;
    if (*stored) before = DecodeCount(**stored);
    if (!before.ok()) return before.status();
    batch.Put(Space::kIndex, key, EncodeCount(*before + parts));
  }
  return absl::OkStatus();
}

}  // namespace plumblane
