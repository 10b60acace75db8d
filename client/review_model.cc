#include "client/review_model.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_join.h>

#include <algorithm>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "client/review_figures.h"
#include "client/review_pictures.h"
#include "client/review_places.h"
#include "client/review_words.h"
#include "client/text.h"

namespace plumblane::client {
namespace {

using Views = std::vector<View>;

View Texts(std::map<std::string, std::string> texts) { return {std::move(texts), {}}; }

// ---- what to raise ----------------------------------------------------------------------------

std::string LeftOutText(const v1::Account& account, const std::string& currency) {
  if (currency.empty() || account.at_stake_left_out().empty()) return "";
  return absl::StrCat("Its place leaves out amounts in ",
                      absl::StrJoin(account.at_stake_left_out(), ", "), ": there is no rate to ",
                      currency, ".");
}

View RaiseView(const Placed& placed, const std::string& currency) {
  View view = Texts({{"name", placed.account->supplier_id()},
                     {"anchor", placed.anchor},
                     {"left_out", LeftOutText(*placed.account, currency)}});
  Views& raised = view.lists["raised"];
  Views& well = view.lists["well"];
  for (const v1::Point& point : placed.account->points()) {
    const std::string stake = StakeText(point);
    const size_t unit = stake.find(' ', stake.find(' ') + 1);
    (point.good() ? well : raised)
        .push_back(
            Texts({{"sentence", point.sentence()},
                   {"stake", stake},
                   {"stake_amount", stake.substr(0, unit)},
                   {"stake_what", unit == std::string::npos ? "" : stake.substr(unit + 1)}}));
  }
  return view;
}

Views RaiseViews(std::vector<Placed> all, const std::string& currency) {
  std::erase_if(all, [](const Placed& one) {
    return KindOf(*one.account) != AccountKind::kSupplier || one.account->points().empty();
  });
  std::stable_sort(all.begin(), all.end(),
                   [](const Placed& x, const Placed& y) { return AtStake(x) > AtStake(y); });
  Views views;
  for (const Placed& one : all) views.push_back(RaiseView(one, currency));
  return views;
}

std::string RaiseOrderText(const v1::Review& review) {
  if (!review.currency_code().empty()) {
    return "Supplier by supplier, the most money first; other currencies by the exchange rates "
           "given for the day of these outcomes.";
  }
  return absl::StrCat("Supplier by supplier, by name and not by money: ",
                      review.currency_problem().empty() ? "no orders were paid in the period"
                                                        : review.currency_problem(),
                      ".");
}

// ---- what changed -----------------------------------------------------------------------------

struct Told {
  const Placed* placed;
  const v1::Change* change;
};

View ChangeView(const Told& told) {
  const v1::Change& change = *told.change;
  return Texts({{"who", AccountName(*told.placed->account)},
                {"anchor", told.placed->anchor},
                {"hit", HitText(change.measure())},
                {"against", AgainstText(change.against())},
                {"now", HitsText(change.hit_count(), change.order_count())},
                {"then", HitsText(change.hit_count_then(), change.order_count_then())},
                {"difference", DifferenceText(change)},
                {"p", ProbabilityText(change.adjusted_p_value())}});
}

// Those of one verdict, the surest first.
Views TimesChangeViews(const std::vector<Placed>& all, v1::Change::Verdict verdict) {
  std::vector<std::pair<const Placed*, const v1::TimesChange*>> found;
  for (const Placed& one : all) {
    for (const v1::TimesChange& change : one.account->times_changes()) {
      if (change.verdict() == verdict) found.push_back({&one, &change});
    }
  }
  std::stable_sort(found.begin(), found.end(), [](const auto& x, const auto& y) {
    return x.second->adjusted_p_value() < y.second->adjusted_p_value();
  });
  Views views;
  for (const auto& [placed, change] : found) {
    const v1::Account& account = *placed->account;
    views.push_back(Texts({{"who", AccountName(account)},
                           {"anchor", placed->anchor},
                           {"hit", TimesChangeName(*change)},
                           {"against", AgainstText(change->against())},
                           {"now", TimesOfChange(*change, account.period())},
                           {"then", TimesOfChange(*change, FiguresThen(*change, account))},
                           {"difference", TimesDifferenceText(*change, account)},
                           {"p", ProbabilityText(change->adjusted_p_value())}}));
  }
  return views;
}

// Those of one verdict: shares, the surest and largest first, then times.
Views ChangeViews(const std::vector<Placed>& all, v1::Change::Verdict verdict) {
  std::vector<Told> found;
  for (const Placed& one : all) {
    for (const v1::Change& change : one.account->changes()) {
      if (change.verdict() == verdict) found.push_back({&one, &change});
    }
  }
  const bool worse = verdict == v1::Change::VERDICT_WORSE;
  std::stable_sort(found.begin(), found.end(), [worse](const Told& x, const Told& y) {
    return worse ? x.change->low() > y.change->low() : x.change->high() < y.change->high();
  });
  Views views;
  for (const Told& told : found) views.push_back(ChangeView(told));
  for (View& view : TimesChangeViews(all, verdict)) views.push_back(std::move(view));
  return views;
}

int64_t CountVerdicts(const v1::Review& review, v1::Change::Verdict verdict) {
  int64_t count = 0;
  for (const v1::Account& account : review.accounts()) {
    for (const v1::Change& change : account.changes()) count += change.verdict() == verdict;
    for (const v1::TimesChange& change : account.times_changes()) {
      count += change.verdict() == verdict;
    }
  }
  return count;
}

std::string OtherChangesText(const v1::Review& review) {
  const int64_t chance = CountVerdicts(review, v1::Change::VERDICT_NO_MORE_THAN_CHANCE);
  const int64_t thin = CountVerdicts(review, v1::Change::VERDICT_TOO_THIN);
  std::string text;
  if (chance > 0) {
    text = absl::StrCat(Counted(chance, "other comparison"), chance == 1 ? " shows" : " show",
                        " no more than chance. ");
  }
  if (thin > 0) {
    absl::StrAppend(&text, Counted(thin, "comparison"), " had too few orders to be made. ");
  }
  return text.empty() ? text
                      : text +
                            "They stand with each account; those of a supplier on one lane "
                            "only in the CSV and JSON forms of this review.";
}

// ---- accounts ---------------------------------------------------------------------------------

Views Lines(const auto& items, auto text_of) {
  Views views;
  for (const auto& item : items) views.push_back(Texts({{"line", text_of(item)}}));
  return views;
}

Views Pictures(const Placed& placed, const v1::Review& review) {
  const v1::Account& account = *placed.account;
  const std::string& at = placed.anchor;
  const std::optional<View> made[] = {WeeksPicture(account, review.period(), at + "-weeks"),
                                      TransitPicture(account, at + "-transit"),
                                      KindsPicture(account, at + "-kinds"),
                                      CostsPicture(account, review.currency_code(), at + "-costs")};
  Views views;
  for (const std::optional<View>& one : made) {
    if (one) views.push_back(*one);
  }
  return views;
}

View AccountView(const Placed& placed, const v1::Review& review) {
  const v1::Account& account = *placed.account;
  View view =
      Texts({{"name", AccountName(account)},
             {"anchor", placed.anchor},
             {"period", PeriodText(review.period())},
             {"before_period", PeriodText(review.period_before())},
             {"year_ago_period", account.has_year_ago() ? PeriodText(review.year_ago()) : ""},
             {"no_before", account.has_before() ? "" : "no orders in the period before"}});
  for (const FigureRow& row : FigureRows(account, review.to_share())) {
    View line = Texts({{"label", row.label}, {"now", row.now}, {"before", row.before}});
    if (account.has_year_ago()) line.lists["year_ago"] = {Texts({{"then", row.year_ago}})};
    view.lists["figures"].push_back(std::move(line));
  }
  view.lists["changes"] = Lines(account.changes(), ChangeText);
  for (View& line : Lines(account.times_changes(), [&](const v1::TimesChange& change) {
         return TimesChangeText(change, account);
       })) {
    view.lists["changes"].push_back(std::move(line));
  }
  view.lists["targets"] = Lines(account.targets(), TargetText);
  view.lists["items"] = Lines(account.items(), ItemText);
  view.lists["alerts"] = Lines(account.alerts(), AlertMarkText);
  view.lists["assigned"] = {};
  if (account.has_assigned()) {
    view.lists["assigned"] = {Texts({{"line", AssignedText(account.assigned())}})};
  }
  view.lists["pictures"] = Pictures(placed, review);
  return view;
}

Views AccountViews(const std::vector<Placed>& all, AccountKind kind, const v1::Review& review) {
  Views views;
  for (const Placed& one : all) {
    if (KindOf(*one.account) == kind && one.in_full) views.push_back(AccountView(one, review));
  }
  return views;
}

// One line for each account of a kind.
Views GlanceViews(const std::vector<Placed>& all, AccountKind kind) {
  Views views;
  for (const Placed& one : all) {
    if (KindOf(*one.account) != kind || one.anchor == kNoRow) continue;
    const v1::Figures& figures = one.account->period();
    views.push_back(Texts({{"name", AccountName(*one.account)},
                           {"anchor", one.anchor},
                           {"row", one.in_full ? "" : one.anchor},
                           {"orders", Thousands(figures.order_count())},
                           {"on_time", ShareText(figures.on_time())},
                           {"defect", ShareText(figures.defect())},
                           {"delivered", ShortTimes(figures.delivery())}}));
  }
  return views;
}

// Several charts of the same scale, one for each lane.
Views Multiples(const std::vector<Placed>& all, const v1::Review& review) {
  Views views;
  for (const Placed& one : all) {
    if (KindOf(*one.account) != AccountKind::kLane || !one.in_full) continue;
    std::optional<View> picture =
        WeeksPicture(*one.account, review.period(), one.anchor + "-multiple");
    if (!picture) continue;
    picture->texts["heading"] = AccountName(*one.account);
    picture->texts["on_time"] = ShareText(one.account->period().on_time());
    views.push_back(*std::move(picture));
  }
  return views;
}

// ---- excuses, too thin ------------------------------------------------------------------------

Views ExcuseViews(const std::vector<Placed>& all) {
  Views views;
  for (const Placed& one : all) {
    const AccountKind kind = KindOf(*one.account);
    if (one.account->excuses().empty() || kind == AccountKind::kAll || kind == AccountKind::kPair) {
      continue;
    }
    const v1::Figures& figures = one.account->period();
    View view = Texts({{"name", AccountName(*one.account)},
                       {"anchor", one.anchor},
                       {"on_time", ShareText(figures.on_time())},
                       {"without", figures.has_on_time_without_excuses()
                                       ? ShareText(figures.on_time_without_excuses())
                                       : ""}});
    view.lists["reasons"] = Lines(one.account->excuses(), ExcusedText);
    views.push_back(std::move(view));
  }
  return views;
}

Views ThinViews(const std::vector<Placed>& all) {
  Views views;
  for (const Placed& one : all) {
    const v1::CountedShare& share = one.account->period().on_time();
    const bool none = share.order_count() == 0;
    if (!share.too_thin() && !none) continue;
    views.push_back(
        Texts({{"name", AccountName(*one.account)},
               {"anchor", one.anchor},
               {"due", none ? "no orders due" : Counted(share.order_count(), "order") + " due"}}));
  }
  return views;
}

// ---- what it holds for ------------------------------------------------------------------------

std::string ScopeText(const v1::Review& review) {
  std::string text;
  if (!review.supplier().empty()) text = review.supplier();
  if (review.has_lane()) {
    text = absl::StrCat(text, text.empty() ? "" : " on ", LaneText(review.lane()));
  }
  if (review.shop().empty()) return text;
  return absl::StrCat(text, text.empty() ? "" : ", ", "shop ", review.shop());
}

std::string ProvisionalText(const v1::Review& review) {
  std::string kept = KeptText(review);
  if (!kept.empty()) {
    kept[0] = 'O';
    kept += ".";
  }
  if (!review.provisional()) return kept;
  return absl::StrCat(
      kept, kept.empty() ? "" : " ",
      "Provisional: the period is not over, or claims can still come in, so figures will change.",
      review.final_date().empty()
          ? ""
          : absl::StrCat(" Final from ", review.final_date(), " on, if no feed is behind."));
}

}  // namespace

View ReviewModel(const v1::Review& review) {
  const std::vector<Placed> all = Place(review);
  View view = Texts(
      {{"period", PeriodText(review.period())},
       {"before_period", PeriodText(review.period_before())},
       {"year_ago_period", PeriodText(review.year_ago())},
       {"scope", ScopeText(review)},
       {"provisional", ProvisionalText(review)},
       {"as_of", review.has_as_of_time() ? TimeText(review.as_of_time()) : ""},
       {"news", review.has_news_time() ? TimeText(review.news_time()) : ""},
       {"claim_window", DaysText(review.claim_window_days())},
       {"comparisons", Counted(review.comparison_count(), "comparison")},
       {"currency", review.currency_code()},
       {"currency_problem", review.currency_problem()},
       {"other_changes", OtherChangesText(review)},
       {"shop", review.shop()},
       {"raise_order", RaiseOrderText(review)},
       {"to_share", review.to_share() ? review.supplier() : ""},
       {"empty", all.empty() ? "There were no orders in this period or the one before." : ""}});
  const auto cut = [&view](const std::string& list, size_t most, const std::string& noun,
                           const std::string& first, const std::string& where) {
    view.texts[list + "_rest"] = Cut(view.lists[list], most, noun, first, where);
  };
  view.lists["raise"] = RaiseViews(all, review.currency_code());
  cut("raise", kMostInFull, "supplier",
      review.currency_code().empty() ? "first" : "with the most at stake", kInJson);
  view.lists["worse"] = ChangeViews(all, v1::Change::VERDICT_WORSE);
  view.lists["better"] = ChangeViews(all, v1::Change::VERDICT_BETTER);
  cut("worse", kMostRows, "change", "surest and largest", kInCsv);
  cut("better", kMostRows, "change", "surest and largest", kInCsv);
  view.lists["together"] = AccountViews(all, AccountKind::kAll, review);
  view.lists["suppliers"] = AccountViews(all, AccountKind::kSupplier, review);
  view.lists["lanes"] = AccountViews(all, AccountKind::kLane, review);
  view.lists["multiples"] = Multiples(all, review);
  view.lists["supplier_glance"] = GlanceViews(all, AccountKind::kSupplier);
  view.lists["lane_glance"] = GlanceViews(all, AccountKind::kLane);
  view.lists["pair_glance"] = GlanceViews(all, AccountKind::kPair);
  const auto without_row =
      std::count_if(all.begin(), all.end(), [](const Placed& one) { return one.anchor == kNoRow; });
  view.texts["pairs_rest"] =
      RestText(static_cast<size_t>(without_row), kMostRows, "pair", "with the most orders", kInCsv);
  view.texts["suppliers_rest"] = NotInFullText(all, AccountKind::kSupplier, "supplier", "at stake");
  view.texts["lanes_rest"] = NotInFullText(all, AccountKind::kLane, "lane", "orders");
  view.lists["excuses"] = ExcuseViews(all);
  view.lists["thin"] = ThinViews(all);
  cut("thin", kMostRows, "account", "first", kInCsv);
  return view;
}

}  // namespace plumblane::client
