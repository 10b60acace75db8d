#include "client/review_figures.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_format.h>
#include <absl/strings/str_join.h>

#include <functional>
#include <set>

#include "client/review_words.h"
#include "client/text.h"
#include "client/words.h"

namespace plumblane::client {
namespace {

using Cell = std::function<std::string(const v1::Figures&)>;
using MoneyCell = std::function<std::string(const v1::MoneyFigures&)>;

std::string Amount(int64_t minor_units, const std::string& currency) {
  v1::Money money;
  money.set_minor_units(minor_units);
  money.set_currency_code(currency);
  return MoneyText(money);
}

std::string KindsText(const v1::Figures& figures) {
  std::string text;
  for (const v1::DefectCount& kind : figures.defect_kinds()) {
    absl::StrAppend(&text, text.empty() ? "" : ", ", DefectText(kind.kind()), " ",
                    Thousands(kind.count()));
  }
  return text;
}

// "102.30 of 100.00 EUR, +2.3 %, of 41 orders".
std::string ChargedText(const v1::MoneyFigures& money) {
  if (money.quoted_order_count() == 0) return "";
  std::string text = absl::StrCat(Amount(money.charged(), money.currency_code()), " for ",
                                  Amount(money.quoted(), money.currency_code()), " quoted");
  if (money.quoted() > 0) {
    const double drift =
        100 * (static_cast<double>(money.charged()) / static_cast<double>(money.quoted()) - 1);
    absl::StrAppendFormat(&text, ", %+.1f %%", drift);
  }
  return absl::StrCat(text, ", ", Counted(money.quoted_order_count(), "order"));
}

// Collects the lines of one account.
class Rows {
 public:
  explicit Rows(const v1::Account& account) : account_(account) {}

  void Add(const std::string& label, const Cell& cell) {
    const auto of = [&](bool has, const v1::Figures& figures) {
      return has ? cell(figures) : std::string();
    };
    FigureRow row{label, of(account_.has_period(), account_.period()),
                  of(account_.has_before(), account_.before()),
                  of(account_.has_year_ago(), account_.year_ago())};
    if (row.now.empty() && row.before.empty() && row.year_ago.empty()) return;
    rows_.push_back(std::move(row));
  }

  // A line that only some orders are behind; empty where it is not known.
  void AddCount(const std::string& label, int64_t (v1::Figures::*count)() const,
                bool (v1::Figures::*has)() const = nullptr) {
    const auto any = [&](const v1::Figures& figures) { return (figures.*count)() > 0; };
    if (!any(account_.period()) && !any(account_.before()) && !any(account_.year_ago())) return;
    Add(label, [count, has](const v1::Figures& figures) {
      return has == nullptr || (figures.*has)() ? Thousands((figures.*count)()) : "";
    });
  }

  // A line with every currency in which `count` is somewhere more than 0.
  void AddMoney(const std::string& label, int64_t (v1::MoneyFigures::*count)() const,
                const MoneyCell& cell) {
    std::set<std::string> currencies;
    for (const v1::Figures* figures :
         {&account_.period(), &account_.before(), &account_.year_ago()}) {
      for (const v1::MoneyFigures& money : figures->money()) {
        if ((money.*count)() > 0) currencies.insert(money.currency_code());
      }
    }
    Add(label, [&](const v1::Figures& figures) {
      std::vector<std::string> sums;
      for (const v1::MoneyFigures& money : figures.money()) {
        if (!currencies.contains(money.currency_code())) continue;
        if (std::string text = cell(money); !text.empty()) sums.push_back(std::move(text));
      }
      return absl::StrJoin(sums, "; ");
    });
  }

  // The same, told as the amount alone.
  void AddAmount(const std::string& label, int64_t (v1::MoneyFigures::*amount)() const,
                 bool (v1::MoneyFigures::*has)() const = nullptr) {
    AddMoney(label, amount, [amount, has](const v1::MoneyFigures& money) {
      return has == nullptr || (money.*has)() ? Amount((money.*amount)(), money.currency_code())
                                              : "";
    });
  }

  // That of now only: then it was not looked at.
  void AddNow(const std::string& label, int64_t (v1::MoneyFigures::*amount)() const) {
    const size_t before = rows_.size();
    AddAmount(label, amount);
    if (rows_.size() > before) rows_.back().before = rows_.back().year_ago = "";
  }

  std::vector<FigureRow> Take() { return std::move(rows_); }

 private:
  const v1::Account& account_;
  std::vector<FigureRow> rows_;
};

void AddQuality(bool all_count, Rows& rows) {
  rows.Add("on time", [](const v1::Figures& f) { return ShareText(f.on_time()); });
  if (!all_count) {
    rows.Add("on time, excused orders counted too", [](const v1::Figures& f) {
      return f.has_on_time_without_excuses() ? ShareText(f.on_time_without_excuses()) : "";
    });
  }
  rows.Add("came late", [](const v1::Figures& f) {
    return f.on_time().order_count() > 0 ? Thousands(f.on_time().hit_count()) : "";
  });
  rows.Add("days late, on average", DaysLateText);
  rows.Add("bad or lost", [](const v1::Figures& f) { return ShareText(f.defect()); });
  rows.Add("of these", KindsText);
  rows.AddCount("claim window still open", &v1::Figures::immature_count);
  rows.AddCount("due, not settled yet", &v1::Figures::unsettled_count,
                &v1::Figures::has_unsettled_count);
  rows.AddCount("out of stock", &v1::Figures::out_of_stock_count,
                &v1::Figures::has_out_of_stock_count);
}

void AddTimes(Rows& rows) {
  rows.Add("ships within", [](const v1::Figures& f) { return TimesText(f.handling()); });
  rows.Add("travels", [](const v1::Figures& f) { return TimesText(f.transit()); });
  rows.Add("delivered within", [](const v1::Figures& f) { return TimesText(f.delivery()); });
  rows.Add("answers claims within", [](const v1::Figures& f) { return TimesText(f.response()); });
}

void AddMoneyRows(bool to_share, Rows& rows) {
  rows.AddAmount("paid for orders", &v1::MoneyFigures::paid);
  rows.AddAmount("of this for replacements", &v1::MoneyFigures::replacements);
  rows.AddMoney("charged", &v1::MoneyFigures::quoted_order_count, ChargedText);
  rows.AddMoney("charged more than quoted", &v1::MoneyFigures::overcharged_order_count,
                [](const v1::MoneyFigures& money) {
                  if (!money.has_overcharged()) return std::string();
                  return absl::StrCat(Amount(money.overcharged(), money.currency_code()), ", ",
                                      Counted(money.overcharged_order_count(), "order"));
                });
  rows.AddAmount("claimed from the supplier", &v1::MoneyFigures::claimed,
                 &v1::MoneyFigures::has_claimed);
  rows.AddMoney("still owed", &v1::MoneyFigures::claimed, [](const v1::MoneyFigures& money) {
    if (!money.has_owed()) return std::string();
    return absl::StrCat(Amount(money.owed(), money.currency_code()), ", ",
                        Counted(money.owed_order_count(), "order"));
  });
  rows.AddAmount("refunded by the supplier", &v1::MoneyFigures::refunded_by_supplier,
                 &v1::MoneyFigures::has_refunded_by_supplier);
  if (!to_share) {
    rows.AddAmount("refunded by the shop", &v1::MoneyFigures::refunded_by_shop,
                   &v1::MoneyFigures::has_refunded_by_shop);
    rows.AddNow("paid for what is still under way", &v1::MoneyFigures::exposure);
  }
}

void AddShares(Rows& rows) {
  rows.Add("share of all orders paid", [](const v1::Figures& f) {
    return f.has_order_share() ? Percent(f.order_share()) : "";
  });
  rows.Add("share of all money paid", [](const v1::Figures& f) {
    return f.has_money_share() ? Percent(f.money_share()) : "";
  });
  rows.Add("concentration by orders", [](const v1::Figures& f) {
    return f.has_order_concentration() ? absl::StrFormat("%.0f", f.order_concentration()) : "";
  });
  rows.Add("concentration by money", [](const v1::Figures& f) {
    return f.has_money_concentration() ? absl::StrFormat("%.0f", f.money_concentration()) : "";
  });
}

}  // namespace

std::vector<FigureRow> FigureRows(const v1::Account& account, bool to_share) {
  const AccountKind kind = KindOf(account);
  Rows rows(account);
  rows.Add("orders paid", [](const v1::Figures& f) { return Thousands(f.order_count()); });
  AddQuality(kind == AccountKind::kLane || kind == AccountKind::kAll, rows);
  AddTimes(rows);
  AddMoneyRows(to_share, rows);
  AddShares(rows);
  return rows.Take();
}

}  // namespace plumblane::client
