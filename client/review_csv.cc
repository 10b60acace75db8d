// The CSV of review_forms.h.

#include <absl/strings/str_cat.h>
#include <absl/strings/str_format.h>

#include <array>
#include <vector>

#include "client/review_forms.h"
#include "client/review_words.h"
#include "client/text.h"
#include "client/words.h"
#include "tables/csv.h"

namespace plumblane::client {
namespace {

// One cell and the column it belongs to: names and values cannot drift apart.
struct Cell {
  std::string column, value;
  bool is_figure = false;
};
using Cells = std::vector<Cell>;

std::string Number(double value) { return absl::StrFormat("%.6g", value); }

void AddShare(const std::string& prefix, const std::string& hits, const v1::CountedShare& share,
              Cells& cells) {
  const bool has = share.order_count() > 0 && share.has_observed();
  cells.insert(cells.end(),
               {{prefix, has ? Number(share.observed()) : ""},
                {prefix + "_low", has && share.has_low() ? Number(share.low()) : ""},
                {prefix + "_high", has && share.has_high() ? Number(share.high()) : ""},
                {prefix + "_orders", absl::StrCat(share.order_count())},
                {hits, absl::StrCat(share.hit_count())},
                {prefix + "_too_thin", share.too_thin() ? "yes" : "no"}});
}

std::string DaysOf(bool has, const google::protobuf::Duration& time) {
  if (!has) return "";
  return Number((static_cast<double>(time.seconds()) + time.nanos() / 1e9) / 86'400);
}

void AddTimes(const std::string& prefix, const v1::Times& times, Cells& cells) {
  cells.insert(cells.end(), {{prefix + "_half_days", DaysOf(times.has_median(), times.median())},
                             {prefix + "_90_days", DaysOf(times.has_p90(), times.p90())},
                             {prefix + "_entered", absl::StrCat(times.entered_count())},
                             {prefix + "_finished", absl::StrCat(times.finished_count())}});
}

void AddFigures(const v1::Figures& figures, Cells& cells) {
  cells.push_back({"orders", absl::StrCat(figures.order_count())});
  AddShare("on_time", "late", figures.on_time(), cells);
  const bool without = figures.has_on_time_without_excuses();
  const v1::CountedShare& all = figures.on_time_without_excuses();
  cells.push_back(
      {"on_time_without_excuses", without && all.has_observed() ? Number(all.observed()) : ""});
  cells.push_back(
      {"mean_days_late", figures.has_mean_days_late() ? Number(figures.mean_days_late()) : ""});
  AddShare("defect", "defective", figures.defect(), cells);
  for (const v1::Reason kind :
       {v1::REASON_DAMAGED, v1::REASON_QUALITY, v1::REASON_WRONG_ITEM, v1::REASON_MISSING_PART,
        v1::REASON_COUNTERFEIT, v1::REASON_UNSAFE, v1::REASON_LOST}) {
    int64_t count = 0;
    for (const v1::DefectCount& one : figures.defect_kinds()) {
      if (one.kind() == kind) count = one.count();
    }
    cells.push_back({NameOf(kind), absl::StrCat(count)});
  }
  cells.insert(
      cells.end(),
      {{"claim_window_open", absl::StrCat(figures.immature_count())},
       {"unsettled", figures.has_unsettled_count() ? absl::StrCat(figures.unsettled_count()) : ""},
       {"out_of_stock",
        figures.has_out_of_stock_count() ? absl::StrCat(figures.out_of_stock_count()) : ""}});
  AddTimes("handling", figures.handling(), cells);
  AddTimes("transit", figures.transit(), cells);
  AddTimes("delivery", figures.delivery(), cells);
  AddTimes("response", figures.response(), cells);
  const auto number = [](bool has, double value) { return has ? Number(value) : ""; };
  cells.insert(cells.end(),
               {{"order_share", number(figures.has_order_share(), figures.order_share())},
                {"money_share", number(figures.has_money_share(), figures.money_share())},
                {"order_concentration",
                 number(figures.has_order_concentration(), figures.order_concentration())},
                {"money_concentration",
                 number(figures.has_money_concentration(), figures.money_concentration())}});
}

void AddThen(const std::string& prefix, bool has, const v1::Figures& figures, Cells& cells) {
  const v1::CountedShare &on_time = figures.on_time(), &defect = figures.defect();
  const auto count = [has](int64_t value) { return has ? absl::StrCat(value) : ""; };
  const auto share = [has](const v1::CountedShare& one) {
    return has && one.has_observed() ? Number(one.observed()) : "";
  };
  cells.insert(cells.end(), {{prefix + "_orders", count(figures.order_count())},
                             {prefix + "_on_time", share(on_time)},
                             {prefix + "_on_time_orders", count(on_time.order_count())},
                             {prefix + "_late", count(on_time.hit_count())},
                             {prefix + "_defect", share(defect)},
                             {prefix + "_defect_orders", count(defect.order_count())},
                             {prefix + "_defective", count(defect.hit_count())}});
}

// `found`: null when there is none.
template <typename Found>
void AddVerdict(const std::string& measure, v1::Change::Against against, const Found* found,
                Cells& cells) {
  const bool year_ago = against == v1::Change::AGAINST_YEAR_AGO;
  const std::string name = measure + (year_ago ? "_against_year_ago" : "_against_before");
  const bool told = found != nullptr && found->has_adjusted_p_value();
  cells.push_back({name, found == nullptr ? "" : VerdictText(found->verdict())});
  cells.push_back({name + "_p", told ? Number(found->adjusted_p_value()) : ""});
}

void AddChanges(const v1::Account& account, Cells& cells) {
  for (const auto against : {v1::Change::AGAINST_PERIOD_BEFORE, v1::Change::AGAINST_YEAR_AGO}) {
    for (const std::string measure : {"on_time", "defect"}) {
      const v1::Change* found = nullptr;
      for (const v1::Change& change : account.changes()) {
        if (change.against() == against && change.measure() == measure) found = &change;
      }
      AddVerdict(measure, against, found, cells);
    }
  }
}

void AddTimesChanges(const v1::Account& account, Cells& cells) {
  for (const std::string measure : {"handling", "transit", "response", "days_late"}) {
    for (const auto against : {v1::Change::AGAINST_PERIOD_BEFORE, v1::Change::AGAINST_YEAR_AGO}) {
      const v1::TimesChange* found = nullptr;
      for (const v1::TimesChange& change : account.times_changes()) {
        if (change.against() == against && change.measure() == measure) found = &change;
      }
      AddVerdict(measure, against, found, cells);
    }
  }
}

void AddMoney(const v1::MoneyFigures* money, Cells& cells) {
  using Money = v1::MoneyFigures;
  using Has = bool (Money::*)() const;
  const auto amount = [money](int64_t (Money::*sum)() const, Has has = nullptr) {
    return money == nullptr || (has != nullptr && !(money->*has)())
               ? ""
               : AmountText(static_cast<double>((money->*sum)()), money->currency_code());
  };
  const auto count = [money](int64_t (Money::*orders)() const, Has has = nullptr) {
    return money == nullptr || (has != nullptr && !(money->*has)())
               ? ""
               : absl::StrCat((money->*orders)());
  };
  cells.insert(
      cells.end(),
      {{"currency", money == nullptr ? "" : money->currency_code()},
       {"paid", amount(&Money::paid)},
       {"replacements", amount(&Money::replacements)},
       {"refunded_by_supplier",
        amount(&Money::refunded_by_supplier, &Money::has_refunded_by_supplier)},
       {"refunded_by_shop", amount(&Money::refunded_by_shop, &Money::has_refunded_by_shop)},
       {"claimed", amount(&Money::claimed, &Money::has_claimed)},
       {"owed", amount(&Money::owed, &Money::has_owed)},
       {"owed_orders", count(&Money::owed_order_count, &Money::has_owed_order_count)},
       {"quoted_orders", count(&Money::quoted_order_count)},
       {"charged", amount(&Money::charged)},
       {"quoted", amount(&Money::quoted)},
       {"overcharged_orders",
        count(&Money::overcharged_order_count, &Money::has_overcharged_order_count)},
       {"overcharged", amount(&Money::overcharged, &Money::has_overcharged)},
       {"exposure", amount(&Money::exposure)}});
}

// Whose line it is; `full`: with its figures, not only with money in a further currency.
Cells LineOf(const v1::Review& review, const v1::Account& account, const v1::MoneyFigures* money,
             bool full) {
  constexpr std::array kKinds = {"all", "supplier", "lane", "pair"};
  Cells cells = {{"account", kKinds[static_cast<size_t>(KindOf(account))]},
                 {"supplier", account.supplier_id()},
                 {"origin", account.lane().origin()},
                 {"destination", account.lane().destination()},
                 {"service", account.lane().service()},
                 {"first_date", review.period().first_date()},
                 {"last_date", review.period().last_date()},
                 {"provisional", review.provisional() ? "yes" : "no"}};
  const size_t named = cells.size();
  AddFigures(account.period(), cells);
  AddThen("before", account.has_before(), account.before(), cells);
  AddThen("year_ago", account.has_year_ago(), account.year_ago(), cells);
  AddChanges(account, cells);
  for (size_t i = named; i < cells.size() && !full; ++i) cells[i].value.clear();
  AddMoney(money, cells);
  AddTimesChanges(full ? account : v1::Account(), cells);
  for (size_t i = named; i < cells.size(); ++i) cells[i].is_figure = true;
  return cells;
}

std::string LineText(const Cells& cells, std::string Cell::*text, const CsvStyle& style) {
  std::vector<CsvValue> values;
  for (const Cell& cell : cells) values.push_back({cell.*text, cell.is_figure});
  return CsvLine(values, style);
}

}  // namespace

std::string ReviewCsv(const v1::Review& review, const CsvStyle& style) {
  std::string text = LineText(LineOf(review, v1::Account(), nullptr, true), &Cell::column, style);
  for (const v1::Account& account : review.accounts()) {
    const auto& money = account.period().money();
    text += LineText(LineOf(review, account, money.empty() ? nullptr : &money[0], true),
                     &Cell::value, style);
    for (int i = 1; i < money.size(); ++i) {
      text += LineText(LineOf(review, account, &money[i], false), &Cell::value, style);
    }
  }
  return text;
}

}  // namespace plumblane::client
