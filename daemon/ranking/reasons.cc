#include "ranking/reasons.h"

#include <absl/strings/str_cat.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "base/money.h"

namespace plumblane {
namespace {

std::string Amount(double minor_units, const std::string& currency) {
  return FormatMoney({std::llround(minor_units), currency});
}

double BadShare(const CostParts& parts) {
  double share = 0;
  for (const double kind : parts.kind_shares) share += kind;
  return share;
}

std::string Days(double days) {
  const double rounded = std::round(days * 10) / 10;
  return absl::StrCat(rounded, rounded == 1 ? " day" : " days");
}

// What `one` does that costs most beyond `other`, price aside, as a predicate; "" = nothing.
std::string Drawback(const Named& one, const Named& other) {
  const CostParts& a = one.parts;
  const CostParts& b = other.parts;
  struct Part {
    double more;
    std::string verb, here, there;
  };
  const std::array<Part, 4> parts = {{
      {a.late + a.days_late - b.late - b.days_late, "is late ", OneIn(a.late_share),
       OneIn(b.late_share)},
      {a.defect + a.lost - b.defect - b.lost, "is bad or lost ", OneIn(BadShare(a)),
       OneIn(BadShare(b))},
      {a.waiting - b.waiting, "takes ", Days(a.waiting_days), Days(b.waiting_days)},
      {a.unanswered - b.unanswered, "answers claims after ", Days(a.answer_days),
       Days(b.answer_days)},
  }};
  // A difference that the words do not show is no reason.
  const Part* most = nullptr;
  for (const Part& part : parts) {
    if (std::llround(part.more) <= 0 || part.here == part.there) continue;
    if (most == nullptr || most->more < part.more) most = &part;
  }
  if (most == nullptr) return "";
  return absl::StrCat(most->verb, most->here, " (", other.supplier, ": ", most->there, ")");
}

}  // namespace

std::string OneIn(double share) {
  if (share < 0.0005) return "fewer than 1 in 2,000";
  // Above a half the nearest "1 in n" is 1 in 2, which would be too kind.
  if (share > 0.55) return absl::StrCat(std::lround(share * 100), " in 100");
  return absl::StrCat("1 in ", std::max(2L, std::lround(1 / share)));
}

std::string WhyFirst(const Named& first, const Named& cheapest_quote, const std::string& currency) {
  const double more = first.parts.landed - cheapest_quote.parts.landed;
  if (std::llround(more) <= 0) return "the cheapest quote, and the lowest expected cost";
  const std::string drawback = Drawback(cheapest_quote, first);
  return absl::StrCat(Amount(more, currency), " dearer than the quote of ", cheapest_quote.supplier,
                      drawback.empty() ? "" : absl::StrCat(", but that one ", drawback));
}

std::string WhyNotFirst(const Named& one, const Named& first, const std::string& currency) {
  const double more = one.parts.Expected() - first.parts.Expected();
  const double quoted = one.parts.landed - first.parts.landed;
  const std::string drawback = Drawback(one, first);
  const std::string dearer =
      std::llround(more) > 0
          ? absl::StrCat("expected ", Amount(more, currency), " dearer than ", first.supplier)
          : absl::StrCat("expected to cost what ", first.supplier, " does");
  if (std::llround(quoted) < 0) {
    return absl::StrCat(dearer, ": quoted ", Amount(-quoted, currency), " less, but ",
                        drawback.empty() ? "that is lost again" : drawback);
  }
  if (drawback.empty()) return absl::StrCat(dearer, ": quoted ", Amount(quoted, currency), " more");
  if (std::llround(quoted) == 0) return absl::StrCat(dearer, ": ", drawback);
  return absl::StrCat(dearer, ": quoted ", Amount(quoted, currency), " more, and ", drawback);
}

}  // namespace plumblane
