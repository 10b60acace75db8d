#include "review/changes.h"

#include <algorithm>
#include <tuple>
#include <utility>

namespace plumblane {
namespace {

void FindChanges(Account& account) {
  const auto add = [&](Change::Against against, const std::optional<Figures>& then) {
    if (!then) return;
    const std::pair<Measure, std::pair<HitCount, HitCount>> rates[] = {
        {Measure::kOnTime, {account.period.late, then->late}},
        {Measure::kDefect, {account.period.mature_defect, then->mature_defect}}};
    for (const auto& [measure, counts] : rates) {
      Change change{measure, against, counts.first, counts.second, {}, 1, {}};
      change.verdict = Change::Verdict::kTooThin;
      if (kFewestToJudge <= std::min(change.now.orders, change.then.orders)) {
        change.comparison = Compare(change.now, change.then);
      }
      account.changes.push_back(change);
    }
  };
  add(Change::Against::kPeriodBefore, account.before);
  add(Change::Against::kYearAgo, account.year_ago);
}

void FindItems(Account& account) {
  ItemCount all;
  for (const auto& [item, count] : account.item_counts) {
    all.late.Add(count.late);
    all.defect.Add(count.defect);
  }
  for (const auto& [item, count] : account.item_counts) {
    if (item.empty()) continue;
    const std::pair<Measure, std::pair<HitCount, HitCount>> rates[] = {
        {Measure::kOnTime, {count.late, all.late}}, {Measure::kDefect, {count.defect, all.defect}}};
    for (const auto& [measure, counts] : rates) {
      const HitCount& own = counts.first;
      const HitCount others{counts.second.orders - own.orders, counts.second.hits - own.hits};
      if (std::min(own.orders, others.orders) < kFewestToJudge) continue;
      account.items.push_back({item, measure, own, others, Compare(own, others), 1});
    }
  }
  account.item_counts = {};
  std::sort(account.items.begin(), account.items.end(),
            [](const SpoilingItem& x, const SpoilingItem& y) {
              return std::tie(x.item, x.measure) < std::tie(y.item, y.measure);
            });
}

Change::Verdict VerdictOf(double adjusted_p, bool worse) {
  if (adjusted_p > kMostFalseCalls) return Change::Verdict::kNoMoreThanChance;
  return worse ? Change::Verdict::kWorse : Change::Verdict::kBetter;
}

}  // namespace

size_t JudgeChanges(std::vector<Account>& accounts) {
  std::vector<double> p_values;
  for (Account& account : accounts) {
    FindChanges(account);
    FindItems(account);
    for (const Change& one : account.changes) {
      if (one.comparison) p_values.push_back(one.comparison->p_value);
    }
    for (const TimesChange& one : account.times_changes) {
      if (one.comparison) p_values.push_back(one.comparison->p_value);
    }
    for (const SpoilingItem& one : account.items) p_values.push_back(one.comparison.p_value);
  }
  const std::vector<double> adjusted = AdjustForNumber(p_values);
  auto next = adjusted.begin();
  for (Account& account : accounts) {
    for (Change& one : account.changes) {
      if (!one.comparison) continue;
      one.adjusted_p = *next++;
      one.verdict = VerdictOf(one.adjusted_p, one.comparison->difference > 0);
    }
    for (TimesChange& one : account.times_changes) {
      if (!one.comparison) continue;
      one.adjusted_p = *next++;
      one.verdict = VerdictOf(one.adjusted_p, one.comparison->longer);
    }
    for (SpoilingItem& one : account.items) one.adjusted_p = *next++;
    std::erase_if(account.items, [](const SpoilingItem& one) {
      return one.comparison.difference <= 0 || one.adjusted_p > kMostFalseCalls;
    });
    std::stable_sort(account.items.begin(), account.items.end(),
                     [](const SpoilingItem& x, const SpoilingItem& y) {
                       return x.comparison.limits.low > y.comparison.limits.low;
                     });
  }
  return p_values.size();
}

}  // namespace plumblane
