#include "client/show_cost_rank.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_format.h>
#include <absl/strings/str_join.h>

#include <algorithm>
#include <vector>

#include "client/show.h"
#include "client/show_cost_parts.h"
#include "client/table.h"
#include "client/text.h"

namespace plumblane::client {
namespace {

using Align = Table::Align;

constexpr char kNotKnown[] = "-";

// "lotus-works, VN-DE/express".
std::string NameOf(const v1::Candidate& candidate) {
  return absl::StrCat(candidate.score().supplier_id(), ", ", LaneText(candidate.score().lane()));
}

double BadShare(const v1::ExpectedCost& cost) {
  double sum = 0;
  for (const auto& [kind, share] : cost.defect_shares()) sum += share;
  return std::min(1.0, sum);
}

// Two lines a candidate: its figures, then its lane and the range of its cost.
void AddRows(const v1::Candidate& candidate, const std::string& currency, Table& table) {
  const v1::ExpectedCost& cost = candidate.cost();
  const auto figure = [&](const std::string& text) {
    return candidate.has_cost() ? text : std::string(kNotKnown);
  };
  const auto amount = [&](double minor_units) { return AmountText(minor_units, currency); };
  table.Add(
      {absl::StrCat(candidate.rank(), "  ", candidate.score().supplier_id()),
       figure(amount(static_cast<double>(cost.landed()))),
       figure(cost.has_promised_days() ? PercentNumber(cost.late_share()) : kNotKnown),
       figure(PercentNumber(BadShare(cost))), figure(absl::StrFormat("%.1f", cost.waiting_days())),
       figure(amount(cost.expected())), figure(PercentNumber(cost.cheapest_chance())),
       PercentNumber(candidate.share()),
       candidate.has_remaining_capacity() ? Thousands(candidate.remaining_capacity()) : "any"});
  table.Add({"   " + LaneText(candidate.score().lane()), "", "", "", "",
             candidate.has_cost() ? absl::StrCat(amount(cost.low()), "-", amount(cost.high())) : "",
             "", "", ""});
}

std::string TableText(const v1::RankSuppliersResponse& answer, int width) {
  const std::string& currency = answer.currency_code();
  Table table({{"supplier\nand lane"},
               {"landed\n" + currency, Align::kRight},
               {"late\n%", Align::kRight},
               {"bad\n%", Align::kRight},
               {"days", Align::kRight},
               {"expected " + currency + "\n5-95 %", Align::kRight},
               {"best\n%", Align::kRight},
               {"give\n%", Align::kRight},
               {"left", Align::kRight}});
  for (const v1::Candidate& candidate : answer.candidates()) AddRows(candidate, currency, table);
  return table.Render(width);
}

std::string ReasonLines(const v1::RankSuppliersResponse& answer, int width) {
  std::string text;
  for (const v1::Candidate& candidate : answer.candidates()) {
    std::string line =
        absl::StrCat(candidate.rank(), "  ", NameOf(candidate), ": ", candidate.reason());
    if (!candidate.supplier_item().empty()) {
      absl::StrAppend(&line, "; it calls the item ", candidate.supplier_item());
    }
    text += Wrapped(line, width, /*indent=*/2) + NotesText(candidate, width);
  }
  return text;
}

// "a and b quote no promise, so no order of theirs is late."
std::string Say(const std::vector<std::string>& names, const std::string& of_one,
                const std::string& of_more) {
  return names.empty() ? ""
                       : absl::StrCat(Listed(names), " ", names.size() == 1 ? of_one : of_more);
}

std::string UnknownLines(const v1::RankSuppliersResponse& answer, int width) {
  std::vector<std::string> assumed, unpromised, untried;
  for (const v1::Candidate& candidate : answer.candidates()) {
    if (!candidate.has_cost()) continue;
    const std::string name = absl::StrCat(candidate.rank(), " ", candidate.score().supplier_id());
    if (candidate.cost().times_assumed()) assumed.push_back(name);
    if (!candidate.cost().has_promised_days()) unpromised.push_back(name);
    if (candidate.assumed()) untried.push_back(name);
  }
  const std::vector<std::string> sentences = {
      Say(untried,
          "has no settled order there yet: its rates are what it does elsewhere and others "
          "do there.",
          "have no settled order there yet: their rates are what they do elsewhere and others do "
          "there."),
      Say(assumed, "has too few orders to tell its days: they rest on others, or on its promise.",
          "have too few orders to tell their days: they rest on others, or on their promise."),
      Say(unpromised, "promises no day, so no order of it can come late: ask for a promise.",
          "promise no day, so no order of theirs can come late: ask for promises."),
      answer.has_cost_basis() && !answer.cost_basis().has_sale()
          ? "What the customer pays is not known: shares of it refunded count as nothing. Say "
            "--sale, or load it with the costs."
          : "",
      answer.order_reason()};
  std::string text;
  for (const std::string& sentence : sentences) {
    if (!sentence.empty()) text += Wrapped("- " + sentence, width, /*indent=*/2);
  }
  return text.empty() ? "" : "\nNot known:\n" + text;
}

std::string CostAdvice(const v1::RankSuppliersResponse& answer, const std::string& destination) {
  const v1::Candidate& first = answer.candidates(0);
  const std::string& currency = answer.currency_code();
  std::string text = absl::StrCat("Next order to ", destination, ": ", NameOf(first));
  if (first.has_cost()) {
    absl::StrAppend(&text, ". It is expected to cost ",
                    AmountText(first.cost().expected(), currency), " ", currency, " in all, ",
                    AmountText(static_cast<double>(first.cost().landed()), currency),
                    " of it landed; that no other is cheaper has a chance of ",
                    Percent(first.cost().cheapest_chance()));
  }
  text += ".";
  if (answer.trials_on() && first.share() >= 1) {
    text += " Trials are on, but none is worth its cost here.";
  } else if (answer.trials_on()) {
    absl::StrAppend(&text, " Trials are on: it gets ", Percent(first.share()),
                    " of such orders, others the rest, to learn how they do. Trial orders go to "
                    "real customers.");
  }
  return text;
}

}  // namespace

std::string NotesText(const v1::Candidate& candidate, int width) {
  std::string text;
  for (const std::string& note : candidate.notes()) {
    text += DetailLine("-", note, /*label_width=*/2, width);
  }
  return text;
}

std::string ExcludedText(const google::protobuf::RepeatedPtrField<v1::ExcludedCandidate>& excluded,
                         int width) {
  std::string text;
  for (const v1::ExcludedCandidate& candidate : excluded) {
    const bool has_lane = candidate.has_lane() && !candidate.lane().destination().empty();
    text +=
        Wrapped(absl::StrCat("- ", candidate.supplier(), has_lane ? ", " : "",
                             has_lane ? LaneText(candidate.lane()) : "", ": ", candidate.reason()),
                width, /*indent=*/2);
  }
  return text;
}

std::string ShowCostRank(const v1::RankSuppliersResponse& answer, const std::string& destination,
                         const v1::CostSettings* settings, int width) {
  std::string text = TableText(answer, width);
  absl::StrAppend(
      &text, "\n",
      Wrapped("late, bad: share of orders; days: from payment to delivery, also while closed; "
              "expected: what an order "
              "costs in all, with the range of what is believed of it; best: the chance that no "
              "other is cheaper; give: share of orders; left: orders it takes this month.",
              width),
      "\n", ReasonLines(answer, width));
  if (answer.candidate_count() > answer.candidates_size()) {
    text += Wrapped(absl::StrCat("The best ", answer.candidates_size(), " of ",
                                 answer.candidate_count(), "; --limit N tells more or fewer."),
                    width);
  }
  if (!answer.excluded().empty()) {
    absl::StrAppend(&text, "\nCould not get the order:\n", ExcludedText(answer.excluded(), width));
  }
  text += UnknownLines(answer, width);
  if (settings != nullptr) {
    for (const v1::Candidate& candidate : answer.candidates()) {
      if (!candidate.has_cost()) continue;
      absl::StrAppend(&text, "\n", candidate.rank(), "  ", NameOf(candidate), "\n",
                      CostPartsText(answer, candidate.cost(), *settings, width));
    }
  }
  absl::StrAppend(&text, "\n", Wrapped(CostAdvice(answer, destination), width));
  const std::string holds = HoldsFor(answer);
  return holds.empty() ? text : text + "\n" + Wrapped(holds, width);
}

}  // namespace plumblane::client
