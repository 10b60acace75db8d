#include "cohorts/cell.h"

#include <algorithm>
#include <cstddef>
#include <iterator>

namespace plumblane {
namespace {

// Up to so many are put in one by one.
constexpr size_t kFewOutcomes = 2;

bool ComesBefore(const Outcome& a, const Outcome& b) {
  return std::tie(a.code, a.bucket) < std::tie(b.code, b.bucket);
}

// How many of `other` are not among `own`; both sorted.
size_t CountNew(const std::vector<Outcome>& own, const std::vector<Outcome>& other) {
  size_t count = 0;
  auto at = own.begin();
  for (const Outcome& one : other) {
    while (at != own.end() && ComesBefore(*at, one)) ++at;
    if (at == own.end() || ComesBefore(one, *at)) ++count;
  }
  return count;
}

// How many days of `other` are not in `series`.
size_t CountNewDays(const Series& series, const Series& other) {
  size_t count = 0;
  auto at = series.begin();
  for (const Cohort& one : other) {
    at = std::lower_bound(at, series.end(), one.day,
                          [](const Cohort& own, Day day) { return own.day < day; });
    if (at == series.end() || at->day != one.day) ++count;
  }
  return count;
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
  // Both are sorted: room is made for those that are new, and filled from the end.
  const size_t before = outcomes.size();
  outcomes.resize(before + CountNew(outcomes, other.outcomes));
  auto own = outcomes.begin() + static_cast<std::ptrdiff_t>(before);
  auto to = outcomes.end();
  bool gone = false;
  for (auto added = other.outcomes.end(); added != other.outcomes.begin();) {
    --added;
    while (own != outcomes.begin() && ComesBefore(*added, *std::prev(own))) *--to = *--own;
    Outcome sum = *added;
    sum.count *= sign;
    if (own != outcomes.begin() && !ComesBefore(*std::prev(own), *added))
      sum.count += (--own)->count;
    gone = gone || sum.count == 0;
    *--to = sum;
  }
  if (gone) std::erase_if(outcomes, [](const Outcome& one) { return one.count == 0; });
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

// As Tally::Add: what lies before the first day added is not touched, and those are mostly late.
void AddSeries(Series& series, const Series& other) {
  const size_t before = series.size();
  series.resize(before + CountNewDays(series, other));
  auto own = series.begin() + static_cast<std::ptrdiff_t>(before);
  auto to = series.end();
  const auto move_last = [&] {
    if (--own != --to) *to = std::move(*own);
  };
  bool gone = false;
  for (auto added = other.end(); added != other.begin();) {
    --added;
    while (own != series.begin() && added->day < std::prev(own)->day) move_last();
    if (own != series.begin() && std::prev(own)->day == added->day) {
      move_last();
      to->cell.Add(added->cell);
      gone = gone || to->cell.empty();
    } else {
      *--to = *added;
    }
  }
  if (gone) std::erase_if(series, [](const Cohort& one) { return one.cell.empty(); });
}

}  // namespace plumblane
