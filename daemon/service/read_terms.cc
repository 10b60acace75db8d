// Terms, pauses and costs of the API.
#include <algorithm>
#include <cmath>
#include <set>

#include "orders/event.h"
#include "service/read_agreement.h"

namespace plumblane {
namespace {

constexpr int64_t kMostOrders = 1'000'000'000;
constexpr int kMostDays = 3650;
constexpr int kMostClosures = 400, kMostTags = 32;

std::vector<DayRange> ReadClosures(const v1::Terms& in, RowReader& row) {
  std::vector<DayRange> closures;
  if (in.closures_size() > kMostClosures) {
    row.Bad("closures", absl::StrCat("expected at most ", kMostClosures));
    return closures;
  }
  for (int i = 0; i < in.closures_size(); ++i) {
    const std::string field = absl::StrCat("closures[", i, "]");
    const auto day = [&](const std::string& name, const std::string& text) {
      if (text.empty()) row.Bad(name, "expected a date, such as 2026-03-05");
      return row.Date(name, text);
    };
    const auto first = day(field + ".first_date", in.closures(i).first_date());
    const auto last = day(field + ".last_date", in.closures(i).last_date());
    if (!first || !last) continue;
    if (*last < *first) row.Bad(field + ".last_date", "expected a day not before first_date");
    closures.push_back({*first, *last});
  }
  std::sort(closures.begin(), closures.end());
  for (size_t i = 1; i < closures.size(); ++i) {
    if (closures[i].first <= closures[i - 1].last) {
      row.Bad("closures",
              absl::StrCat("expected ranges apart: two hold ", FormatDay(closures[i].first)));
    }
  }
  return closures;
}

Targets ReadTargets(const v1::Targets& in, RowReader& row) {
  Targets targets;
  if (in.has_on_time()) targets.on_time = row.Within("targets.on_time", in.on_time(), 0.0, 1.0);
  if (in.has_defect()) targets.defect = row.Within("targets.defect", in.defect(), 0.0, 1.0);
  const auto days = [&row](const std::string& field, double value) {
    return row.Within(field, value, 0.0, double{kMostDays});
  };
  if (in.has_delivery_days()) {
    targets.delivery_days = days("targets.delivery_days", in.delivery_days());
  }
  if (in.has_response_days()) {
    targets.response_days = days("targets.response_days", in.response_days());
  }
  return targets;
}

Terms ReadOneTerms(const v1::Terms& in, RowReader& row) {
  Terms terms;
  terms.supplier = row.Id("supplier", in.supplier());
  if (in.has_monthly_order_limit()) {
    terms.monthly_order_limit =
        row.Within<int64_t>("monthly_order_limit", in.monthly_order_limit(), 0, kMostOrders);
  }
  terms.month_start_day =
      row.Within("month_start_day", in.month_start_day() == 0 ? 1 : in.month_start_day(), 1, 28);
  if (in.has_next_step_cost()) {
    terms.next_step_cost = row.Sum("next_step_cost", in.next_step_cost());
  }
  if (in.has_claim_days()) {
    terms.claim_days = row.Within("claim_days", in.claim_days(), 0, kMostDays);
  }
  terms.promise = row.Promise("promised_days", in.promised_days());
  terms.origin = row.LaneEnd("origin", in.origin(), true);
  terms.service = row.Word("service", in.service());
  terms.closures = ReadClosures(in, row);
  terms.targets = ReadTargets(in.targets(), row);
  if (in.tags_size() > kMostTags) row.Bad("tags", absl::StrCat("expected at most ", kMostTags));
  for (int i = 0; i < std::min(in.tags_size(), kMostTags); ++i) {
    const std::string field = absl::StrCat("tags[", i, "]");
    const std::string tag = row.Word(field, in.tags(i));
    if (row.ok() && tag.empty()) row.Bad(field, "expected 1 to 32 of a-z, 0-9 and hyphen");
    terms.tags.push_back(tag);
  }
  std::sort(terms.tags.begin(), terms.tags.end());
  terms.tags.erase(std::unique(terms.tags.begin(), terms.tags.end()), terms.tags.end());
  return terms;
}

// The kind of that name; none for another word.
std::optional<size_t> KindNamed(const std::string& name) {
  for (const Code kind : kDefectKinds) {
    if (name == NameOfKind(kind)) return IndexOfKind(kind);
  }
  return std::nullopt;
}

CostClass ReadCostClass(const v1::CostClass& in, const std::string& currency, RowReader& row) {
  CostClass costs;
  costs.shop = row.Id("shop", in.shop(), true);
  costs.item_class = row.Word("item_class", in.item_class());
  const auto sum = [&](const std::string& field, const v1::Money& money) {
    return row.SumIn(currency, "the settings", field, money);
  };
  if (in.has_sale()) costs.sale = sum("sale", in.sale());
  if (in.has_late_order()) costs.late_order = sum("late_order", in.late_order());
  if (in.has_day_late()) costs.day_late = sum("day_late", in.day_late());
  if (in.has_day_waiting()) costs.day_waiting = sum("day_waiting", in.day_waiting());
  if (in.has_unanswered_day()) costs.unanswered_day = sum("unanswered_day", in.unanswered_day());
  std::array<bool, kDefectKinds.size()> seen{};
  for (int i = 0; i < in.defects_size(); ++i) {
    const std::string field = absl::StrCat("defects[", i, "].");
    const auto kind = KindNamed(in.defects(i).kind());
    if (!kind) {
      row.Bad(field + "kind",
              "expected damaged, quality, wrong_item, missing_part, counterfeit, unsafe or lost");
      continue;
    }
    if (seen[*kind]) row.Bad(field + "kind", "expected each kind once");
    seen[*kind] = true;
    costs.defects[*kind] = {
        row.Within(field + "refund_share", in.defects(i).refund_share(), 0.0, 1.0),
        in.defects(i).reship()};
  }
  return costs;
}

}  // namespace

std::vector<Terms> ReadTerms(const Rows<v1::Terms>& in, RowErrors& errors) {
  std::vector<Terms> terms;
  std::set<std::string> seen;
  for (int i = 0; i < in.size(); ++i) {
    RowReader row(i, errors);
    Terms one = ReadOneTerms(in[i], row);
    if (!seen.insert(one.supplier).second) {
      row.Bad("supplier", "expected each supplier once: an earlier row has it already");
    }
    terms.push_back(std::move(one));
  }
  return terms;
}

CostSettings ReadCosts(const v1::CostSettings& in, RowErrors& errors) {
  CostSettings settings;
  RowReader whole(0, errors);
  settings.currency = whole.Currency("currency_code", in.currency_code());
  std::set<std::pair<std::string, std::string>> seen;
  for (int i = 0; i < in.classes_size(); ++i) {
    RowReader row(i, errors);
    CostClass one = ReadCostClass(in.classes(i), settings.currency, row);
    // One that cannot be read is no second.
    if (!seen.emplace(one.shop, one.item_class).second && row.ok()) {
      row.Bad("item_class", "expected each shop and class once: an earlier row has it already");
    }
    settings.classes.push_back(std::move(one));
  }
  const v1::Trials& trials = in.trials();
  settings.trials.on = trials.on();
  if (trials.most_share() != 0) {
    settings.trials.most_share = whole.Within("trials.most_share", trials.most_share(), 0.0, 1.0);
  }
  if (trials.has_most_cost()) {
    settings.trials.most_cost =
        whole.SumIn(settings.currency, "the settings", "trials.most_cost", trials.most_cost());
  }
  return settings;
}

absl::StatusOr<Pause> ReadPause(const v1::PauseSupplierRequest& request, Day today) {
  RowErrors errors;
  RowReader row(0, errors);
  Pause pause;
  pause.supplier = row.Id("supplier", request.supplier());
  pause.until = row.Date("pause.until_date", request.pause().until_date());
  if (pause.until && *pause.until <= today) {
    row.Bad("pause.until_date", absl::StrCat("expected a day after ", FormatDay(today)));
  }
  pause.reason = request.pause().reason();
  if (!pause.reason.empty()) row.Check("pause.reason", CheckText(pause.reason));
  if (row.ok()) return pause;
  return absl::InvalidArgumentError(
      absl::StrCat(errors.Get(0).field(), ": ", errors.Get(0).message()));
}

}  // namespace plumblane
