#include "client/show_today.h"

#include <absl/strings/str_cat.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <optional>
#include <vector>

#include "base/ids.h"
#include "client/show.h"
#include "client/show_status.h"
#include "client/text.h"

namespace plumblane::client {
namespace {

constexpr size_t kMostNamed = 8;  // orders, in one line

// Lines under a heading; nothing without lines.
class Section {
 public:
  Section(std::string heading, int width) : heading_(std::move(heading)), width_(width) {}

  void Add(const std::string& line) {
    absl::StrAppend(&lines_, "  ", Wrapped(line, width_ - 2, /*indent=*/4));
  }
  std::string Take() const { return lines_.empty() ? "" : absl::StrCat(heading_, "\n", lines_); }

 private:
  std::string heading_, lines_;
  int width_;
};

template <typename One>
std::string NameOf(const One& one) {
  return FormatOrder({one.shop(), one.order_id()}, one.part());
}

// "harbour/1042, harbour/1043 and 12 more".
std::string Named(const std::vector<std::string>& names) {
  std::string text;
  for (size_t i = 0; i < std::min(names.size(), kMostNamed); ++i) {
    absl::StrAppend(&text, i == 0 ? "" : ", ", names[i]);
  }
  if (names.size() > kMostNamed)
    absl::StrAppend(&text, " and ", names.size() - kMostNamed, " more");
  return text;
}

std::string Alerts(const Today& today, int width) {
  Section section("Alerts (plumblane alerts says more)", width);
  for (const v1::Alert& alert : today.alerts.alerts()) {
    if (alert.state() == v1::Alert::STATE_ACTIVE) {
      section.Add(absl::StrCat(alert.alert_id(), ": ", alert.sentence()));
    }
  }
  return section.Take();
}

std::string Chase(const Today& today, int width) {
  struct Orders {
    std::vector<std::string> overdue, likely_late, slow;
  };
  std::vector<std::string> suppliers;  // as they come: the worst first
  std::map<std::string, Orders> orders;
  for (const v1::UnderwayOrder& one : today.underway.orders()) {
    const auto [at, is_new] = orders.try_emplace(one.supplier_id());
    if (is_new) suppliers.push_back(one.supplier_id());
    const bool overdue = one.state() == v1::UnderwayOrder::STATE_OVERDUE;
    const bool likely = one.state() == v1::UnderwayOrder::STATE_LIKELY_LATE;
    (overdue  ? at->second.overdue
     : likely ? at->second.likely_late
              : at->second.slow)
        .push_back(NameOf(one));
  }
  Section section("Chase (plumblane underway --late)", width);
  for (const std::string& supplier : suppliers) {
    const Orders& of = orders.at(supplier);
    const auto add = [&](const std::vector<std::string>& names, const char* what) {
      if (!names.empty()) {
        section.Add(absl::StrCat(supplier, ", ", names.size(), " ", what, ": ", Named(names)));
      }
    };
    add(of.overdue, "overdue");
    add(of.likely_late, "likely late");
    add(of.slow, "slow to leave");
  }
  return section.Take();
}

struct Claims {
  std::vector<std::string> to_file, unanswered, owing;
  std::string first_last_date;
  std::map<std::string, v1::Money> owed;  // by currency
  double longest_wait_days = 0;
};

void Take(const v1::Claim& claim, Claims& to) {
  if (claim.state() == v1::Claim::STATE_TO_FILE) {
    if (!claim.has_days_left() || claim.days_left() > kSoonDays) return;
    if (to.to_file.empty()) to.first_last_date = claim.last_date();  // they come by it
    to.to_file.push_back(NameOf(claim));
    return;
  }
  if (claim.state() == v1::Claim::STATE_UNANSWERED) {
    to.unanswered.push_back(NameOf(claim));
    to.longest_wait_days = std::max(to.longest_wait_days, claim.waiting_days());
  }
  if (claim.has_owed() && claim.owed().minor_units() > 0) {
    to.owing.push_back(NameOf(claim));
    v1::Money& sum = to.owed[claim.owed().currency_code()];
    sum.set_currency_code(claim.owed().currency_code());
    sum.set_minor_units(sum.minor_units() + claim.owed().minor_units());
  }
}

std::string ClaimsText(const Today& today, int width) {
  std::map<std::string, Claims> by_supplier;
  for (const v1::Claim& claim : today.claims.claims()) {
    Take(claim, by_supplier[claim.supplier_id()]);
  }
  Section section("Claims (plumblane claims)", width);
  for (const auto& [supplier, of] : by_supplier) {
    if (!of.to_file.empty()) {
      section.Add(absl::StrCat(supplier, ", ", of.to_file.size(), " to file, the first by ",
                               of.first_last_date, ": ", Named(of.to_file)));
    }
    if (!of.unanswered.empty()) {
      section.Add(absl::StrCat(supplier, ", ", of.unanswered.size(), " unanswered, up to ",
                               DaysText(std::floor(of.longest_wait_days)), ": ",
                               Named(of.unanswered)));
    }
    std::vector<std::string> sums;
    for (const auto& [currency, sum] : of.owed) sums.push_back(MoneyText(sum));
    if (!sums.empty()) {
      section.Add(absl::StrCat(supplier, " owes ", Listed(sums), ": ", Named(of.owing)));
    }
  }
  return section.Take();
}

std::string Quotes(const Today& today, int width) {
  Section section("Quotes that end soon (plumblane quotes list)", width);
  std::map<std::pair<int, std::string>, int> ending;  // days left and supplier: quotes
  for (const v1::QuoteStatus& quote : today.quotes.quotes()) {
    if (quote.state() != v1::QuoteStatus::STATE_VALID || !quote.has_days_left()) continue;
    if (quote.days_left() <= kSoonDays) ++ending[{quote.days_left(), quote.quote().supplier()}];
  }
  for (const auto& [key, count] : ending) {
    section.Add(absl::StrCat(key.second, ", ", Counted(count, "quote"), ": ", DaysText(key.first),
                             " left, today included"));
  }
  return section.Take();
}

std::string Limits(const Today& today, int width) {
  Section section("Monthly limits (plumblane terms list)", width);
  for (const v1::TermsStatus& status : today.terms.terms()) {
    if (!status.has_terms() || !status.terms().has_monthly_order_limit()) continue;
    const int64_t limit = status.terms().monthly_order_limit();
    const int64_t used = status.month_paid_count() + status.month_assigned_count();
    if (static_cast<double>(used) < kNearLimit * static_cast<double>(limit)) continue;
    section.Add(absl::StrCat(status.supplier(), ", ", Thousands(used), " of ", Thousands(limit),
                             " used; a new month starts on ", status.next_month_date()));
  }
  return section.Take();
}

std::string Feeds(const Today& today, int width) {
  int64_t underway = 0;
  for (const v1::UnderwayCount& count : today.underway.counts()) underway += count.order_count();
  Section section("Feeds that are silent (plumblane status)", width);
  if (underway == 0) return "";
  for (const std::string& line : SilentFeeds(today.status, kSilentFeedDays)) section.Add(line);
  return section.Take();
}

}  // namespace

std::string ShowToday(const Today& today, int width) {
  std::string text;
  for (const std::string& part :
       {Alerts(today, width), Chase(today, width), ClaimsText(today, width), Quotes(today, width),
        Limits(today, width), Feeds(today, width)}) {
    if (part.empty()) continue;
    absl::StrAppend(&text, text.empty() ? "" : "\n", part);
  }
  const std::string now = TimeText(today.status.now_time());
  if (text.empty()) return absl::StrCat("Nothing needs you, as of ", now, ".\n");
  return absl::StrCat("As of ", now, "\n\n", text);
}

}  // namespace plumblane::client
