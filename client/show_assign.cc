#include "client/show_assign.h"

#include <absl/strings/str_cat.h>

#include <algorithm>

#include "base/ids.h"
#include "client/picks.h"
#include "client/show.h"
#include "client/table.h"
#include "client/text.h"

namespace plumblane::client {
namespace {

using Align = Table::Align;

std::string OrderText(const v1::Assignment& assignment) {
  return FormatOrder(
      {assignment.shop().empty() ? kDefaultShop : assignment.shop(), assignment.order_id()},
      std::max(1, assignment.part()));
}

// Of what could have got it the one expected to be cheapest; null when no cost is told.
const v1::AssignmentCandidate* Cheapest(const v1::Assignment& assignment) {
  const v1::AssignmentCandidate* cheapest = nullptr;
  for (const v1::AssignmentCandidate& candidate : assignment.candidates()) {
    if (!candidate.excluded().empty() || !candidate.has_expected_cost()) continue;
    if (cheapest == nullptr || candidate.expected_cost() < cheapest->expected_cost()) {
      cheapest = &candidate;
    }
  }
  return cheapest;
}

std::string AmountWithCode(double minor_units, const std::string& currency) {
  return absl::StrCat(AmountText(minor_units, currency), " ", currency);
}

std::string DearerText(const v1::Assignment& assignment) {
  if (!assignment.has_dearer() || assignment.dearer() <= 0) return "";
  const v1::AssignmentCandidate* cheapest = Cheapest(assignment);
  return absl::StrCat("about ", AmountWithCode(assignment.dearer(), assignment.currency_code()),
                      " dearer than ",
                      cheapest == nullptr ? "the lowest expected cost" : cheapest->supplier());
}

std::string HowText(const v1::Assignment& assignment) {
  if (assignment.trial()) return "trial";
  switch (assignment.mode()) {
    case v1::Assignment::MODE_CHOSEN:
      return "chosen";
    case v1::Assignment::MODE_SHARED:
      return "shared";
    default:
      return "lowest";
  }
}

std::string StateText(const v1::Assignment& assignment) {
  switch (assignment.state()) {
    case v1::Assignment::STATE_PAID:
      return "paid";
    case v1::Assignment::STATE_PAID_ELSEWHERE:
      return "elsewhere";
    default:
      return "open";
  }
}

std::string CountsText(const v1::ListAssignmentsResponse& answer) {
  std::string text = Counted(answer.total_count(), "assignment");
  if (answer.total_count() == 0) return text;
  return absl::StrCat(text, ", of them ", Counted(answer.trial_count(), "trial"), " and ",
                      Counted(answer.chosen_count(), "choice"), " of your own.");
}

std::string SavingText(const v1::ListAssignmentsResponse& answer) {
  std::string text;
  for (const auto& saving : answer.savings()) {
    absl::StrAppend(&text, "Expected saving against always taking the cheapest quote: ",
                    AmountWithCode(saving.expected_saving(), saving.currency_code()), " over ",
                    Counted(saving.assignment_count(), "assignment"),
                    ", choices of your own left out. ");
  }
  if (text.empty()) return text;
  return text +
         "That is what was expected when each was decided; what the other supplier would really "
         "have done is never known.";
}

}  // namespace

std::string TrialText(const v1::Assignment& assignment) {
  if (!assignment.trial()) return "";
  const std::string dearer = DearerText(assignment);
  return dearer.empty() ? "trial order" : "trial order, " + dearer;
}

std::string ShowPick(const v1::AssignOrderResult& result, bool dry_run, int width) {
  const v1::Assignment& pick = result.assignment();
  std::string text =
      Wrapped(absl::StrCat("order ", OrderText(pick),
                           dry_run && !result.existed() ? " would go to " : " goes to ",
                           pick.supplier(), ", ", LaneText(pick.lane())),
              width);
  const auto fact = [&](const std::string& label, const std::string& value) {
    if (!value.empty()) text += DetailLine(label, value, /*label_width=*/11, width);
  };
  if (result.existed()) {
    fact("already", absl::StrCat("assigned ", TimeText(pick.assign_time()), "; nothing changed"));
  }
  if (!pick.item().empty()) {
    fact("item",
         absl::StrCat(pick.item(), ", ", Counted(std::max<int64_t>(1, pick.unit_count()), "unit"),
                      pick.supplier_item().empty()
                          ? ""
                          : absl::StrCat("; it calls it ", pick.supplier_item())));
  }
  const v1::AssignmentCandidate* quoted = PickedCandidate(pick);
  if (quoted != nullptr && quoted->has_landed()) {
    std::string cost = AmountWithCode(static_cast<double>(quoted->landed()), pick.currency_code());
    if (quoted->has_expected_cost()) {
      absl::StrAppend(&cost, " landed, ",
                      AmountWithCode(quoted->expected_cost(), pick.currency_code()),
                      " expected in all");
    }
    fact("cost", cost);
  }
  fact("why", pick.reason());
  fact("instead of", pick.instead_of());
  if (pick.trial()) {
    fact("trial", TrialText(pick));
  } else if (pick.mode() == v1::Assignment::MODE_CHOSEN) {
    fact("own choice", DearerText(pick));
  }
  if (dry_run && !result.existed()) fact("kept", "nothing: this was a dry run");
  return text;
}

std::string ShowAssignments(const v1::ListAssignmentsResponse& answer, int width) {
  if (answer.assignments().empty()) return "no assignments\n";
  // Two lines each: the order, then who got it.
  Table table({{"order\nand supplier"}, {"day"}, {"how"}, {"saving", Align::kRight}, {"state"}});
  for (const v1::Assignment& assignment : answer.assignments()) {
    table.Add({OrderText(assignment), TimeText(assignment.assign_time()).substr(0, 10),
               HowText(assignment),
               assignment.has_expected_saving()
                   ? AmountWithCode(assignment.expected_saving(), assignment.currency_code())
                   : "-",
               StateText(assignment)});
    table.Add({absl::StrCat("  ", assignment.supplier(), ", ", LaneText(assignment.lane())), "", "",
               "", ""});
  }
  std::string text = table.Render(width) + "\n" + Wrapped(CountsText(answer), width);
  const std::string saving = SavingText(answer);
  return saving.empty() ? text : text + Wrapped(saving, width);
}

}  // namespace plumblane::client
