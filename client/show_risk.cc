#include "client/show_risk.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <vector>

#include "client/show.h"
#include "client/table.h"
#include "client/text.h"

namespace plumblane::client {
namespace {

using Align = Table::Align;

constexpr char kNoFigure[] = "-";
constexpr double kOneHasAll = 10'000;

v1::Money MoneyOf(int64_t minor_units, const std::string& currency) {
  v1::Money money;
  money.set_minor_units(minor_units);
  money.set_currency_code(currency);
  return money;
}

// "the last 90 days".
std::string SpanText(int days) {
  return days == 1 ? "the last day" : absl::StrCat("the last ", Counted(days, "day"));
}

// Percent that was charged beyond what was quoted, to one decimal. REQUIRES: something was quoted.
double Drift(const v1::Charges& charges) {
  const auto quoted = static_cast<double>(charges.quoted());
  const double percent = 100 * (static_cast<double>(charges.charged()) - quoted) / quoted;
  return std::round(percent * 10) / 10 + 0.0;  // no minus before a zero
}

// "+2.3 % of 41".
std::string DriftCell(const v1::Charges& charges) {
  if (charges.quoted() <= 0) return kNoFigure;
  const double drift = Drift(charges);
  return absl::StrCat(drift == 0 ? "0 %" : absl::StrFormat("%+.1f %%", drift), " of ",
                      Thousands(charges.order_count()));
}

// What a supplier has in one currency.
struct InCurrency {
  std::string paid = kNoFigure, drift = kNoFigure;
};

std::map<std::string, InCurrency> ByCurrency(const v1::SupplierRisk& one) {
  std::map<std::string, InCurrency> all;
  for (const v1::Money& money : one.exposures()) {
    const std::string text = MoneyText(money);
    all[money.currency_code()].paid = text.substr(0, text.find(' '));
  }
  for (const v1::Charges& charges : one.charges()) {
    all[charges.currency_code()].drift = DriftCell(charges);
  }
  return all;
}

// A line for each currency, the first with what has none.
void AddRows(const v1::SupplierRisk& one, bool has_shares, Table& table) {
  std::vector<std::string> row = {
      one.supplier_id(), has_shares ? PercentNumber(one.order_share()) : kNoFigure,
      one.has_money_share() ? PercentNumber(one.money_share()) : kNoFigure,
      Thousands(one.underway_count()),
      one.has_silent_days() ? absl::StrFormat("%.1f", one.silent_days()) : kNoFigure};
  std::map<std::string, InCurrency> all = ByCurrency(one);
  if (all.empty()) all[kNoFigure] = {};
  for (const auto& [currency, sums] : all) {
    row.insert(row.end(), {currency, sums.paid, sums.drift});
    table.Add(row);
    row.assign(5, "");
  }
}

std::string TableText(const std::vector<const v1::SupplierRisk*>& suppliers, bool has_shares,
                      int width) {
  Table table({{"supplier"},
               {"orders\n%", Align::kRight},
               {"money\n%", Align::kRight},
               {"under\nway", Align::kRight},
               {"silent\ndays", Align::kRight},
               {"in"},
               {"paid for\nthese", Align::kRight},
               {"charged over\nquoted", Align::kRight}});
  for (const v1::SupplierRisk* one : suppliers) AddRows(*one, has_shares, table);
  return table.Render(width);
}

std::string LegendText(const v1::Risk& risk) {
  return absl::StrCat(
      "orders, money: share of the orders paid in ", SpanText(risk.days()),
      ", and of what was paid for them",
      risk.currency_code().empty() ? "" : absl::StrCat(" in ", risk.currency_code()),
      "; under way: paid, but not delivered, cancelled, refunded or given up; silent: days "
      "without any news while these wait; in: the currency; charged: more or less than quoted, of "
      "how many orders; -: no figure.");
}

// Those with the largest share, and which it is.
struct Leaders {
  std::vector<std::string> names;
  double share = 0;
};

template <typename Share>
Leaders LeadersBy(const v1::Risk& risk, Share share) {
  Leaders leaders;
  for (const v1::SupplierRisk& one : risk.suppliers()) {
    if (share(one) > leaders.share) leaders = {{}, share(one)};
    if (share(one) == leaders.share) leaders.names.push_back(one.supplier_id());
  }
  return leaders;
}

// "linden-store gets most: 38 %", "a and b get most: 50 % each".
std::string GetMost(const Leaders& leaders) {
  const bool alone = leaders.names.size() == 1;
  return absl::StrCat(Listed(leaders.names), alone ? " gets" : " get",
                      " most: ", Percent(leaders.share), alone ? "" : " each");
}

std::string MostText(const v1::Risk& risk) {
  int64_t count = 0;
  for (const v1::SupplierRisk& one : risk.suppliers()) count += one.order_count();
  const Leaders orders = LeadersBy(risk, [](const auto& one) { return one.order_share(); });
  const Leaders money = LeadersBy(risk, [](const auto& one) { return one.money_share(); });
  std::string text = absl::StrCat(GetMost(orders), " of the ", Counted(count, "order"), " paid in ",
                                  SpanText(risk.days()));
  if (!risk.has_money_concentration()) return text + ".";
  if (orders.names != money.names) {
    return absl::StrCat(text, ". ", GetMost(money), " of the money.");
  }
  return absl::StrCat(text, ", and ", Percent(money.share), money.names.size() == 1 ? "" : " each",
                      " of the money.");
}

// "2,450, as if 4.1 suppliers had equal shares".
std::string IndexText(double index) {
  const std::string number = Thousands(std::llround(index));
  if (std::llround(index) >= kOneHasAll) return number + ": one supplier has all";
  return absl::StrFormat("%s, as if %.1f suppliers had equal shares", number, kOneHasAll / index);
}

std::string ConcentrationText(const v1::Risk& risk) {
  return absl::StrCat(
      "Concentration by orders ", IndexText(risk.order_concentration()),
      risk.has_money_concentration() ? "; by money " + IndexText(risk.money_concentration()) : "",
      ". It is the sum of the squared shares in percent, 10,000 when one supplier "
      "has all.");
}

// "2.3 % more than quoted, 563.20 EUR for 550.50 EUR, over 41 orders".
std::string ChargesText(const v1::Charges& charges) {
  const std::string& currency = charges.currency_code();
  const std::string sums = absl::StrCat(MoneyText(MoneyOf(charges.charged(), currency)), " for ",
                                        MoneyText(MoneyOf(charges.quoted(), currency)));
  const std::string over = ", over " + Counted(charges.order_count(), "order");
  if (charges.quoted() <= 0) return sums + " quoted" + over;
  const double drift = Drift(charges);
  if (drift == 0) {
    return absl::StrCat(charges.charged() == charges.quoted() ? "" : "nearly ", "as quoted, ", sums,
                        over);
  }
  return absl::StrFormat("%.1f %% %s than quoted, %s%s", std::abs(drift),
                         drift > 0 ? "more" : "less", sums, over);
}

std::string AtRiskText(const v1::SupplierRisk& one) {
  if (one.underway_count() == 0) return "";
  const std::string orders = Counted(one.underway_count(), "order") + " under way";
  std::vector<std::string> sums;
  for (const v1::Money& money : one.exposures()) sums.push_back(MoneyText(money));
  if (sums.empty()) return absl::StrCat("not known: what was paid for ", orders);
  return absl::StrCat(Listed(sums), " paid for ", orders);
}

std::string SharesText(const v1::SupplierRisk& one, int days) {
  if (one.order_count() == 0) return "";
  return absl::StrCat(Percent(one.order_share()), " of the orders of all suppliers",
                      one.has_money_share()
                          ? absl::StrCat(" and ", Percent(one.money_share()), " of the money")
                          : "",
                      " in ", SpanText(days));
}

}  // namespace

std::string ShowRisk(const v1::Risk& risk, int width) {
  if (risk.suppliers().empty()) return "no orders yet; feed some with \"plumblane send\"\n";
  std::vector<const v1::SupplierRisk*> suppliers;
  for (const v1::SupplierRisk& one : risk.suppliers()) suppliers.push_back(&one);
  std::stable_sort(suppliers.begin(), suppliers.end(), [](const auto* a, const auto* b) {
    return a->order_count() > b->order_count();
  });
  const bool has_shares = risk.has_order_concentration();
  std::string text = absl::StrCat(TableText(suppliers, has_shares, width), "\n",
                                  Wrapped(LegendText(risk), width), "\n");
  if (has_shares) {
    text += Wrapped(MostText(risk), width) + Wrapped(ConcentrationText(risk), width);
  } else {
    text += Wrapped(absl::StrCat("No order was paid in ", SpanText(risk.days()),
                                 ", so there are no shares; --days asks for more days."),
                    width);
  }
  if (!risk.money_problem().empty()) {
    text += Wrapped("No shares of money: " + risk.money_problem(), width);
  }
  return absl::StrCat(text, "\nas of ", TimeText(risk.as_of_time()), "\n");
}

std::string RiskLines(const v1::Risk& risk, int width) {
  if (risk.suppliers().empty()) return "";
  const v1::SupplierRisk& one = risk.suppliers(0);
  std::string text;
  const auto fact = [&](const std::string& label, const std::string& value) {
    if (!value.empty()) text += DetailLine(label, value, /*label_width=*/15, width);
  };
  fact("at risk", AtRiskText(one));
  fact("share", SharesText(one, risk.days()));
  for (int i = 0; i < one.charges_size(); ++i) {
    fact(i == 0 ? "charged" : "", ChargesText(one.charges(i)));
  }
  return text;
}

}  // namespace plumblane::client
