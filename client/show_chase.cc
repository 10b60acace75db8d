#include "client/show_chase.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_format.h>

#include <algorithm>
#include <map>
#include <vector>

#include "base/ids.h"
#include "client/noted_table.h"
#include "client/show.h"
#include "client/text.h"
#include "client/words.h"

namespace plumblane::client {
namespace {

using Align = Table::Align;

constexpr char kNone[] = "-";

template <typename One>
std::string OrderText(const One& one) {
  return FormatOrder({one.shop(), one.order_id()}, one.part());
}

// "lotus-works, VN-DE/express".
template <typename One>
std::string WhoText(const One& one) {
  return absl::StrCat(one.supplier_id(), ", ", LaneText(one.lane()));
}

// ---- under way --------------------------------------------------------------------------------

std::string OrdersText(const v1::ListUnderwayResponse& answer, int width) {
  NotedTable table({{"order"},
                    {"age\ndays", Align::kRight},
                    {"promise\nUTC"},
                    {"late\n%", Align::kRight},
                    {"paid", Align::kRight}});
  for (const v1::UnderwayOrder& one : answer.orders()) {
    table.Add({OrderText(one), absl::StrFormat("%.1f", one.age_days()),
               one.has_promise_time() ? MinuteText(one.promise_time()) : kNone,
               one.has_late_chance() ? PercentNumber(one.late_chance()) : kNone,
               one.has_cost() ? MoneyText(one.cost()) : kNone},
              absl::StrCat(WhoText(one), one.reason().empty() ? "" : ": ", one.reason()));
  }
  return table.Render(width);
}

struct Sums {
  int64_t orders = 0, overdue = 0, likely_late = 0, slow = 0;
};

std::string CountsText(const v1::ListUnderwayResponse& answer, int width, Sums& sums) {
  Table table({{"supplier\nand lane"},
               {"\norders", Align::kRight},
               {"\noverdue", Align::kRight},
               {"likely\nlate", Align::kRight},
               {"slow to\nleave", Align::kRight}});
  for (const v1::UnderwayCount& one : answer.counts()) {
    table.Add({WhoText(one), Thousands(one.order_count()), Thousands(one.overdue_count()),
               Thousands(one.likely_late_count()), Thousands(one.unshipped_late_count())});
    sums.orders += one.order_count();
    sums.overdue += one.overdue_count();
    sums.likely_late += one.likely_late_count();
    sums.slow += one.unshipped_late_count();
  }
  return table.Render(width);
}

std::string LegendText(const v1::ListUnderwayResponse& answer) {
  const auto& orders = answer.orders();
  const bool has_gaps = std::any_of(orders.begin(), orders.end(), [](const auto& one) {
    return !one.has_late_chance() || !one.has_cost() || !one.has_promise_time();
  });
  return absl::StrCat(
      "age: since it was paid; late: the chance that it misses its promise, as it is not there "
      "yet; paid: to the supplier; overdue: its promise is over; likely late: more likely than "
      "not; slow to leave: not shipped, though nine in ten of its supplier leave sooner",
      has_gaps ? "; -: not known." : ".");
}

// ---- claims -----------------------------------------------------------------------------------

// "3 days left", "today is the last day", "2 days too late"; "" when no terms say.
std::string DaysLeftText(const v1::Claim& claim) {
  if (!claim.has_days_left()) return "";
  const int days = claim.days_left();
  if (days == 0) return ", today is the last day";
  return days > 0 ? absl::StrCat(", ", Counted(days, "day"), " left")
                  : absl::StrCat(", ", Counted(-days, "day"), " too late");
}

std::string ClaimStateText(const v1::Claim& claim) {
  switch (claim.state()) {
    case v1::Claim::STATE_TO_FILE:
      return "to file" + DaysLeftText(claim);
    case v1::Claim::STATE_UNANSWERED:
      return claim.has_waiting_days()
                 ? absl::StrCat("unanswered for ",
                                Counted(static_cast<int64_t>(claim.waiting_days()), "day"))
                 : "unanswered";
    case v1::Claim::STATE_OWED:
      return "owed";
    case v1::Claim::STATE_SETTLED:
      return "settled";
    default:
      return "in a state that this version does not know";
  }
}

std::string ClaimsText(const v1::ListClaimsResponse& answer, int width) {
  NotedTable table({{"order"},
                    {"claimed", Align::kRight},
                    {"refunded", Align::kRight},
                    {"owed", Align::kRight},
                    {"last day"}});
  for (const v1::Claim& one : answer.claims()) {
    std::string reason;
    if (one.reason() != v1::REASON_UNSPECIFIED) reason = DefectText(one.reason()) + ", ";
    table.Add({OrderText(one), one.has_claimed() ? MoneyText(one.claimed()) : kNone,
               one.has_refunded() ? MoneyText(one.refunded()) : kNone,
               one.has_owed() ? MoneyText(one.owed()) : kNone,
               one.last_date().empty() ? kNone : one.last_date()},
              absl::StrCat(WhoText(one), ": ", reason, ClaimStateText(one)));
  }
  return table.Render(width);
}

// "3 to file, 2 unanswered".
std::string ClaimCountsText(const v1::ListClaimsResponse& answer) {
  const std::pair<v1::Claim::State, const char*> words[] = {
      {v1::Claim::STATE_TO_FILE, "to file"},
      {v1::Claim::STATE_UNANSWERED, "unanswered"},
      {v1::Claim::STATE_OWED, "answered but owed"},
      {v1::Claim::STATE_SETTLED, "settled"}};
  std::vector<std::string> parts;
  for (const auto& [state, word] : words) {
    const auto count =
        std::count_if(answer.claims().begin(), answer.claims().end(),
                      [state = state](const v1::Claim& one) { return one.state() == state; });
    if (count > 0) parts.push_back(absl::StrCat(Thousands(count), " ", word));
  }
  return Listed(parts);
}

// "123.45 EUR and 20.00 USD", "" when nothing is.
std::string OwedText(const v1::ListClaimsResponse& answer) {
  std::map<std::string, int64_t> sums;
  for (const v1::Claim& one : answer.claims()) {
    if (one.has_owed()) sums[one.owed().currency_code()] += one.owed().minor_units();
  }
  std::vector<std::string> texts;
  for (const auto& [currency, minor_units] : sums) {
    v1::Money sum;
    sum.set_currency_code(currency);
    sum.set_minor_units(minor_units);
    if (minor_units != 0) texts.push_back(MoneyText(sum));
  }
  return Listed(texts);
}

}  // namespace

std::string ShowUnderway(const v1::ListUnderwayResponse& answer, bool late_only, int width) {
  if (answer.orders().empty()) {
    return late_only ? "no order under way is late, likely to be late, or slow to leave\n"
                     : "no orders under way\n";
  }
  Sums sums;
  const std::string counts = CountsText(answer, width, sums);
  return absl::StrCat(
      OrdersText(answer, width), "\n", counts, "\n",
      Wrapped(absl::StrCat(Counted(sums.orders, "order"),
                           late_only ? " to chase: " : " under way: ", Thousands(sums.overdue),
                           " overdue, ", Thousands(sums.likely_late), " likely late, ",
                           Thousands(sums.slow), " slow to leave."),
              width),
      Wrapped(LegendText(answer), width), "\n", Wrapped(HoldsFor(answer), width));
}

std::string ShowClaims(const v1::ListClaimsResponse& answer, bool with_settled, int width) {
  if (answer.claims().empty()) {
    return with_settled ? "no claims\n" : "nothing to claim and nothing owed\n";
  }
  const std::string owed = OwedText(answer);
  return absl::StrCat(
      ClaimsText(answer, width), "\n",
      Wrapped(
          absl::StrCat(Counted(answer.claims_size(), "claim"), ": ", ClaimCountsText(answer), "."),
          width),
      owed.empty() ? "" : Wrapped("Suppliers owe " + owed + ".", width),
      "claimed, refunded, owed: by the supplier; last day: to file it; -: not known.\n", "\n",
      Wrapped(HoldsFor(answer), width));
}

}  // namespace plumblane::client
