#include "engine/changes.h"

#include <absl/numeric/int128.h>
#include <absl/strings/str_cat.h>

#include <algorithm>
#include <boost/sort/pdqsort/pdqsort.hpp>
#include <iterator>
#include <numeric>
#include <optional>

#include "engine/records.h"
#include "storage/cell_codec.h"
#include "storage/keys.h"

namespace plumblane {

namespace {

const PartState* FindPart(const OrderState& state, int part) {
  for (const PartState& one : state.parts) {
    if (one.part == part) return &one;
  }
  return nullptr;
}

bool IsRate(Measure measure) { return measure == Measure::kOnTime || measure == Measure::kDefect; }

// Whose place is above the 40 bits that measure and day take.
constexpr int kPairShift = 40;
uint64_t CellNumber(size_t pair, Measure measure, Day day) {
  return static_cast<uint64_t>(pair) << kPairShift | static_cast<uint64_t>(measure) << 32 |
         static_cast<uint32_t>(day.number);
}
size_t PairIn(uint64_t cell) { return cell >> kPairShift; }
uint64_t WithPair(uint64_t cell, size_t pair) {
  return static_cast<uint64_t>(pair) << kPairShift | (cell & ((uint64_t{1} << kPairShift) - 1));
}
Measure MeasureIn(uint64_t cell) { return static_cast<Measure>(cell >> 32 & 0xFF); }
Day DayIn(uint64_t cell) { return {static_cast<int32_t>(static_cast<uint32_t>(cell))}; }

// Of the numbers of a cell, in the order of a tally: those who entered, whose code is none, first.
constexpr uint64_t kEntered = 0, kExcused = uint64_t{1} << 40;
uint64_t NumberOf(Code code, uint32_t bucket) { return static_cast<uint64_t>(code) << 32 | bucket; }

void AddNumber(uint64_t number, int64_t by, Cell& cell) {
  Tally& tally = (number & kExcused) != 0 ? cell.excused : cell.counted;
  const auto code = static_cast<uint8_t>(number >> 32);
  if (code == 0) {
    tally.entered += by;
  } else {
    tally.outcomes.push_back({static_cast<Code>(code), static_cast<uint32_t>(number), by});
  }
}

// So many pieces are summed up now and then, lest those of all orders be kept.
constexpr size_t kManyPieces = size_t{1} << 17;

// False: its cell would hold less than nothing.
bool AddCell(Measure measure, Day day, const Cell& change, Series& page) {
  auto at = std::lower_bound(page.begin(), page.end(), day,
                             [](const Cohort& one, Day other) { return one.day < other; });
  if (at == page.end() || at->day != day) {
    at = page.insert(at, {day, change});
  } else {
    at->cell.Add(change);
  }
  if (!IsPlausible(measure, at->cell)) return false;
  if (at->cell.empty()) page.erase(at);
  return true;
}

size_t BytesOf(const Series& page) {
  size_t bytes = page.capacity() * sizeof(Cohort);
  for (const Cohort& one : page) {
    bytes += (one.cell.counted.outcomes.capacity() + one.cell.excused.outcomes.capacity()) *
             sizeof(Outcome);
  }
  return bytes;
}

}  // namespace

Changes::Changes() { Find(Pair{}); }

size_t Changes::Find(const Pair& pair) {
  const auto [at, is_new] = pair_at_.try_emplace(pair, pairs_.size());
  if (is_new) pairs_.push_back({pair});
  return at->second;
}

void Changes::Add(size_t pair, const Entry& entry, int64_t sign) {
  const uint64_t cell = CellNumber(pair, entry.measure, entry.day);
  const uint64_t tally = entry.excused ? kExcused : 0;
  if (entry.entered != 0) pieces_.push_back({cell, tally | kEntered, sign * entry.entered});
  for (const Outcome& outcome : entry.outcomes) {
    pieces_.push_back({cell, tally | NumberOf(outcome.code, outcome.bucket), sign * outcome.count});
  }
  if (pieces_.size() > std::max(kManyPieces, 2 * pieces_summed_)) SumUpPieces();
}

void Changes::Add(const Pair& pair, Measure measure, Day day, const Cell& cell, int64_t sign) {
  const auto add = [&](const Tally& tally, bool excused) {
    Add(Find(pair),
        {measure, day, excused, tally.entered, {tally.outcomes.begin(), tally.outcomes.end()}},
        sign);
  };
  add(cell.counted, false);
  add(cell.excused, true);
}

void Changes::SumUpPieces() {
  // One comparison without a branch, which nobody could foretell; there are many pieces.
  const auto before = [](const Piece& a, const Piece& b) {
    return absl::MakeUint128(a.cell, a.number) < absl::MakeUint128(b.cell, b.number);
  };
  boost::sort::pdqsort_branchless(pieces_.begin(), pieces_.end(), before);
  auto end = pieces_.begin();
  for (auto piece = pieces_.begin(); piece != pieces_.end();) {
    Piece sum = *piece++;
    for (; piece != pieces_.end() && !before(sum, *piece); ++piece) sum.by += piece->by;
    if (sum.by != 0) *end++ = sum;
  }
  pieces_.erase(end, pieces_.end());
  pieces_summed_ = pieces_.size();
}

void Changes::Replace(const OrderKey& order, const OrderState& before, const OrderState& after) {
  for (const PartState& was : before.parts) {
    const PartState* is = FindPart(after, was.part);
    Note(was, is, -1);
    NoteIndex(order, &was, is);
  }
  for (const PartState& is : after.parts) {
    const PartState* was = FindPart(before, is.part);
    Note(is, was, 1);
    if (!was) NoteIndex(order, nullptr, &is);
  }
}

// Takes in what the part has and `other`, the same part at the other moment, has not.
void Changes::Note(const PartState& part, const PartState* other, int sign) {
  if (!part.counts()) return;
  if (other && (other->supplier != part.supplier || other->lane != part.lane)) other = nullptr;
  std::optional<size_t> pair;
  for (const Entry& entry : part.entries) {
    // Most entries stay as they are; there is no need to take them out and put them in.
    if (other &&
        std::find(other->entries.begin(), other->entries.end(), entry) != other->entries.end()) {
      continue;
    }
    if (!pair) pair = Find(part.pair());
    Add(*pair, entry, sign);
  }
  if (!other || !other->counts()) pairs_[pair ? *pair : Find(part.pair())].parts += sign;
}

void Changes::NoteIndex(const OrderKey& order, const PartState* before, const PartState* after) {
  const auto note = [&](const PartState* part, const PartState* other, int change) {
    if (part == nullptr) return;
    for (std::string& key : IndexKeys(order, *part, other)) {
      index_.emplace_back(std::move(key), change);
    }
  };
  note(before, after, -1);
  note(after, before, 1);
}

void Changes::Heard(const OrderState& after, Instant time) {
  for (const PartState& part : after.parts) {
    if (!part.supplier.empty()) Hear(part.supplier, time);
  }
}

void Changes::Hear(const std::string& supplier, Instant time) {
  Instant& heard = heard_.try_emplace(supplier, time).first->second;
  heard = std::max(heard, time);
}

void Changes::SumUp() {
  SumUpPieces();
  if (!std::is_sorted(index_.begin(), index_.end())) std::sort(index_.begin(), index_.end());
}

void Changes::Add(Changes&& other) {
  std::vector<size_t> pair_here;
  for (const Touched& one : other.pairs_) {
    pair_here.push_back(Find(one.pair));
    pairs_[pair_here.back()].parts += one.parts;
  }
  for (Piece piece : other.pieces_) {
    piece.cell = WithPair(piece.cell, pair_here[PairIn(piece.cell)]);
    pieces_.push_back(piece);
  }
  const auto own = static_cast<std::ptrdiff_t>(index_.size());
  std::move(other.index_.begin(), other.index_.end(), std::back_inserter(index_));
  std::inplace_merge(index_.begin(), index_.begin() + own, index_.end());
  for (const auto& [supplier, time] : other.heard_) Hear(supplier, time);
  gone_.Add(other.gone_);
  for (const auto& [pair, parts] : other.gone_parts_) gone_parts_[pair] += parts;
  gone_erased_.merge(other.gone_erased_);
}

absl::Status Changes::AppendTo(const Snapshot& snapshot, WritersMemory& memory, Batch& batch,
                               std::set<Pair>& born, std::set<Pair>& gone) {
  if (absl::Status status = AppendCells(snapshot, memory, batch); !status.ok()) return status;
  if (absl::Status status = AppendPairs(snapshot, memory, batch, born, gone); !status.ok()) {
    return status;
  }
  if (absl::Status status = AppendHeard(snapshot, memory, batch); !status.ok()) return status;
  if (absl::Status status = AppendGone(snapshot, batch); !status.ok()) return status;
  SumUp();
  for (auto& [key, change] : index_) {
    if (change > 0) {
      batch.Put(Space::kIndex, std::move(key), "");
    } else {
      batch.Delete(Space::kIndex, std::move(key));
    }
  }
  index_.clear();
  return absl::OkStatus();
}

void Changes::Settle() {
  if (settled_) return;
  settled_ = true;
  std::vector<size_t> by_pair(pairs_.size()), rank(pairs_.size());
  std::iota(by_pair.begin(), by_pair.end(), 0);
  std::sort(by_pair.begin(), by_pair.end(),
            [&](size_t a, size_t b) { return pairs_[a].pair < pairs_[b].pair; });
  for (size_t i = 0; i < by_pair.size(); ++i) rank[by_pair[i]] = i;
  for (size_t i = 0, own = pieces_.size(); i < own; ++i) {
    Piece& piece = pieces_[i];
    piece.cell = WithPair(piece.cell, rank[PairIn(piece.cell)]);
    if (!IsRate(MeasureIn(piece.cell))) continue;
    pieces_.push_back({WithPair(piece.cell, rank[0]), piece.number, piece.by});
  }
  SumUpPieces();
  for (auto piece = pieces_.begin(); piece != pieces_.end();) {
    const uint64_t cell = piece->cell;
    Change change{by_pair[PairIn(cell)], MeasureIn(cell), DayIn(cell), {}};
    for (; piece != pieces_.end() && piece->cell == cell; ++piece) {
      AddNumber(piece->number, piece->by, change.cell);
    }
    cells_.push_back(std::move(change));
  }
  pieces_ = {};
}

CellChanges Changes::TakeCells() {
  Settle();
  CellChanges changes;
  size_t last = pairs_.size();
  for (Change& one : cells_) {
    if (one.pair != last) changes.push_back({pairs_[one.pair].pair, {}});
    last = one.pair;
    changes.back().cells.push_back({one.measure, one.day, std::move(one.cell)});
  }
  return changes;
}

std::map<Pair, int64_t> Changes::PairCounts() const {
  std::map<Pair, int64_t> counts;
  for (const Touched& one : pairs_) {
    if (one.parts != 0) counts[one.pair] = one.parts;
  }
  return counts;
}

absl::Status Changes::AppendCells(const Snapshot& snapshot, WritersMemory& memory, Batch& batch) {
  Settle();
  const uint64_t begun = memory.pages.round();
  for (size_t next = 0; next < cells_.size();) {
    if (absl::Status status = AppendPages(snapshot, next, memory, batch); !status.ok()) {
      return status;
    }
    if (next < cells_.size()) {
      // The rest may be what the entry before touched, which is forgotten now: it must be written.
      if (auto waited = snapshot.Get(Space::kMeta, kProgressKey); !waited.ok()) {
        return waited.status();
      }
    }
    if (memory.pages.MakeRoom() >= begun) kept_all_pages_ = false;
  }
  return absl::OkStatus();
}

absl::Status Changes::AppendPages(const Snapshot& snapshot, size_t& next, WritersMemory& memory,
                                  Batch& batch) {
  Kept<Series>& pages = memory.pages;
  struct Page {
    std::string key;
    size_t first, end;  // in cells_
    Kept<Series>::Item* kept = nullptr;
  };
  std::vector<Page> touched;
  std::vector<std::string> unknown;
  while (next < cells_.size() && touched.size() < memory.pages_at_a_time) {
    const Change& one = cells_[next];
    Page page{CellPageKey({pairs_[one.pair].pair, one.measure, one.day}), next, next};
    const int32_t number = PageOf(one.day);
    while (page.end < cells_.size() && cells_[page.end].pair == one.pair &&
           cells_[page.end].measure == one.measure && PageOf(cells_[page.end].day) == number) {
      ++page.end;
    }
    page.kept = pages.Find(page.key);
    if (!page.kept) unknown.push_back(page.key);
    next = page.end;
    touched.push_back(std::move(page));
  }
  auto stored = snapshot.GetAll(Space::kCells, unknown);
  if (!stored.ok()) return stored.status();
  auto value = stored->begin();
  for (Page& page : touched) {
    const Measure measure = cells_[page.first].measure;
    const Day first_day = FirstDayOf(PageOf(cells_[page.first].day));
    if (!page.kept) {
      absl::StatusOr<Series> decoded = Series();
      if (*value) decoded = DecodePage(first_day, **value);
      if (!decoded.ok()) return decoded.status();
      const size_t bytes = BytesOf(*decoded);
      page.kept = pages.Put(page.key, *std::move(decoded), bytes);
      ++value;
    }
    Series& sum = page.kept->value;
    for (size_t i = page.first; i < page.end; ++i) {
      if (AddCell(measure, cells_[i].day, cells_[i].cell, sum)) continue;
      return absl::InternalError(absl::StrCat("a cell of measure ", IndexOf(measure) + 1, " on ",
                                              FormatDay(cells_[i].day),
                                              " would hold more outcomes than orders"));
    }
    if (sum.empty()) {
      batch.Delete(Space::kCells, std::move(page.key));
    } else {
      batch.Put(Space::kCells, std::move(page.key), EncodePage(first_day, sum));
    }
    pages.Weigh(*page.kept, BytesOf(sum));
  }
  return absl::OkStatus();
}

absl::Status Changes::AppendPairs(const Snapshot& snapshot, WritersMemory& memory, Batch& batch,
                                  std::set<Pair>& born, std::set<Pair>& gone) const {
  for (const auto& [pair, change] : PairCounts()) {
    const std::string key = PairKey(pair);
    auto known = memory.parts.find(key);
    if (known == memory.parts.end()) {
      const auto stored = snapshot.Get(Space::kIndex, key);
      if (!stored.ok()) return stored.status();
      absl::StatusOr<int64_t> count = 0;
      if (*stored) count = DecodeCount(**stored);
      if (!count.ok()) return count.status();
      known = memory.parts.emplace(key, *count).first;
    }
    int64_t& count = known->second;
    if (count == 0) born.insert(pair);
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

absl::Status Changes::AppendHeard(const Snapshot& snapshot, WritersMemory& memory,
                                  Batch& batch) const {
  for (const auto& [supplier, time] : heard_) {
    const std::string key = SupplierKey(supplier);
    auto known = memory.heard.find(key);
    if (known == memory.heard.end()) {
      const auto stored = snapshot.Get(Space::kIndex, key);
      if (!stored.ok()) return stored.status();
      known = memory.heard.emplace(key, std::nullopt).first;
      if (*stored) {
        const auto last = DecodeInstant(**stored);
        if (!last.ok()) return last.status();
        known->second = *last;
      }
    }
    if (known->second >= time) continue;
    known->second = time;
    batch.Put(Space::kIndex, key, EncodeInstant(time));
  }
  return absl::OkStatus();
}

}  // namespace plumblane
