#include "review/points.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_format.h>
#include <absl/strings/str_join.h>

#include <algorithm>
#include <cmath>
#include <utility>

namespace plumblane {
namespace {

constexpr double kSecondsPerDay = 86'400;
// Answers are slow when half of them take so long, unless a target says otherwise. Ours.
constexpr double kSlowAnswerDays = 3;

std::string Percent(double share) {
  const double percent = 100 * share;
  const bool is_fine = percent < 9.95 || percent > 99.05;  // where a decimal matters
  return is_fine ? absl::StrFormat("%.1f %%", percent) : absl::StrFormat("%.0f %%", percent);
}

// ", and the difference is more than chance (adjusted p 0.01)".
std::string MoreThanChance(double adjusted_p) {
  return absl::StrCat(", and the difference is more than chance (adjusted p ",
                      adjusted_p < .001 ? "<0.001" : absl::StrFormat("%.2g", adjusted_p), ")");
}

std::string Days(double days) { return absl::StrFormat("%.1f days", days); }

std::string Limits(const HitCount& count) {
  const Interval limits =
      WilsonLimits(static_cast<double>(count.hits), static_cast<double>(count.orders));
  return absl::StrCat("95 % limits ", Percent(limits.low), " to ", Percent(limits.high));
}

// "12 of 140 orders due came late (8.6 %, 95 % limits 5.0 % to 14 %)".
std::string Counted(const HitCount& count, const std::string& of_what,
                    const std::string& happened) {
  return absl::StrCat(count.hits, " of ", count.orders, " ", count.orders == 1 ? "order" : "orders",
                      of_what, " ", happened, " (", Percent(count.Share()), ", ", Limits(count),
                      ")");
}

const Change* ChangeOf(const Account& account, Measure measure) {
  const auto found =
      std::find_if(account.changes.begin(), account.changes.end(), [&](const Change& one) {
        return one.measure == measure && one.against == Change::Against::kPeriodBefore;
      });
  return found == account.changes.end() ? nullptr : &*found;
}

bool Has(const Account& account, Measure measure, Change::Verdict verdict) {
  const Change* change = ChangeOf(account, measure);
  return change != nullptr && change->verdict == verdict;
}

const TimesChange* TimesChangeOf(const Account& account, TimesChange::What what) {
  const auto found = std::find_if(
      account.times_changes.begin(), account.times_changes.end(), [&](const TimesChange& one) {
        return one.what == what && one.against == Change::Against::kPeriodBefore;
      });
  return found == account.times_changes.end() ? nullptr : &*found;
}

const TargetReading* TargetOf(const Account& account, Measure measure) {
  const auto found = std::find_if(account.targets.begin(), account.targets.end(),
                                  [&](const TargetReading& one) { return one.measure == measure; });
  return found == account.targets.end() ? nullptr : &*found;
}

bool Misses(const TargetReading* target) {
  return target != nullptr &&
         (target->standing == Standing::kMissed || target->standing == Standing::kMissedNotSure);
}

// Collects the points of one account.
class Writer {
 public:
  Writer(const Account& account, const Stakes& stakes) : account_(account), stakes_(stakes) {}

  std::vector<Point> Take() {
    Late();
    Defects();
    Lost();
    OutOfStock();
    for (const auto& [currency, money] : account_.period.money) Amounts(currency, money);
    Answers();
    Handling();
    for (const SpoilingItem& item : account_.items) Item(item);
    const auto worth = [this](const Point& point) {
      return point.at_stake ? stakes_.worth(*point.at_stake).value_or(-1) : -1;
    };
    std::stable_sort(raised_.begin(), raised_.end(),
                     [&](const Point& x, const Point& y) { return worth(x) > worth(y); });
    raised_.resize(std::min(raised_.size(), kMostRaised));
    praised_.resize(std::min(praised_.size(), kMostPraised));
    std::move(praised_.begin(), praised_.end(), std::back_inserter(raised_));
    return std::move(raised_);
  }

 private:
  void Late() {
    const Figures& figures = account_.period;
    if (figures.late.orders == 0) return;
    std::string sentence = Counted(figures.late, " due", "came late");
    if (figures.late_arrived > 0) {
      absl::StrAppend(
          &sentence, ", on average ",
          Days(static_cast<double>(figures.days_late) / static_cast<double>(figures.late_arrived)),
          " after the promised day");
    }
    std::optional<double> costs;
    if (account_.costs) costs = account_.costs->late + account_.costs->days_late;
    Rate(Point::Kind::kLate, Measure::kOnTime, figures.late, std::move(sentence), costs,
         Stake::kLate);
  }

  void Defects() {
    const Figures& figures = account_.period;
    if (figures.defect.orders == 0) return;
    HitCount count = figures.defect;
    std::vector<std::string> kinds;
    for (const Code kind : kDefectKinds) {
      const int64_t hits = figures.kinds[IndexOfKind(kind)];
      if (kind == Code::kLost) {
        count.hits -= hits;
      } else if (hits > 0) {
        std::string word(NameOfKind(kind));
        std::replace(word.begin(), word.end(), '_', ' ');
        if (kind == Code::kQuality) word = "poor quality";
        kinds.push_back(absl::StrCat(hits, " ", word));
      }
    }
    std::string sentence = Counted(count, " due", "turned out bad");
    if (!kinds.empty()) absl::StrAppend(&sentence, ": ", absl::StrJoin(kinds, ", "));
    std::optional<double> costs;
    if (account_.costs) costs = account_.costs->defects;
    Rate(Point::Kind::kDefect, Measure::kDefect, count, std::move(sentence), costs, Stake::kDefect);
  }

  // Late or bad orders: what is said of a share, whether it is raised, and whether it went well.
  // REQUIRES: orders.
  void Rate(Point::Kind kind, Measure measure, const HitCount& count, std::string sentence,
            std::optional<double> costs, Stake stake) {
    const TargetReading* target = TargetOf(account_, measure);
    const bool met = target != nullptr && target->standing == Standing::kMet;
    if (target != nullptr && target->standing != Standing::kTooFew) {
      absl::StrAppend(&sentence, "; the target is at ",
                      measure == Measure::kOnTime ? "least " : "most ",
                      absl::StrFormat("%.4g %%", 100 * target->target),
                      measure == Measure::kOnTime ? " on time" : "");
    }
    const bool worse = Has(account_, measure, Change::Verdict::kWorse);
    const bool better = Has(account_, measure, Change::Verdict::kBetter);
    if (worse || better) {
      const Change& change = *ChangeOf(account_, measure);
      absl::StrAppend(&sentence, "; in the period before it was ", Percent(change.then.Share()),
                      MoreThanChance(change.adjusted_p));
    }
    sentence += ".";
    const bool enough = count.orders >= kFewestToJudge;
    const double low =
        WilsonLimits(static_cast<double>(count.hits), static_cast<double>(count.orders)).low;
    const bool none = count.hits == 0 && enough;
    if (count.hits > 0 && (worse || Misses(target) || (!met && low > kPlainlyGood))) {
      Raise({kind, false, std::move(sentence), count, true, {}, false, {}}, costs, stake);
    } else if (met || better || none) {
      praised_.push_back({kind, true, std::move(sentence), count, true, {}, false, {}});
    }
  }

  void Lost() {
    const HitCount count{account_.period.defect.orders,
                         account_.period.kinds[IndexOfKind(Code::kLost)]};
    if (count.hits == 0) return;
    std::optional<double> costs;
    if (account_.costs) costs = account_.costs->lost;
    Raise({Point::Kind::kLost,
           false,
           Counted(count, " due", "got lost") + ".",
           count,
           true,
           {},
           false,
           {}},
          costs, Stake::kLost);
  }

  void OutOfStock() {
    const HitCount count{account_.period.order_count, account_.period.out_of_stock};
    if (count.hits == 0) return;
    Raise({Point::Kind::kOutOfStock,
           false,
           Counted(count, " paid", "had to be cancelled because the goods were out of stock") + ".",
           count,
           true,
           {},
           false,
           {}},
          {}, Stake::kOutOfStock);
  }

  void Amounts(const std::string& currency, const MoneyFigures& money) {
    const auto amount = [&](int64_t minor) { return FormatMoney({minor, currency}); };
    if (money.overcharged > 0) {
      const HitCount count{money.quoted_orders, money.overcharged_orders};
      raised_.push_back({Point::Kind::kOvercharged,
                         false,
                         absl::StrCat(Counted(count, " with a quote", "cost more than quoted"),
                                      ", ", amount(money.overcharged), " in all."),
                         count,
                         true,
                         Money{money.overcharged, currency},
                         false,
                         {}});
    }
    if (money.owed > 0) {
      raised_.push_back(
          {Point::Kind::kOwed,
           false,
           absl::StrCat("Of ", amount(money.claimed), " claimed in the period ", amount(money.owed),
                        " has not come back, for ", money.owed_orders,
                        money.owed_orders == 1 ? " order" : " orders", "."),
           {money.owed_orders, money.owed_orders},
           false,
           Money{money.owed, currency},
           false,
           {}});
    }
  }

  void Answers() {
    const TimesEstimate& times = account_.period.response;
    const HitCount count{times.entered_count, times.entered_count - times.finished_count};
    if (count.orders < kFewestToJudge) return;
    const TargetReading* target = TargetOf(account_, Measure::kResponse);
    const bool slow = times.median ? times.median->seconds >= kSlowAnswerDays * kSecondsPerDay
                                   : !times.median_too_few;
    std::string sentence = absl::StrCat("Of ", count.orders, " claims ", times.finished_count,
                                        " were answered, half of all ", HalfAndMost(times));
    if (target != nullptr && target->standing != Standing::kTooFew) {
      absl::StrAppend(&sentence, "; the target for nine in ten is ", Days(target->target));
    }
    const TimesChange* change = TimesChangeOf(account_, TimesChange::What::kResponse);
    const bool longer = change != nullptr && change->verdict == Change::Verdict::kWorse;
    if (longer) sentence += Before(*change, account_.before->response);
    sentence += ".";
    if (longer || Misses(target) || (target == nullptr && slow)) {
      Point point{
          Point::Kind::kSlowAnswers, false, std::move(sentence), count, false, {}, false, {}};
      if (account_.costs) AtCosts(account_.costs->unanswered, point);
      raised_.push_back(std::move(point));
    } else if (target != nullptr && target->standing == Standing::kMet) {
      praised_.push_back(
          {Point::Kind::kSlowAnswers, true, std::move(sentence), count, false, {}, false, {}});
    }
  }

  void Handling() {
    const TimesChange* change = TimesChangeOf(account_, TimesChange::What::kHandling);
    if (change == nullptr || change->verdict != Change::Verdict::kWorse) return;
    const TimesEstimate& now = account_.period.handling;
    raised_.push_back(
        {Point::Kind::kSlowHandling,
         false,
         absl::StrCat("Of ", now.entered_count, " orders half left ", HalfAndMost(now),
                      Before(*change, account_.before->handling), "."),
         {now.entered_count, now.entered_count - now.finished_count},
         false,
         {},
         false,
         {}});
  }

  void Item(const SpoilingItem& item) {
    const bool late = item.measure == Measure::kOnTime;
    raised_.push_back(
        {Point::Kind::kItem,
         false,
         absl::StrCat("Item ", item.item, ": ",
                      Counted(item.own, " due", late ? "came late" : "turned out bad or got lost"),
                      "; of its other orders it was ", Percent(item.others.Share()),
                      MoreThanChance(item.adjusted_p), "."),
         item.own,
         true,
         {},
         false,
         item.item});
  }

  // "within 4.1 days (95 % limits 3.9 to 4.6)".
  static std::string Within(const std::optional<TimesEstimate::Quantile>& quantile, bool too_few,
                            const TimesEstimate& times) {
    const auto number = [](double seconds) {
      return absl::StrFormat("%.1f", seconds / kSecondsPerDay);
    };
    if (too_few) return "after a time that too few tell";
    if (!quantile) {
      return absl::StrCat("not within the ", Days(*times.longest_watch / kSecondsPerDay),
                          " that they were followed");
    }
    std::string text = absl::StrCat("within ", Days(quantile->seconds / kSecondsPerDay));
    if (quantile->low && quantile->high) {
      absl::StrAppend(&text, " (95 % limits ", number(*quantile->low), " to ",
                      number(*quantile->high), ")");
    }
    return text;
  }

  static std::string HalfAndMost(const TimesEstimate& times) {
    return absl::StrCat(Within(times.median, times.median_too_few, times), " and nine in ten ",
                        Within(times.p90, times.p90_too_few, times));
  }

  // "; in the period before half within ..., and the difference is more than chance (...)".
  static std::string Before(const TimesChange& change, const TimesEstimate& then) {
    return absl::StrCat("; in the period before it was half ", HalfAndMost(then),
                        MoreThanChance(change.adjusted_p));
  }

  void AtCosts(double costs, Point& point) const {
    point.at_stake = Money{std::llround(costs), stakes_.currency};
    point.by_costs = true;
  }

  void Raise(Point point, std::optional<double> costs, Stake stake) {
    if (costs) {
      AtCosts(*costs, point);
    } else {
      point.at_stake = PaidFor(account_.paid_for[static_cast<size_t>(stake)]);
    }
    raised_.push_back(std::move(point));
  }

  // In the common currency; of a single currency as it is.
  std::optional<Money> PaidFor(const MoneySums& sums) const {
    if (sums.size() == 1) return Money{sums.begin()->second, sums.begin()->first};
    double total = 0;
    for (const auto& [currency, sum] : sums) {
      const std::optional<double> worth = stakes_.worth({sum, currency});
      if (!worth) return std::nullopt;
      total += *worth;
    }
    if (sums.empty() || stakes_.currency.empty()) return std::nullopt;
    return Money{std::llround(total), stakes_.currency};
  }

  const Account& account_;
  const Stakes& stakes_;
  std::vector<Point> raised_, praised_;
};

}  // namespace

std::vector<Point> PointsToRaise(const Account& account, const Stakes& stakes) {
  return Writer(account, stakes).Take();
}

StakeSum AtStake(const std::vector<Point>& points, const Stakes& stakes) {
  StakeSum sum;
  std::optional<double> total;
  for (const Point& point : points) {
    if (point.good || !point.at_stake) continue;
    if (const std::optional<double> worth = stakes.worth(*point.at_stake)) {
      total = total.value_or(0) + *worth;
    } else {
      sum.left_out.insert(point.at_stake->currency);
    }
  }
  if (total) sum.sum = Money{std::llround(*total), stakes.currency};
  return sum;
}

}  // namespace plumblane
