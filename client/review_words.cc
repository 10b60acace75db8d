#include "client/review_words.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_format.h>
#include <absl/strings/str_join.h>

#include <cmath>

#include "client/text.h"

namespace plumblane::client {
namespace {

// "3.3", "27": of points and their limits.
std::string PointsNumber(double points) {
  std::string text =
      std::abs(points) < 9.95 ? absl::StrFormat("%+.1f", points) : absl::StrFormat("%+.0f", points);
  return text == "-0.0" || text == "+0.0" ? "0" : text;
}

constexpr char kDaysLate[] = "days_late";

struct TimesWords {
  const char *measure, *label, *verb;
  const v1::Times& (v1::Figures::*times)() const;
};
constexpr TimesWords kTimesWords[] = {
    {"handling", "ships within", "ship", &v1::Figures::handling},
    {"transit", "travels", "travel", &v1::Figures::transit},
    {"response", "answers claims within", "answer claims", &v1::Figures::response},
    {kDaysLate, "days late, on average", "", nullptr}};

// Of a measure that this client does not know as of the first: it is told what it can be.
const TimesWords& WordsOf(const v1::TimesChange& change) {
  for (const TimesWords& words : kTimesWords) {
    if (change.measure() == words.measure) return words;
  }
  return kTimesWords[0];
}

// REQUIRES: not of days late.
const v1::Times& TimesOf(const v1::TimesChange& change, const v1::Figures& figures) {
  return (figures.*WordsOf(change).times)();
}

double Days(const google::protobuf::Duration& time) {
  return (static_cast<double>(time.seconds()) + time.nanos() / 1e9) / 86'400;
}

std::string LimitsText(double low, double high) {
  return absl::StrCat("(", PointsNumber(100 * low), " to ", PointsNumber(100 * high), ")");
}

}  // namespace

AccountKind KindOf(const v1::Account& account) {
  if (account.supplier_id().empty()) {
    return account.has_lane() ? AccountKind::kLane : AccountKind::kAll;
  }
  return account.has_lane() ? AccountKind::kPair : AccountKind::kSupplier;
}

std::string AccountName(const v1::Account& account) {
  switch (KindOf(account)) {
    case AccountKind::kAll:
      return "all together";
    case AccountKind::kSupplier:
      return account.supplier_id();
    case AccountKind::kLane:
      return LaneText(account.lane());
    case AccountKind::kPair: {
      v1::Lane lane = account.lane();
      if (lane.service().empty()) lane.clear_service();
      return absl::StrCat(account.supplier_id(), " on ", LaneText(lane));
    }
  }
  return "";
}

std::string KeptText(const v1::Review& review) {
  if (review.orders_kept_from_date().empty()) return "";
  return absl::StrCat("orders over before ", review.orders_kept_from_date(),
                      " are no longer kept: shares, rates, times and what was paid count them; "
                      "what is read order by order (refunds, claims, overcharges, out of stock, "
                      "items, excuses) is not told of periods that begin before");
}

std::string PeriodText(const v1::ReviewPeriod& period) {
  if (period.first_date() == period.last_date()) return period.first_date();
  return absl::StrCat(period.first_date(), " to ", period.last_date());
}

std::string ShareText(const v1::CountedShare& share) {
  if (share.order_count() == 0 || !share.has_observed()) return "no orders due";
  std::string text = Percent(share.observed());
  if (share.has_low() && share.has_high()) {
    absl::StrAppend(&text, " (", PercentNumber(share.low()), "-", PercentNumber(share.high()), ")");
  }
  return absl::StrCat(text, " of ", Thousands(share.order_count()),
                      share.too_thin() ? ", too thin" : "");
}

std::string PointsText(double difference) { return PointsNumber(100 * difference) + " points"; }

std::string DifferenceText(const v1::Change& change) {
  if (!change.has_difference()) return "";
  return absl::StrCat(PointsText(change.difference()), " ",
                      LimitsText(change.low(), change.high()));
}

std::string ProbabilityText(double p) {
  if (p < 0.001) return "<0.001";
  return p < 0.1 ? absl::StrFormat("%.3f", p) : absl::StrFormat("%.2f", p);
}

std::string AgainstText(v1::Change::Against against) {
  return against == v1::Change::AGAINST_YEAR_AGO ? "a year ago" : "the period before";
}

std::string VerdictText(v1::Change::Verdict verdict) {
  switch (verdict) {
    case v1::Change::VERDICT_WORSE:
      return "worse";
    case v1::Change::VERDICT_BETTER:
      return "better";
    case v1::Change::VERDICT_NO_MORE_THAN_CHANCE:
      return "no more than chance";
    default:
      return "too thin to compare";
  }
}

std::string HitsText(int64_t hits, int64_t orders) {
  if (orders == 0) return "no orders";
  return absl::StrCat(Percent(static_cast<double>(hits) / static_cast<double>(orders)), " (",
                      Thousands(hits), " of ", Thousands(orders), ")");
}

std::string ChangeText(const v1::Change& change) {
  // Young orders can still turn out bad: only the old ones are compared.
  const bool aged = change.measure() == "defect";
  std::string text = absl::StrCat(
      HitText(change.measure()), aged ? ", of orders whose claim window is over: " : ": ",
      HitsText(change.hit_count(), change.order_count()), ", ", AgainstText(change.against()), " ",
      HitsText(change.hit_count_then(), change.order_count_then()), "; ");
  if (change.has_difference()) absl::StrAppend(&text, DifferenceText(change), ", ");
  text += VerdictText(change.verdict());
  if (!change.has_adjusted_p_value()) return text;
  return absl::StrCat(text, ", adjusted p ", ProbabilityText(change.adjusted_p_value()));
}

std::string TimesText(const v1::Times& times) {
  return times.entered_count() == 0
             ? ""
             : absl::StrCat(ShortTimes(times), " of ", Thousands(times.entered_count()));
}

std::string DaysLateText(const v1::Figures& figures) {
  if (!figures.has_mean_days_late()) return "";
  return absl::StrFormat("%.1f of %s", figures.mean_days_late(),
                         Thousands(figures.late_arrived_count()));
}

const v1::Figures& FiguresThen(const v1::TimesChange& change, const v1::Account& account) {
  return change.against() == v1::Change::AGAINST_YEAR_AGO ? account.year_ago() : account.before();
}

std::string TimesChangeName(const v1::TimesChange& change) {
  const bool worse = change.verdict() == v1::Change::VERDICT_WORSE;
  if (change.measure() == kDaysLate) return worse ? "more days late" : "fewer days late";
  return absl::StrCat(worse ? "longer to " : "shorter to ", WordsOf(change).verb);
}

std::string TimesOfChange(const v1::TimesChange& change, const v1::Figures& figures) {
  const std::string text =
      change.measure() == kDaysLate ? DaysLateText(figures) : TimesText(TimesOf(change, figures));
  return text.empty() ? "-" : text;
}

std::string TimesDifferenceText(const v1::TimesChange& change, const v1::Account& account) {
  const v1::Figures &now = account.period(), &then = FiguresThen(change, account);
  if (change.measure() == kDaysLate) {
    if (!now.has_mean_days_late() || !then.has_mean_days_late()) return "";
    return absl::StrFormat("%+.1f days", now.mean_days_late() - then.mean_days_late());
  }
  const v1::Times &times = TimesOf(change, now), &before = TimesOf(change, then);
  std::string text;
  if (times.has_median() && before.has_median()) {
    absl::StrAppendFormat(&text, "half %+.1f d", Days(times.median()) - Days(before.median()));
  }
  if (times.has_p90() && before.has_p90()) {
    absl::StrAppendFormat(&text, "%s90 %% %+.1f d", text.empty() ? "" : ", ",
                          Days(times.p90()) - Days(before.p90()));
  }
  return text;
}

std::string TimesChangeText(const v1::TimesChange& change, const v1::Account& account) {
  const bool called = change.verdict() == v1::Change::VERDICT_WORSE ||
                      change.verdict() == v1::Change::VERDICT_BETTER;
  std::string text = absl::StrCat(
      WordsOf(change).label, " ", TimesOfChange(change, account.period()), ", ",
      AgainstText(change.against()), " ", TimesOfChange(change, FiguresThen(change, account)), "; ",
      called ? TimesChangeName(change) : VerdictText(change.verdict()));
  if (!change.has_adjusted_p_value()) return text;
  return absl::StrCat(text, ", adjusted p ", ProbabilityText(change.adjusted_p_value()));
}

std::string AlertMarkText(const v1::AlertMark& alert) {
  const std::string hit = HitText(alert.measure());
  std::string text = hit.empty() ? alert.measure() : hit;
  if (alert.has_pool()) {
    const bool to = alert.pool().origin().empty();
    text = absl::StrCat(
        "one of ", Counted(alert.pooled_lane_count(), "slow lane"), to ? " to " : " from ",
        to ? alert.pool().destination() : alert.pool().origin(), ", together ", text);
  }
  if (!alert.change_date().empty()) absl::StrAppend(&text, " since about ", alert.change_date());
  absl::StrAppend(&text, ", raised ", alert.open_date(),
                  alert.close_date().empty() ? ", not closed yet" : ", closed ",
                  alert.close_date());
  if (!alert.has_rate_before() || !alert.has_rate_since()) return text;
  return absl::StrCat(text, "; ", Percent(alert.rate_before()), " before, ",
                      Percent(alert.rate_since()), " from then until it was raised");
}

std::string ItemText(const v1::SpoilingItem& item) {
  return absl::StrCat(item.item(), ", ", HitText(item.measure()), ": ",
                      HitsText(item.hit_count(), item.order_count()), ", other items ",
                      HitsText(item.other_hit_count(), item.other_order_count()), "; ",
                      PointsText(item.difference()), " ", LimitsText(item.low(), item.high()),
                      ", adjusted p ", ProbabilityText(item.adjusted_p_value()));
}

std::string AssignedText(const v1::Assigned& assigned) {
  std::string text = Counted(assigned.count(), "order");
  if (assigned.trial_count() > 0) {
    absl::StrAppend(&text, ", ", Thousands(assigned.trial_count()), " as trials");
  }
  if (assigned.chosen_count() > 0) {
    absl::StrAppend(&text, ", ", Thousands(assigned.chosen_count()), " by a person's own choice");
  }
  for (const v1::Assigned::Saving& saving : assigned.savings()) {
    const double expected = saving.expected_saving();
    absl::StrAppend(&text, "; expected when decided to ", expected < 0 ? "cost " : "save ",
                    AmountText(std::abs(expected), saving.currency_code()), " ",
                    saving.currency_code(), expected < 0 ? " more than" : " against",
                    " always the cheapest quote (", Counted(saving.assignment_count(), "order"),
                    ")");
  }
  return text;
}

std::string ExcusedText(const v1::ExcusedOrders& excused) {
  v1::ReviewPeriod days;
  days.set_first_date(excused.first_due_date());
  days.set_last_date(excused.last_due_date());
  return absl::StrCat(excused.reason(), ": ", Counted(excused.order_count(), "order"),
                      " promised for ", PeriodText(days), "; ", Thousands(excused.settled_count()),
                      " settled, ", Thousands(excused.late_count()), " of them late");
}

std::string StakeText(const v1::Point& point) {
  if (!point.has_at_stake()) return "";
  const bool is_amount =
      point.kind() == v1::Point::KIND_OWED || point.kind() == v1::Point::KIND_OVERCHARGED;
  return MoneyText(point.at_stake()) +
         (is_amount || point.at_stake_by_costs() ? " at stake" : " paid for these orders");
}

}  // namespace plumblane::client
