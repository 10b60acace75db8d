#include "client/show_review.h"

#include <absl/strings/str_cat.h>

#include <algorithm>
#include <optional>
#include <vector>

#include "base/time.h"
#include "client/review_words.h"
#include "client/show.h"
#include "client/table.h"
#include "client/text.h"

namespace plumblane::client {
namespace {

constexpr int kLabel = 11;

// Signs for the weeks. On a plain screen (table.h) they are digits.
struct Marks {
  const char* levels[8];  // the last: 95 % or more, and one less for each 5 points below it
  const char* none;

  const char* Of(double share) const {
    return levels[std::clamp(static_cast<int>((share - 0.60 + 1e-9) / 0.05), 0, 7)];
  }
};
constexpr Marks kDrawn = {{"▁", "▂", "▃", "▄", "▅", "▆", "▇", "█"}, "·"};
constexpr Marks kPlain = {{"1", "2", "3", "4", "5", "6", "7", "8"}, "."};

const Marks& MarksFor(int width) { return width >= kPlainWidth ? kPlain : kDrawn; }

// A sign for each week of the period, the last ones where they are too many for the line.
std::string WeeksText(const v1::Account& account, const v1::ReviewPeriod& period, int width) {
  const auto first = ParseDay(period.first_date()), last = ParseDay(period.last_date());
  if (account.weeks().empty() || !first.ok() || !last.ok()) return "";
  const auto monday = [](Day day) { return day - (day.number + 3) % 7; };  // 1970 began on Thursday
  const int weeks = (monday(*last) - monday(*first)) / 7 + 1;
  const Marks& with = MarksFor(width);
  std::vector<std::string> marks(static_cast<size_t>(weeks), with.none);
  for (const v1::Week& week : account.weeks()) {
    const auto day = ParseDay(week.first_date());
    if (!day.ok() || !week.on_time().has_observed()) continue;
    const int at = (monday(*day) - monday(*first)) / 7;
    if (at >= 0 && at < weeks) marks[static_cast<size_t>(at)] = with.Of(week.on_time().observed());
  }
  std::string text;
  const int room = width - kLabel - 2;
  for (int i = std::max(0, weeks - room); i < weeks; ++i) text += marks[static_cast<size_t>(i)];
  return text;
}

std::string ChangeLine(const v1::Account& account, const std::string& measure,
                       v1::Change::Against against) {
  const bool year_ago = against == v1::Change::AGAINST_YEAR_AGO;
  const std::string then = year_ago ? "a year ago" : "before";
  for (const v1::Change& change : account.changes()) {
    if (change.measure() != measure || change.against() != against) continue;
    if (!change.has_difference()) return year_ago ? "" : VerdictText(change.verdict());
    const bool chance = change.verdict() == v1::Change::VERDICT_NO_MORE_THAN_CHANCE;
    // Young orders can still turn out bad: only the old ones are compared.
    const bool aged = measure == "defect";
    return absl::StrCat(
        aged ? absl::StrCat("claim window over: ",
                            HitsText(change.hit_count(), change.order_count()), ", ", then, " ")
             : absl::StrCat(HitText(measure), " ", then, ": "),
        HitsText(change.hit_count_then(), change.order_count_then()), "; ", DifferenceText(change),
        ", ", VerdictText(change.verdict()), chance ? "" : " by more than chance");
  }
  return "";
}

std::string AccountText(const v1::Account& account, const v1::Review& review, int width) {
  const v1::Figures& figures = account.period();
  std::string text = AccountName(account) + "\n";
  const auto fact = [&](const std::string& label, const std::string& value) {
    if (!value.empty()) text += DetailLine(label, value, kLabel, width);
  };
  fact("orders", Thousands(figures.order_count()));
  fact("on time", ShareText(figures.on_time()));
  fact("", ChangeLine(account, "on_time", v1::Change::AGAINST_PERIOD_BEFORE));
  fact("", ChangeLine(account, "on_time", v1::Change::AGAINST_YEAR_AGO));
  fact("by week", WeeksText(account, review.period(), width));
  fact("bad, lost", ShareText(figures.defect()));
  fact("", ChangeLine(account, "defect", v1::Change::AGAINST_PERIOD_BEFORE));
  fact("", ChangeLine(account, "defect", v1::Change::AGAINST_YEAR_AGO));
  std::string times = "times";
  for (const v1::TimesChange& change : account.times_changes()) {
    if (change.verdict() != v1::Change::VERDICT_WORSE &&
        change.verdict() != v1::Change::VERDICT_BETTER) {
      continue;
    }
    fact(times, TimesChangeText(change, account));
    times.clear();
  }
  std::string heading = "raise";
  for (const v1::Point& point : account.points()) {
    if (point.good()) continue;
    const std::string stake = StakeText(point);
    fact(heading, point.sentence() + (stake.empty() ? "" : " " + stake + "."));
    heading.clear();
  }
  heading = "went well";
  for (const v1::Point& point : account.points()) {
    if (!point.good()) continue;
    fact(heading, point.sentence());
    heading.clear();
  }
  return text + "\n";
}

}  // namespace

std::string ShowReview(const v1::Review& review, int width) {
  std::string holds = absl::StrCat(PeriodText(review.period()), ", compared with ",
                                   PeriodText(review.period_before()));
  if (std::any_of(review.accounts().begin(), review.accounts().end(),
                  [](const v1::Account& account) { return account.has_year_ago(); })) {
    absl::StrAppend(&holds, " and ", PeriodText(review.year_ago()));
  }
  if (!review.shop().empty()) absl::StrAppend(&holds, "; orders of the shop ", review.shop());
  if (review.provisional()) {
    absl::StrAppend(&holds, "; provisional until ", review.final_date());
  }
  if (!review.orders_kept_from_date().empty()) {
    absl::StrAppend(&holds, "; ", KeptText(review));
  }
  if (review.has_news_time()) {
    absl::StrAppend(&holds, "; delivery news up to ", TimeText(review.news_time()));
  }
  if (review.has_as_of_time()) absl::StrAppend(&holds, "; as of ", TimeText(review.as_of_time()));
  std::string screen = Wrapped(holds, width) + "\n";
  if (review.accounts().empty()) return screen + "no orders\n";
  for (const v1::Account& account : review.accounts()) {
    const AccountKind kind = KindOf(account);
    if (kind == AccountKind::kAll || kind == AccountKind::kSupplier) {
      screen += AccountText(account, review, width);
    }
  }
  const Marks& marks = MarksFor(width);
  return screen +
         Wrapped(absl::StrCat("By week: on time, ", marks.levels[7],
                              " 95 % or more, a step lower for each 5 points less; ", marks.none,
                              " no orders. Lanes, pairs, excuses and how it was counted: "
                              "-o FILE.html."),
                 width);
}

}  // namespace plumblane::client
