// What orders no longer kept add to the cells (changes.h).
#include "engine/changes.h"
#include "engine/records.h"
#include "storage/cell_codec.h"
#include "storage/keys.h"

namespace plumblane {

void Changes::LetGo(const OrderKey& order, const OrderState& state) {
  for (const PartState& part : state.parts) {
    for (const Entry& entry : part.entries) gone_.Add(entry, 1);
    if (part.counts()) ++gone_parts_[{part.supplier, part.lane}];
    NoteIndex(order, &part, nullptr);
  }
}

absl::Status Changes::AddGone(const Snapshot& snapshot) {
  absl::Status bad;
  bad.Update(snapshot.Scan(Space::kIndex, kGonePagePrefix, "", [&](auto key, auto value) {
    const auto page = ParseGonePageKey(key);
    bad.Update(page.status());
    if (!page.ok()) return false;
    const auto series = DecodePage(page->first_day, value);
    bad.Update(series.status());
    if (!series.ok()) return false;
    for (const Cohort& one : *series) {
      CellAt(Find(page->pair), page->measure, one.day).Add(one.cell);
    }
    return true;
  }));
  bad.Update(snapshot.Scan(Space::kIndex, kGonePairPrefix, "", [&](auto key, auto value) {
    const auto pair = ParseGonePairKey(key);
    const auto parts = DecodeCount(value);
    bad.Update(pair.status());
    bad.Update(parts.status());
    if (bad.ok()) pairs_[Find(*pair)].parts += *parts;
    return bad.ok();
  }));
  return bad;
}

absl::Status Changes::AppendGone(const Snapshot& snapshot, Batch& batch) const {
  std::map<std::string, Series> pages;
  for (const auto& [key, cell] : gone_.map()) {
    if (key.pair == Pair()) continue;
    pages[GonePageKey(key)].push_back({key.day, cell});
  }
  for (auto& [key, page] : pages) {
    const Day first_day = FirstDayOf(PageOf(page.front().day));
    const auto stored = snapshot.Get(Space::kIndex, key);
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
    const auto stored = snapshot.Get(Space::kIndex, key);
    if (!stored.ok()) return stored.status();
    absl::StatusOr<int64_t> before = 0;
    if (*stored) before = DecodeCount(**stored);
    if (!before.ok()) return before.status();
    batch.Put(Space::kIndex, key, EncodeCount(*before + parts));
  }
  return absl::OkStatus();
}

}  // namespace plumblane
