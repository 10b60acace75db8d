#include "cohorts/cell.h"

#include <algorithm>
#include <cstddef>
#include <iterator>

namespace plumblane {
namespace {

// Up to so many are put in one by one.
constexpr size_t kFewOutcomes = 2;

constexpr struct {
  bool operator()(const Outcome& a, const Outcome& b) const {
    return std::tie(a.code, a.bucket) < std::tie(b.code, b.bucket);
  }
  bool operator()(const Cohort& a, const Cohort& b) const { return a.day < b.day; }
} ComesBefore;

bool IsNothing(const Outcome& one) { return one.count == 0; }
bool IsNothing(const Cohort& one) { return one.cell.empty(); }

// How many of `other` are not among `own`; both sorted.
template <typename T>
size_t CountNew(const std::vector<T>& own, const std::vector<T>& other) {
  size_t count = 0;
  auto at = own.begin();
  for (const T& one : other) {
    at = std::lower_bound(at, own.end(), one, ComesBefore);
    if (at == own.end() || ComesBefore(one, *at)) ++count;
  }
  return count;
}

// Adds `other` to `own`, both sorted: room is made for those that are new, and filled from the end,
// so that what lies before the first is not touched. `make` what is new of it; nothing empty stays.
template <typename T, typename Make, typename AddTo>
void Merge(std::vector<T>& own, const std::vector<T>& other, const Make& make, const AddTo& add) {
  const size_t before = own.size();
  own.resize(before + CountNew(own, other));
  auto rest = own.begin() + static_cast<std::ptrdiff_t>(before);
  auto to = own.end();
  const auto move_last = [&] {
    if (--rest != --to) *to = std::move(*rest);
  };
  bool gone = false;
  for (auto added = other.end(); added != other.begin();) {
    --added;
    while (rest != own.begin() && ComesBefore(*added, *std::prev(rest))) move_last();
    if (rest != own.begin() && !ComesBefore(*std::prev(rest), *added)) {
      move_last();
      add(*to, *added);
      gone = gone || IsNothing(*to);
    } else {
      *--to = make(*added);
    }
  }
  if (gone) std::erase_if(own, [](const T& one) { return IsNothing(one); });
}

bool SumsToWholeOrders(Measure measure, const Tally& tally) {
  if (tally.entered < 0) return false;
  if (HoldsSums(measure)) return true;
  int64_t known = 0;
  for (const Outcome& outcome : tally.outcomes) {
    if (outcome.count < 0) return false;
    if (outcome.code != Code::kFault) known += outcome.count;
  }
  return known <= tally.entered;
}

}  // namespace

void Tally::Add(Code code, uint32_t bucket, int64_t count) {
  if (count == 0) return;
  const Outcome added{code, bucket, count};
  const auto it = std::lower_bound(outcomes.begin(), outcomes.end(), added, ComesBefore);
  if (it == outcomes.end() || ComesBefore(added, *it)) {
    outcomes.insert(it, added);
  } else if ((it->count += count) == 0) {
    outcomes.erase(it);
  }
}

void Tally::Add(const Tally& other, int64_t sign) {
  entered += sign * other.entered;
  if (other.outcomes.size() <= kFewOutcomes) {
    for (const Outcome& outcome : other.outcomes) {
      Add(outcome.code, outcome.bucket, sign * outcome.count);
    }
    return;
  }
  const auto signed_of = [sign](Outcome one) {
    one.count *= sign;
    return one;
  };
  Merge(outcomes, other.outcomes, signed_of,
        [sign](Outcome& own, const Outcome& added) { own.count += sign * added.count; });
}

void Cell::Add(const Cell& other, int64_t sign) {
  counted.Add(other.counted, sign);
  excused.Add(other.excused, sign);
}

bool IsPlausible(Measure measure, const Cell& cell) {
  return SumsToWholeOrders(measure, cell.counted) && SumsToWholeOrders(measure, cell.excused);
}

void Cells::Add(const Pair& pair, const Entry& entry, int64_t sign) {
  Tally tally;
  tally.entered = entry.entered;
  for (const Outcome& outcome : entry.outcomes) {
    tally.Add(outcome.code, outcome.bucket, outcome.count);
  }
  AddTo({pair, entry.measure, entry.day}, entry.excused, tally, sign);
  if (entry.measure == Measure::kOnTime || entry.measure == Measure::kDefect) {
    AddTo({Pair{}, entry.measure, entry.day}, entry.excused, tally, sign);
  }
}

void Cells::Add(const Cells& other) {
  for (const auto& [key, cell] : other.cells_) {
    AddTo(key, false, cell.counted, 1);
    AddTo(key, true, cell.excused, 1);
  }
}

void Cells::AddTo(const CellKey& key, bool excused, const Tally& tally, int64_t sign) {
  const auto it = cells_.try_emplace(key).first;
  (excused ? it->second.excused : it->second.counted).Add(tally, sign);
  if (it->second.empty()) cells_.erase(it);
}

void AddSeries(Series& series, const Series& other) {
  Merge(
      series, other, [](const Cohort& added) -> const Cohort& { return added; },
      [](Cohort& own, const Cohort& added) { own.cell.Add(added.cell); });
}

}  // namespace plumblane
