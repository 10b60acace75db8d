#include "engine/cost_proposal.h"

#include <absl/strings/str_cat.h>

#include <algorithm>
#include <cmath>
#include <optional>

#include "base/money.h"

namespace plumblane {
namespace {

// Fewer cases are chance.
constexpr int64_t kFewestCases = 5;

// A loss is written ahead of its day.
std::optional<Code> DefectOf(const PartState& part, Instant horizon) {
  for (const Entry& entry : part.entries) {
    if (entry.measure != Measure::kDefect) continue;
    for (const Outcome& outcome : entry.outcomes) {
      const bool is_ahead = outcome.code == Code::kLost && !part.defect &&
                            EndOf(entry.day + static_cast<int32_t>(outcome.bucket)) > horizon;
      if (IsDefect(outcome.code) && !is_ahead) return outcome.code;
    }
  }
  return std::nullopt;
}

std::string Cases(int64_t cases) { return absl::StrCat(cases, cases == 1 ? " case" : " cases"); }

}  // namespace

void CostProposer::Add(const OrderState& order) {
  for (const PartState& part : order.parts) {
    if (!part.paid || !part.sale || part.sale->minor_units <= 0) continue;
    Seen& seen = seen_[part.sale->currency][items_.ClassOf(part.item)];
    seen.sales.push_back(part.sale->minor_units);
    const auto refund = part.refunds_by_shop.find(part.sale->currency);
    const double refunded =
        refund == part.refunds_by_shop.end() ? 0 : static_cast<double>(refund->second);
    if (const std::optional<Code> kind = DefectOf(part, horizon_)) {
      Kind& one = seen.kinds[IndexOfKind(*kind)];
      ++one.cases;
      one.refund_shares += std::min(1.0, refunded / static_cast<double>(part.sale->minor_units));
      one.sent_again += std::any_of(order.parts.begin(), order.parts.end(),
                                    [&](const auto& other) { return other.replaces == part.part; });
    } else if (part.delivered && part.promise && part.promise->time < *part.delivered) {
      ++seen.late;
      seen.late_refunds += refunded;
    }
  }
}

CostProposal CostProposer::Propose(const std::string& shop) const {
  CostProposal proposal;
  size_t most = 0;
  for (const auto& [currency, classes] : seen_) {
    size_t sales = 0;
    for (const auto& [item_class, seen] : classes) sales += seen.sales.size();
    if (sales > most) {
      most = sales;
      proposal.settings.currency = currency;
    }
  }
  if (most == 0) {
    proposal.reasons.push_back("no paid order states what the customer paid (sale)");
    return proposal;
  }
  const std::string& currency = proposal.settings.currency;
  const auto say = [&](const std::string& item_class, const std::string& what) {
    proposal.reasons.push_back(absl::StrCat(
        item_class.empty() ? "all items" : absl::StrCat("class ", item_class), ": ", what));
  };
  const auto amount = [&](int64_t minor) { return FormatMoney({minor, currency}); };
  for (const auto& [item_class, seen] : seen_.at(currency)) {
    CostClass costs;
    costs.shop = shop;
    costs.item_class = item_class;
    std::vector<int64_t> sales = seen.sales;
    std::nth_element(sales.begin(), sales.begin() + static_cast<int64_t>(sales.size() / 2),
                     sales.end());
    costs.sale = sales[sales.size() / 2];
    say(item_class,
        absl::StrCat("sale: the middle one of ", sales.size(), " sales, ", amount(*costs.sale)));
    if (seen.late >= kFewestCases) {
      costs.late_order = std::llround(seen.late_refunds / static_cast<double>(seen.late));
      say(item_class, absl::StrCat("late_order: what you refunded on average for ", seen.late,
                                   " orders that came late, ", amount(costs.late_order),
                                   "; customers who do not come back are not in it"));
    } else {
      say(item_class, absl::StrCat("late_order: ", Cases(seen.late), " only; set it yourself"));
    }
    for (const Code kind : kDefectKinds) {
      const Kind& one = seen.kinds[IndexOfKind(kind)];
      DefectCost& cost = costs.defects[IndexOfKind(kind)];
      const std::string word(NameOfKind(kind));
      if (one.cases < kFewestCases) {
        cost.refund_share = 1;
        say(item_class, absl::StrCat(word, ": ", Cases(one.cases),
                                     " only; put as a full refund, to be on the safe side"));
        continue;
      }
      cost.refund_share =
          std::round(one.refund_shares / static_cast<double>(one.cases) * 100) / 100;
      cost.reship = 2 * one.sent_again > one.cases;
      say(item_class,
          absl::StrCat(word, ": of ", Cases(one.cases), " you refunded ",
                       std::lround(cost.refund_share * 100), " % of the sale on average and sent ",
                       one.sent_again, " again"));
    }
    proposal.settings.classes.push_back(costs);
  }
  proposal.reasons.push_back(
      "day_late, day_waiting, unanswered_day: orders do not tell what a day costs you; set them "
      "yourself");
  if (seen_.size() > 1) {
    proposal.reasons.push_back(
        absl::StrCat("sales in other currencies than ", currency, " were left out"));
  }
  return proposal;
}

}  // namespace plumblane
