#include "client/show_cost_parts.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_format.h>

#include <algorithm>
#include <cmath>
#include <vector>

#include "client/show.h"
#include "client/table.h"
#include "client/text.h"
#include "client/words.h"

namespace plumblane::client {
namespace {

constexpr char kLost[] = "lost";
constexpr double kRounding = 0.5;  // minor units

// The class that the answer was reckoned with; null when the settings do not have it.
const v1::CostClass* ClassOf(const v1::CostSettings& settings, const v1::CostBasis& basis) {
  for (const v1::CostClass& of : settings.classes()) {
    if (of.shop() == basis.shop() && of.item_class() == basis.item_class()) return &of;
  }
  return nullptr;
}

class Parts {
 public:
  Parts(const v1::RankSuppliersResponse& answer, const v1::ExpectedCost& cost,
        const v1::CostSettings& settings)
      : basis_(answer.cost_basis()),
        cost_(cost),
        currency_(answer.currency_code()),
        class_(ClassOf(settings, basis_)) {}

  std::string Text(int width) {
    Add("landed", QuotedText(), static_cast<double>(cost_.landed()));
    Add("late orders", Product(cost_.late_share(), basis_.late_order()), cost_.late_cost());
    Add("days late", Product(cost_.late_days(), basis_.day_late()), cost_.days_late_cost());
    Add("days waiting", Product(cost_.waiting_days(), basis_.day_waiting()), cost_.waiting_cost());
    const std::vector<std::string> kinds = KindsOfBad();
    Add("bad goods", kinds.empty() ? "none known" : "these together:", cost_.defect_cost());
    for (const std::string& kind : kinds) AddKind(kind);
    Add("lost", KindFactors(kLost), cost_.lost_cost());
    Add("unanswered claims",
        absl::StrFormat("%.4f x %.4f x %s", cost_.dispute_share(), cost_.response_days(),
                        Amount(basis_.unanswered_day())),
        cost_.unanswered_cost());
    Add("sum", absl::StrCat("in ", currency_), cost_.expected());
    return table_.Render(width, /*indent=*/3) + Notes(width);
  }

 private:
  std::string Amount(int64_t minor_units) const {
    return AmountText(static_cast<double>(minor_units), currency_);
  }
  std::string Product(double share, int64_t minor_units) const {
    return absl::StrFormat("%.4f x %s", share, Amount(minor_units));
  }

  void Add(const std::string& part, const std::string& how, double minor_units) {
    table_.Add({part, how, FineAmountText(minor_units, currency_)});
  }

  std::string QuotedText() const {
    return cost_.has_quoted() ? "quoted " + MoneyText(cost_.quoted()) : "";
  }

  const v1::DefectCost* CostOf(const std::string& kind) const {
    if (class_ == nullptr) return nullptr;
    for (const v1::DefectCost& defect : class_->defects()) {
      if (defect.kind() == kind) return &defect;
    }
    return nullptr;
  }

  // "0.0120 x (0.5 x 39.90 + 13.75)": the share, the part of the sale refunded, another one sent.
  std::string KindFactors(const std::string& kind) const {
    const auto share = cost_.defect_shares().find(kind);
    if (share == cost_.defect_shares().end()) return "0";
    const std::string start = absl::StrFormat("%.4f", share->second);
    if (class_ == nullptr) return start + " of orders";
    const v1::DefectCost* defect = CostOf(kind);
    if (defect == nullptr) return start + " x 0";
    std::string each = absl::StrFormat("%.4g x %s", defect->refund_share(),
                                       basis_.has_sale() ? Amount(basis_.sale()) : "0");
    if (defect->reship()) absl::StrAppend(&each, " + ", Amount(cost_.landed()));
    return absl::StrCat(start, " x (", each, ")");
  }

  double KindCost(const std::string& kind, double share) const {
    const v1::DefectCost* defect = CostOf(kind);
    if (defect == nullptr) return 0;
    return share * (defect->refund_share() * static_cast<double>(basis_.sale()) +
                    (defect->reship() ? static_cast<double>(cost_.landed()) : 0));
  }

  // Every kind but the lost ones.
  std::vector<std::string> KindsOfBad() const {
    std::vector<std::string> kinds;
    for (const auto& [kind, share] : cost_.defect_shares()) {
      if (kind != kLost && share > 0) kinds.push_back(kind);
    }
    std::sort(kinds.begin(), kinds.end());
    return kinds;
  }

  void AddKind(const std::string& kind) {
    const auto reason = ReasonNamed(kind);
    const double part = KindCost(kind, cost_.defect_shares().at(kind));
    table_.Add({"  " + (reason ? DefectText(*reason) : kind), KindFactors(kind),
                class_ == nullptr ? "" : FineAmountText(part, currency_) + "  "});
  }

  // The lines of the kinds come to what the daemon says.
  bool KindsMatch() const {
    double sum = 0;
    for (const auto& [kind, share] : cost_.defect_shares()) sum += KindCost(kind, share);
    return std::abs(sum - cost_.defect_cost() - cost_.lost_cost()) < kRounding;
  }

  std::string Notes(int width) const {
    std::string text;
    const auto say = [&](const std::string& sentence) {
      text += DetailLine("", sentence, /*label_width=*/1, width);
    };
    if (!cost_.exchange_rate().empty()) say("rate: " + cost_.exchange_rate());
    say(absl::StrCat("promise: ",
                     cost_.has_promised_days() ? Counted(cost_.promised_days(), "day")
                                               : std::string("none, so no order is late"),
                     cost_.late_by_arrivals()
                         ? "; its orders were promised other days, so late is the share that would "
                           "arrive after these"
                         : ""));
    say(absl::StrFormat("range: 5 %% below %s, half below %s, 5 %% above %s; standard deviation %s",
                        AmountText(cost_.low(), currency_), AmountText(cost_.median(), currency_),
                        AmountText(cost_.high(), currency_),
                        FineAmountText(cost_.standard_deviation(), currency_)));
    if (class_ != nullptr && !KindsMatch()) {
      say("the costs that hold now are not those that this was reckoned with: bad goods and lost "
          "orders cannot be redone");
    }
    if (cost_.times_assumed()) say("its days rest on others, or on its promise");
    return text;
  }

  const v1::CostBasis& basis_;
  const v1::ExpectedCost& cost_;
  const std::string& currency_;
  const v1::CostClass* class_;
  Table table_{{{"part"}, {"share or days x amount"}, {"cost", Table::Align::kRight}}};
};

}  // namespace

std::string CostPartsText(const v1::RankSuppliersResponse& answer, const v1::ExpectedCost& cost,
                          const v1::CostSettings& settings, int width) {
  return Parts(answer, cost, settings).Text(width);
}

}  // namespace plumblane::client
