#include <absl/strings/str_cat.h>

#include <algorithm>
#include <cmath>
#include <iterator>

#include "engine/sourcing.h"
#include "ranking/reasons.h"
#include "ranking/shares.h"

namespace plumblane {
namespace {

AssignmentCandidate Recorded(const SourcingCandidate& one) {
  AssignmentCandidate out;
  out.pair = one.pair;
  out.expected_bad = one.ranked.expected_bad;
  out.share = one.share;
  if (one.priced) {
    out.landed = one.priced->landed;
    out.expected_cost = one.priced->cost.belief.Expected();
  }
  return out;
}

double ExpectedOf(const SourcingCandidate& one) { return one.priced->cost.belief.Expected(); }

// Among the candidates a supplier's best; none when it has none.
std::optional<size_t> BestOf(const SourcingAnswer& answer, const std::string& supplier) {
  for (size_t i = 0; i < answer.candidates.size(); ++i) {
    if (answer.candidates[i].pair.supplier == supplier) return i;
  }
  return std::nullopt;
}

std::string WhyPicked(const SourcingAnswer& answer, size_t pick) {
  const SourcingCandidate& one = answer.candidates[pick];
  if (!one.priced) {
    return one.ranked.expected_bad
               ? absl::StrCat("fewest late or bad: ", OneIn(*one.ranked.expected_bad))
               : "nothing to judge by: the first by name";
  }
  const auto named = [](const SourcingCandidate& x) {
    return Named{x.pair.supplier, x.priced->cost.parts};
  };
  if (pick > 0) {
    const double dearer = ExpectedOf(one) - ExpectedOf(answer.candidates[0]);
    return absl::StrCat("trial order, about ", FormatMoney({std::llround(dearer), answer.currency}),
                        " dearer than ", answer.candidates[0].pair.supplier,
                        "; it gets 1 order in ", std::max(1L, std::lround(1 / one.share)));
  }
  const auto cheapest = std::min_element(
      answer.candidates.begin(), answer.candidates.end(),
      [](const auto& x, const auto& y) { return x.priced->landed < y.priced->landed; });
  return absl::StrCat("lowest expected cost: ",
                      WhyFirst(named(one), named(*cheapest), answer.currency));
}

// Against the cheapest quote of those that could get the order.
std::optional<double> SavingOf(const SourcingAnswer& answer, size_t pick) {
  if (!answer.by_cost) return std::nullopt;
  const auto cheapest = std::min_element(
      answer.candidates.begin(), answer.candidates.end(), [](const auto& x, const auto& y) {
        return x.priced->landed != y.priced->landed ? x.priced->landed < y.priced->landed
                                                    : ExpectedOf(x) < ExpectedOf(y);
      });
  return ExpectedOf(*cheapest) - ExpectedOf(answer.candidates[pick]);
}

}  // namespace

Decision Decide(const OrderToSource& asked, const SourcingAnswer& answer, const OrderKey& order,
                int part, Instant time, const std::string& chosen, const std::string& reason) {
  Decision decision;
  decision.excluded = answer.excluded;
  Assignment made;
  made.order = order;
  made.part = part;
  made.time = time;
  made.destination = asked.destination;
  made.item = asked.item;
  made.units = asked.units;
  made.currency = answer.currency;
  if (!asked.could_not.empty()) made.instead_of = asked.could_not.back();
  for (const SourcingCandidate& one : answer.candidates) made.candidates.push_back(Recorded(one));
  for (const ExcludedPair& one : answer.excluded) {
    AssignmentCandidate out;
    out.pair = one.pair;
    out.excluded = one.reason;
    made.candidates.push_back(std::move(out));
  }

  std::optional<size_t> pick;
  if (!chosen.empty()) {
    made.mode = AssignMode::kChosen;
    made.reason = reason;
    pick = BestOf(answer, chosen);
    const auto excluded =
        std::find_if(answer.excluded.begin(), answer.excluded.end(),
                     [&](const ExcludedPair& one) { return one.pair.supplier == chosen; });
    if (!pick && excluded != answer.excluded.end()) {
      made.pick = excluded->pair;
    } else if (!pick) {
      return decision;
    }
  } else if (!answer.candidates.empty()) {
    if (answer.by_cost && answer.trials_on) {
      std::vector<double> shares;
      for (const SourcingCandidate& one : answer.candidates) shares.push_back(one.share);
      made.mode = AssignMode::kShared;
      pick = PickByShare(shares, absl::StrCat(order.shop, "/", order.order_id, "/", part));
    } else {
      pick = 0;
    }
    made.trial = *pick > 0;
    made.expected_saving = SavingOf(answer, *pick);
    made.reason = WhyPicked(answer, *pick);
  } else {
    return decision;
  }
  if (pick) {
    const SourcingCandidate& one = answer.candidates[*pick];
    made.pick = one.pair;
    made.supplier_item = one.supplier_item;
    if (answer.by_cost) made.dearer = ExpectedOf(one) - ExpectedOf(answer.candidates[0]);
  }
  decision.assignment = std::move(made);
  return decision;
}

}  // namespace plumblane
