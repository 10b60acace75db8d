#include "engine/series_cache.h"

#include <algorithm>
#include <iterator>
#include <utility>

#include "storage/cell_codec.h"
#include "storage/keys.h"

namespace plumblane {
namespace {

// So much of a pair waits for who asks; what is more is added up as soon as it can be read. Cells
// with an entry added are of no use to who looks at the one before (DEVELOPERS.md, Measurements).
constexpr size_t kMostWaitingBytes = 16 << 10;

constexpr Day kFirstOfAll{INT32_MIN};

size_t BytesOf(const Cell& cell) {
  return (cell.counted.outcomes.capacity() + cell.excused.outcomes.capacity()) * sizeof(Outcome);
}

// All but what cells before `first` hold.
size_t BytesFrom(const Series& series, Day first) {
  size_t bytes = series.capacity() * sizeof(Cohort);
  auto cohort = std::lower_bound(series.begin(), series.end(), first,
                                 [](const Cohort& one, Day day) { return one.day < day; });
  for (; cohort != series.end(); ++cohort) bytes += BytesOf(cohort->cell);
  return bytes;
}

size_t BytesOf(const MeasureSet& measures) {
  size_t bytes = sizeof(MeasureSet);
  for (const Series& series : measures.series) bytes += BytesFrom(series, kFirstOfAll);
  return bytes;
}

}  // namespace

absl::StatusOr<MeasureSet> ReadPair(const Snapshot& snapshot, const Pair& pair, Measure last) {
  const auto cells = [&](std::string_view prefix, std::string_view from,
                         const Snapshot::Each& each) {
    return snapshot.Scan(Space::kCells, prefix, from, each);
  };
  return ReadPair(cells, pair, last);
}

absl::StatusOr<MeasureSet> ReadPair(const Snapshot::Scanner& cells, const Pair& pair,
                                    Measure last) {
  MeasureSet measures;
  absl::Status bad;
  const absl::Status scanned = cells(CellPrefix(pair), "", [&](auto key, auto value) {
    const auto page = ParseCellPageKey(key);
    bad.Update(page.status());
    if (!page.ok() || page->measure > last) return false;
    auto series = DecodePage(page->first_day, value);
    bad.Update(series.status());
    if (!series.ok()) return false;
    Series& all = measures[page->measure];
    all.insert(all.end(), std::make_move_iterator(series->begin()),
               std::make_move_iterator(series->end()));
    return true;
  });
  bad.Update(scanned);
  if (!bad.ok()) return bad;
  return measures;
}

absl::StatusOr<std::shared_ptr<const MeasureSet>> SeriesCache::Read(const Snapshot& snapshot,
                                                                    uint64_t sequence,
                                                                    const Pair& pair) {
  std::shared_ptr<Record> record;
  {
    std::lock_guard lock(mutex_);
    if (auto found = Find(sequence, pair)) return found;
    // What was noted after `sequence` and before this record would be missing from it.
    if (noted_ <= sequence && !by_pair_.contains(pair)) {
      record = std::make_shared<Record>(Record{pair, nullptr, sequence, {}, 0});
      records_.push_front(record);
      by_pair_[pair] = records_.begin();
    }
  }
  auto read = ReadPair(snapshot, pair, kLastMeasure);
  std::lock_guard lock(mutex_);
  const auto it = by_pair_.find(pair);
  const bool kept = record && it != by_pair_.end() && *it->second == record;
  if (!read.ok()) {
    if (kept) {
      bytes_ -= record->bytes;
      records_.erase(it->second);
      by_pair_.erase(it);
    }
    return read.status();
  }
  auto measures = std::make_shared<MeasureSet>(*std::move(read));
  if (kept) {
    measures->kept = std::make_shared<KeptSpans>();
    record->measures = measures;
    Weigh(*record, {0, BytesOf(*measures)});
    WeighSpans(*record);
    MakeRoom();
  }
  return measures;
}

std::shared_ptr<const MeasureSet> SeriesCache::Peek(uint64_t sequence, const Pair& pair) {
  std::lock_guard lock(mutex_);
  return Find(sequence, pair);
}

absl::StatusOr<std::shared_ptr<const MeasureSet>> SeriesCache::ReadAside(const Snapshot& snapshot,
                                                                         uint64_t sequence,
                                                                         const Pair& pair,
                                                                         Measure last) {
  std::shared_ptr<const MeasureSet> kept;
  Changes changes;
  {
    std::lock_guard lock(mutex_);
    const auto it = by_pair_.find(pair);
    if (it != by_pair_.end() && (*it->second)->through <= sequence) {
      kept = (*it->second)->measures;
      changes = (*it->second)->waiting;
    }
  }
  std::erase_if(changes, [&](const auto& one) {
    return one->sequence > sequence || one->series.front().first > last;  // ascending by measure
  });
  if (kept && changes.empty()) return kept;
  if (!kept) {
    auto read = ReadPair(snapshot, pair, last);
    if (!read.ok()) return read.status();
    return std::make_shared<const MeasureSet>(*std::move(read));
  }
  auto measures = std::make_shared<MeasureSet>();
  for (int number = 1; number <= static_cast<int>(last); ++number) {
    const auto measure = static_cast<Measure>(number);
    (*measures)[measure] = (*kept)[measure];
  }
  for (const auto& change : changes) {
    for (const auto& [measure, series] : change->series) {
      if (measure <= last) AddSeries((*measures)[measure], series);
    }
  }
  return measures;
}

std::shared_ptr<const MeasureSet> SeriesCache::Find(uint64_t sequence, const Pair& pair) {
  const auto it = by_pair_.find(pair);
  if (it == by_pair_.end()) return nullptr;
  Record& record = **it->second;
  if (!record.measures || record.through > sequence) return nullptr;
  records_.splice(records_.begin(), records_, it->second);
  CatchUp(record, sequence);
  WeighSpans(record);
  MakeRoom();
  return record.measures;
}

void SeriesCache::Note(uint64_t sequence, const CellChanges& changes) {
  // The writer gives way to who asks, so it must not hold them up: what takes time is done before
  // the mutex is taken.
  std::vector<std::pair<const Pair*, std::shared_ptr<const Change>>> of_pairs;
  for (const PairChange& one : changes) {
    Change change{sequence, {}, sizeof(Change)};
    for (const auto& [measure, day, cell] : one.cells) {
      if (change.series.empty() || change.series.back().first != measure) {
        change.series.push_back({measure, {}});
      }
      change.series.back().second.push_back({day, cell});
      change.bytes += sizeof(Cohort) + BytesOf(cell);
    }
    of_pairs.push_back({&one.pair, std::make_shared<const Change>(std::move(change))});
  }
  std::lock_guard lock(mutex_);
  noted_ = sequence;
  for (auto& [pair, change] : of_pairs) {
    const auto known = by_pair_.find(*pair);
    if (known == by_pair_.end()) continue;
    Record& record = **known->second;
    record.bytes += change->bytes;
    bytes_ += change->bytes;
    record.waiting.push_back(std::move(change));
    size_t waiting = 0;
    for (const auto& one : record.waiting) waiting += one->bytes;
    if (waiting > kMostWaitingBytes) behind_.push_back(*pair);
  }
  MakeRoom();
}

void SeriesCache::Settle() {
  std::vector<Pair> behind;
  {
    std::lock_guard lock(mutex_);
    behind.swap(behind_);
  }
  for (const Pair& pair : behind) {
    std::shared_ptr<Record> record;
    std::shared_ptr<MeasureSet> measures;
    Changes changes;
    {
      std::lock_guard lock(mutex_);
      const auto known = by_pair_.find(pair);
      if (known == by_pair_.end()) continue;
      record = *known->second;
      if (!record->measures || record->waiting.empty()) continue;
      measures = std::move(record->measures);
      changes = std::move(record->waiting);
      record->waiting.clear();
    }
    const Difference made = Add(changes, measures);
    std::lock_guard lock(mutex_);
    record->measures = std::move(measures);
    record->through = changes.back()->sequence;
    // Who was dropped to make room is weighed no more.
    const auto known = by_pair_.find(pair);
    if (known == by_pair_.end() || *known->second != record) continue;
    Weigh(*record, made);
    WeighSpans(*record);
    MakeRoom();
  }
}

void SeriesCache::CatchUp(Record& record, uint64_t sequence) {
  const auto later = std::find_if(record.waiting.begin(), record.waiting.end(),
                                  [&](const auto& one) { return one->sequence > sequence; });
  if (later == record.waiting.begin()) return;
  record.through = (*std::prev(later))->sequence;
  const Difference made = Add({record.waiting.begin(), later}, record.measures);
  record.waiting.erase(record.waiting.begin(), later);
  Weigh(record, made);
}

SeriesCache::Difference SeriesCache::Add(std::span<const std::shared_ptr<const Change>> changes,
                                         std::shared_ptr<MeasureSet>& measures) {
  Difference made;
  // Somebody may still be reading what was handed out.
  if (measures.use_count() > 1) {
    made.before += BytesOf(*measures);
    measures = std::make_shared<MeasureSet>(*measures);
    measures->kept = std::make_shared<KeptSpans>(*measures->kept);
    made.after += BytesOf(*measures);
  } else {
    // The count by itself orders nothing. To let a copy go comes after all that others did before
    // they let go theirs.
    std::shared_ptr<const MeasureSet>(measures).reset();
  }
  for (const auto& change : changes) {
    made.before += change->bytes;
    for (const auto& [measure, series] : change->series) {
      Series& own = (*measures)[measure];
      const Day first = series.front().day;
      made.before += BytesFrom(own, first);
      AddSeries(own, series);
      made.after += BytesFrom(own, first);
      for (const Cohort& cohort : series) measures->kept->Forget(measure, cohort.day);
    }
  }
  return made;
}

void SeriesCache::Weigh(Record& record, const Difference& made) {
  record.bytes += made.after - made.before;
  bytes_ += made.after - made.before;
}

// Who asks adds to them.
void SeriesCache::WeighSpans(Record& record) {
  const size_t spans = record.measures->kept->bytes();
  bytes_ += spans - record.span_bytes;
  record.span_bytes = spans;
}

void SeriesCache::MakeRoom() {
  while (bytes_ > max_bytes_ && records_.size() > 1) {
    bytes_ -= records_.back()->bytes + records_.back()->span_bytes;
    by_pair_.erase(records_.back()->pair);
    records_.pop_back();
  }
}

size_t SeriesCache::bytes() const {
  std::lock_guard lock(mutex_);
  return bytes_;
}

}  // namespace plumblane
