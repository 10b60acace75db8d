#include "client/show_agreements.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_format.h>
#include <absl/strings/str_join.h>
#include <absl/strings/str_split.h>

#include <algorithm>

#include "client/show.h"
#include "client/table.h"
#include "client/text.h"

namespace plumblane::client {
namespace {

using Align = Table::Align;

constexpr int kSoonDays = 14;       // a quote that ends within so many days is said to
constexpr double kNearLimit = 0.9;  // of the orders of a month

std::string ItemText(const v1::Quote& quote) {
  if (!quote.item().empty() && quote.item() != "*") return quote.item();
  return quote.supplier_item().empty() ? "any item" : "their " + quote.supplier_item();
}

// "lotus-works, VN-DE/express"; without a service it is for any.
std::string HeadingOf(const v1::Quote& quote) {
  v1::Lane lane;
  lane.set_origin(quote.origin());
  lane.set_destination(quote.destination());
  if (!quote.service().empty()) lane.set_service(quote.service());
  return absl::StrCat(quote.supplier(), ", ", LaneText(lane));
}

bool EndsSoon(const v1::QuoteStatus& quote) {
  return quote.state() == v1::QuoteStatus::STATE_VALID && quote.has_days_left() &&
         quote.days_left() <= kSoonDays;
}

// What does not fit into the row: "and 3.50 EUR freight an order; from 10 units on".
std::string MoreText(const v1::Quote& quote) {
  std::vector<std::string> parts;
  if (quote.freight().minor_units() > 0) {
    parts.push_back(MoneyText(quote.freight()) + " freight an order");
  }
  if (quote.duty().minor_units() > 0) parts.push_back(MoneyText(quote.duty()) + " duty a unit");
  std::string text = parts.empty() ? "" : "and " + Listed(parts);
  if (quote.minimum_units() > 1) {
    absl::StrAppend(&text, text.empty() ? "" : "; ", "from ", Thousands(quote.minimum_units()),
                    " units on");
  }
  return text;
}

std::string TargetsText(const v1::Targets& targets) {
  std::vector<std::string> parts;
  if (targets.has_on_time()) parts.push_back(ExactPercent(targets.on_time()) + " on time");
  if (targets.has_defect()) {
    parts.push_back(absl::StrCat("at most ", ExactPercent(targets.defect()), " bad or lost"));
  }
  if (targets.has_delivery_days()) {
    parts.push_back("9 in 10 delivered within " + DaysText(targets.delivery_days()));
  }
  if (targets.has_response_days()) {
    parts.push_back("9 in 10 answered within " + DaysText(targets.response_days()));
  }
  return absl::StrJoin(parts, ", ");
}

std::string ClosuresText(const v1::Terms& terms) {
  std::vector<std::string> parts;
  for (const v1::DateRange& range : terms.closures()) {
    parts.push_back(range.first_date() == range.last_date()
                        ? range.first_date()
                        : absl::StrCat(range.first_date(), " to ", range.last_date()));
  }
  return absl::StrJoin(parts, ", ");
}

std::string MonthText(const v1::TermsStatus& status) {
  const int64_t taken = status.month_paid_count() + status.month_assigned_count();
  std::string text = absl::StrCat(Thousands(status.month_paid_count()), " paid, ",
                                  Thousands(status.month_assigned_count()), " assigned");
  if (status.terms().has_monthly_order_limit()) {
    const int64_t limit = status.terms().monthly_order_limit();
    absl::StrAppend(&text, " of at most ", Thousands(limit));
    if (taken >= limit) {
      text += ": full";
    } else if (static_cast<double>(taken) >= kNearLimit * static_cast<double>(limit)) {
      absl::StrAppend(&text, ": ", Thousands(limit - taken), " left");
    }
  }
  if (!status.next_month_date().empty()) {
    absl::StrAppend(&text, "; the next month starts ", status.next_month_date());
  }
  return text;
}

std::string ShowOneTerms(const v1::TermsStatus& status, int width) {
  const v1::Terms& terms = status.terms();
  std::string text = status.supplier() + "\n";
  const auto fact = [&](const std::string& label, const std::string& value) {
    if (!value.empty()) text += DetailLine(label, value, /*label_width=*/12, width);
  };
  if (status.has_pause()) fact("paused", PauseText(status.pause()));
  fact("this month", MonthText(status));
  if (!status.has_terms()) {
    fact("terms", "none were loaded");
    return text;
  }
  if (terms.has_next_step_cost()) fact("next step", "costs " + MoneyText(terms.next_step_cost()));
  if (terms.has_claim_days()) {
    fact("claims", absl::StrCat("within ", Counted(terms.claim_days(), "day")));
  }
  fact("promises", terms.promised_days().empty() ? "" : terms.promised_days() + " days");
  fact("ships", terms.origin().empty() && terms.service().empty()
                    ? ""
                    : absl::StrCat(terms.origin().empty() ? "" : "from " + terms.origin(),
                                   terms.origin().empty() || terms.service().empty() ? "" : " ",
                                   terms.service().empty() ? "" : "by " + terms.service()));
  fact("closed", ClosuresText(terms));
  fact("targets", TargetsText(terms.targets()));
  fact("tags", absl::StrJoin(terms.tags(), " "));
  return text;
}

}  // namespace

std::string PauseText(const v1::Pause& pause) {
  return absl::StrCat("until ", pause.until_date().empty() ? "resumed" : pause.until_date(), ": ",
                      pause.reason());
}

std::string HoldsText(const v1::QuoteStatus& quote) {
  const std::string& end = quote.quote().valid_until();
  switch (quote.state()) {
    case v1::QuoteStatus::STATE_NOT_YET:
      return "from " + quote.quote().valid_from();
    case v1::QuoteStatus::STATE_EXPIRED:
      return "expired " + end;
    case v1::QuoteStatus::STATE_REPLACED:
      return "replaced";
    default:
      break;
  }
  if (!EndsSoon(quote)) return end.empty() ? "" : "until " + end;
  if (quote.days_left() <= 1) return "ends today";
  if (quote.days_left() == 2) return "ends tomorrow";
  return absl::StrCat("ends in ", quote.days_left() - 1, " days");
}

std::string ShowQuotes(const v1::ListQuotesResponse& answer, int width) {
  if (answer.quotes().empty()) {
    return "no quotes; load some with \"plumblane quotes load FILE\"\n";
  }
  std::vector<const v1::QuoteStatus*> quotes;
  for (const v1::QuoteStatus& quote : answer.quotes()) quotes.push_back(&quote);
  std::stable_sort(quotes.begin(), quotes.end(), [](const auto* a, const auto* b) {
    return HeadingOf(a->quote()) < HeadingOf(b->quote());
  });
  Table table({{"item"},
               {"price", Align::kRight},
               {"promised\ndays"},
               {"days\nold", Align::kRight},
               {"holds"}});
  int soon = 0;
  for (const v1::QuoteStatus* status : quotes) {
    const v1::Quote& quote = status->quote();
    soon += EndsSoon(*status) ? 1 : 0;
    table.Add({ItemText(quote), MoneyText(quote.price()),
               quote.promised_days().empty() ? "none" : quote.promised_days(),
               Thousands(status->age_days()), HoldsText(*status)});
  }
  // The header, then a line for each quote, under the name of its supplier and lane.
  const std::vector<std::string> lines = absl::StrSplit(table.Render(width, /*indent=*/2), '\n');
  std::string text = absl::StrCat(lines[0], "\n", lines[1], "\n");
  for (size_t i = 0; i < quotes.size(); ++i) {
    const std::string heading = HeadingOf(quotes[i]->quote());
    if (i == 0 || heading != HeadingOf(quotes[i - 1]->quote())) {
      absl::StrAppend(&text, heading, "\n");
    }
    absl::StrAppend(&text, lines[i + 2], "\n");
    const std::string more = MoreText(quotes[i]->quote());
    if (!more.empty()) text += DetailLine("", more, /*label_width=*/2, width);
  }
  if (soon > 0) {
    text += "\n" + Wrapped(absl::StrCat(Counted(soon, "quote"), soon == 1 ? " ends" : " end",
                                        " within ", kSoonDays, " days: ask for new ones."),
                           width);
  }
  return text;
}

std::string ShowTerms(const v1::ListTermsResponse& answer, int width) {
  if (answer.terms().empty()) return "no terms; load some with \"plumblane terms load FILE\"\n";
  std::string text;
  for (const v1::TermsStatus& status : answer.terms()) {
    absl::StrAppend(&text, text.empty() ? "" : "\n", ShowOneTerms(status, width));
  }
  return text;
}

std::string ShowRates(const v1::ListExchangeRatesResponse& answer, int width) {
  if (answer.rates().empty()) return "no rates; load some with \"plumblane rates load FILE\"\n";
  Table table({{"from"}, {"to"}, {"rate"}, {"of"}});
  for (const v1::ExchangeRate& rate : answer.rates()) {
    table.Add({"1 " + rate.from_currency(), rate.to_currency(), rate.rate(), rate.date()});
  }
  return table.Render(width);
}

std::string ShowItems(const v1::ListItemsResponse& answer, int width) {
  if (answer.items().empty()) return "no items; load some with \"plumblane items load FILE\"\n";
  Table table({{"item"}, {"class"}, {"supplier"}, {"calls it"}});
  for (const v1::Item& item : answer.items()) {
    table.Add({item.item(), item.item_class(), item.supplier(), item.supplier_item()});
  }
  return table.Render(width);
}

}  // namespace plumblane::client
