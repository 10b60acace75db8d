#include "engine/changes.h"

#include <absl/strings/str_cat.h>

#include <algorithm>

#include "engine/records.h"
#include "storage/cell_codec.h"
#include "storage/keys.h"

namespace plumblane {

namespace {

const std::vector<Entry>& EntriesOfPart(const OrderState& state, int part) {
  static const std::vector<Entry> none;
  for (const PartState& one : state.parts) {
    if (one.part == part) return one.entries;
  }
  return none;
}

}  // namespace

StandingDelta StandingOf(const OrderState& state) {
  StandingDelta standing;
  for (const PartState& part : state.parts) {
    ++standing.orders;
    if (!part.counts()) {
      ++standing.waiting;
    } else if (!part.promised_day) {
      ++standing.unpromised;
    }
  }
  return standing;
}

void Changes::Replace(const OrderKey& order, const OrderState& before, const OrderState& after) {
  const auto note = [&](const OrderState& state, const OrderState& other, int sign) {
    for (const PartState& part : state.parts) {
      const std::vector<Entry>& same = EntriesOfPart(other, part.part);
      for (const Entry& entry : part.entries) {
        // Most entries stay as they are; there is no need to take them out and put them in.
        if (std::find(same.begin(), same.end(), entry) == same.end()) cells_.Add(entry, sign);
      }
      if (part.counts()) pairs_[{part.supplier, part.lane}] += sign;
      for (std::string& key : IndexKeys(order, part)) index_[std::move(key)] += sign;
    }
  };
  note(before, after, -1);
  note(after, before, 1);
}

void Changes::Heard(const OrderState& after, Instant time) {
  for (const PartState& part : after.parts) {
    if (part.supplier.empty()) continue;
    Instant& heard = heard_.try_emplace(part.supplier, time).first->second;
    heard = std::max(heard, time);
  }
}

absl::Status Changes::AppendTo(const Snapshot& snapshot, Batch& batch, std::set<Pair>& born,
                               std::set<Pair>& gone) const {
  if (absl::Status status = AppendCells(snapshot, batch); !status.ok()) return status;
  if (absl::Status status = AppendPairs(snapshot, batch, born, gone); !status.ok()) return status;
  if (absl::Status status = AppendHeard(snapshot, batch); !status.ok()) return status;
  for (const auto& [key, change] : index_) {
    if (change > 0) batch.Put(Space::kIndex, key, "");
    if (change < 0) batch.Delete(Space::kIndex, key);
  }
  return absl::OkStatus();
}

absl::Status Changes::AppendCells(const Snapshot& snapshot, Batch& batch) const {
  struct Page {
    Measure measure;
    Day first_day;
    Series change;
  };
  std::map<std::string, Page> pages;
  for (const auto& [key, cell] : cells_.map()) {
    Page& page = pages[CellPageKey(key)];
    page.measure = key.measure;
    page.first_day = FirstDayOf(PageOf(key.day));
    page.change.push_back({key.day, cell});
  }
  std::vector<std::string> keys;
  keys.reserve(pages.size());
  for (const auto& [key, page] : pages) keys.push_back(key);
  auto stored = snapshot.GetAll(Space::kCells, keys);
  if (!stored.ok()) return stored.status();
  auto value = stored->begin();
  for (auto& [key, page] : pages) {
    Series sum;
    if (*value) {
      auto decoded = DecodePage(page.first_day, **value);
      if (!decoded.ok()) return decoded.status();
      sum = *std::move(decoded);
    }
    ++value;
    AddSeries(sum, page.change);
    for (const Cohort& cohort : sum) {
      if (!IsPlausible(page.measure, cohort.cell)) {
        return absl::InternalError(absl::StrCat("a cell of measure ", IndexOf(page.measure) + 1,
                                                " on ", FormatDay(cohort.day),
                                                " would hold more outcomes than orders"));
      }
    }
    if (sum.empty()) {
      batch.Delete(Space::kCells, key);
    } else {
      batch.Put(Space::kCells, key, EncodePage(page.first_day, sum));
    }
  }
  return absl::OkStatus();
}

absl::Status Changes::AppendPairs(const Snapshot& snapshot, Batch& batch, std::set<Pair>& born,
                                  std::set<Pair>& gone) const {
  for (const auto& [pair, change] : pairs_) {
    if (change == 0) continue;
    const std::string key = PairKey(pair);
    const auto stored = snapshot.Get(Space::kIndex, key);
    if (!stored.ok()) return stored.status();
    int64_t count = 0;
    if (*stored) {
      const auto decoded = DecodeCount(**stored);
      if (!decoded.ok()) return decoded.status();
      count = *decoded;
    } else {
      born.insert(pair);
    }
    count += change;
    if (count < 0) return absl::InternalError("a pair would have fewer than no orders");
    if (count == 0) {
      batch.Delete(Space::kIndex, key);
      gone.insert(pair);
    } else {
      batch.Put(Space::kIndex, key, EncodeCount(count));
    }
  }
  return absl::OkStatus();
}

absl::Status Changes::AppendHeard(const Snapshot& snapshot, Batch& batch) const {
  for (const auto& [supplier, time] : heard_) {
    const std::string key = SupplierKey(supplier);
    const auto stored = snapshot.Get(Space::kIndex, key);
    if (!stored.ok()) return stored.status();
    if (*stored) {
      const auto known = DecodeInstant(**stored);
      if (!known.ok()) return known.status();
      if (*known >= time) continue;
    }
    batch.Put(Space::kIndex, key, EncodeInstant(time));
  }
  return absl::OkStatus();
}

}  // namespace plumblane
