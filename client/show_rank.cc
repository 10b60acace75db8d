#include "client/show_rank.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_format.h>

#include <algorithm>

#include "client/show.h"
#include "client/show_cost_rank.h"
#include "client/show_explain.h"
#include "client/table.h"
#include "client/text.h"

namespace plumblane::client {
namespace {

using Align = Table::Align;

// "TR", "VN/express".
std::string FromText(const v1::Lane& lane) {
  return lane.origin() + (lane.service().empty() ? "" : "/" + lane.service());
}

std::string PairText(const v1::Candidate& candidate) {
  const v1::Score& score = candidate.score();
  return absl::StrCat(score.supplier_id(), " from ", score.lane().origin(),
                      score.lane().service().empty() ? "" : " by " + score.lane().service());
}

// Marks per 100 orders: "8.2", "21".
std::string InHundred(double expected) {
  return expected < 0.0995 ? absl::StrFormat("%.1f", expected * 100)
                           : absl::StrFormat("%.0f", expected * 100);
}

std::string BadText(const v1::Candidate& candidate) {
  if (!candidate.has_expected_bad()) return kNoOrders;
  return absl::StrCat(InHundred(candidate.expected_bad()), " (", InHundred(candidate.low()), "-",
                      InHundred(candidate.high()), ")", candidate.assumed() ? " assumed" : "");
}

// The rate and its orders; its interval is in the sum.
std::string PlainRate(const v1::Rate& rate) {
  if (IsEmpty(rate)) return kNoOrders;
  return absl::StrCat(Percent(rate.estimate()), " of ", Thousands(rate.order_count()));
}

// Its own orders say little.
bool IsUnsure(const v1::Candidate& candidate) {
  return candidate.assumed() || IsThin(candidate.score().on_time());
}

std::string EvidenceSentence(const v1::Candidate& first) {
  const v1::Rate& rate = first.score().on_time();
  if (first.assumed() || IsEmpty(rate)) {
    return " It has no settled order there yet: the figure is what it does elsewhere and others "
           "do on that lane, so this order is a trial.";
  }
  if (!IsThin(rate))
    return absl::StrCat(" This rests on ", Counted(rate.order_count(), "order"), ".");
  return absl::StrCat(" This rests on little: ", Counted(rate.order_count(), "order"),
                      rate.order_count() >= 10 ? ", most of them long ago." : ".");
}

// "a, b, c and 2 others".
std::string Some(std::vector<std::string> names) {
  constexpr size_t kMost = 3;
  if (names.size() <= kMost + 1) return Listed(names);
  const size_t others = names.size() - kMost;
  names.resize(kMost);
  names.push_back(absl::StrCat(others, " others"));
  return Listed(names);
}

std::string OthersSentence(const v1::RankSuppliersResponse& answer) {
  std::vector<std::string> close, untried;
  for (int i = 1; i < answer.candidates_size(); ++i) {
    const v1::Candidate& candidate = answer.candidates(i);
    if (candidate.assumed()) {
      untried.push_back(PairText(candidate));
    } else if (candidate.close_to_first()) {
      close.push_back(PairText(candidate));
    }
  }
  std::string text;
  if (!close.empty()) {
    absl::StrAppend(&text, " ", Some(close), close.size() == 1 ? " is" : " are",
                    " not clearly worse: the difference may be chance.");
  } else if (answer.candidates_size() > 1 && !answer.candidates(1).assumed()) {
    const v1::Candidate& second = answer.candidates(1);
    absl::StrAppend(&text, " ", PairText(second), " comes next, with ",
                    InHundred(second.expected_bad()), " in 100.");
  } else if (answer.candidates_size() == 1) {
    text = " There is no other supplier to compare with.";
  }
  if (!untried.empty()) absl::StrAppend(&text, " Not known yet: ", Some(untried), ".");
  return text;
}

// Why it stands where it does, what to know besides, and what its figures rest on.
std::string ReasonLines(const v1::Candidate& candidate, int width) {
  const v1::Score& score = candidate.score();
  const auto observed = [](const v1::Rate& rate) {
    return rate.has_observed() ? Percent(rate.observed()) : "-";
  };
  return absl::StrCat(
      Wrapped(absl::StrCat(candidate.rank(), "  ", PairText(candidate), ": ", candidate.reason()),
              width, /*indent=*/3),
      NotesText(candidate, width),
      absl::StrFormat("   weight %.1f on time, %.1f bad or lost; observed %s and %s\n",
                      score.on_time().weight(), score.defect().weight(), observed(score.on_time()),
                      observed(score.defect())),
      DetailLine(
          "",
          absl::StrCat("late starts from ", PriorText(score.has_late_prior(), score.late_prior()),
                       "; bad from ", PriorText(score.has_defect_prior(), score.defect_prior())),
          /*label_width=*/1, width));
}

}  // namespace

std::string Advice(const v1::RankSuppliersResponse& answer, const std::string& destination) {
  const v1::Candidate& first = answer.candidates(0);
  if (!first.has_expected_bad()) {
    return "Nothing to choose by: no order of any supplier has a promise whose day was over.";
  }
  return absl::StrCat("Next order to ", destination, ": ", PairText(first), ". About ",
                      InHundred(first.expected_bad()), " in 100 orders come late or bad (",
                      InHundred(first.low()), " to ", InHundred(first.high()), ").",
                      EvidenceSentence(first), OthersSentence(answer));
}

std::string ShowRank(const v1::RankSuppliersResponse& answer, const std::string& destination,
                     bool explain, int width) {
  Table table({{"supplier"},
               {"from"},
               {"late or bad\nin 100 orders"},
               {"on time"},
               {"bad or lost"},
               {"under\nway", Align::kRight}});
  for (const v1::Candidate& candidate : answer.candidates()) {
    const v1::Score& score = candidate.score();
    table.Add({absl::StrCat(candidate.rank(), "  ", score.supplier_id()), FromText(score.lane()),
               BadText(candidate), PlainRate(score.on_time()), PlainRate(score.defect()),
               Thousands(score.underway_count())});
  }
  std::string text = table.Render(width) + "\n";
  if (answer.candidate_count() > answer.candidates_size()) {
    text += Wrapped(absl::StrCat("The best ", answer.candidates_size(), " of ",
                                 answer.candidate_count(), "; --limit N tells more or fewer."),
                    width);
  }
  for (const v1::Candidate& candidate : answer.candidates()) {
    if (explain) {
      text += ReasonLines(candidate, width);
    } else if (!candidate.notes().empty()) {
      text += absl::StrCat(candidate.rank(), " ", PairText(candidate), ":\n",
                           NotesText(candidate, width));
    }
  }
  if (!text.ends_with("\n\n")) text += "\n";
  text += Wrapped(Advice(answer, destination), width);
  const bool all_unsure = std::all_of(answer.candidates().begin(), answer.candidates().end(),
                                      [](const v1::Candidate& c) { return IsUnsure(c); });
  if (all_unsure && answer.candidates_size() > 1 && answer.candidates(0).has_expected_bad()) {
    text += Wrapped("All of this is little evidence: spread the next orders until more is known.",
                    width);
  }
  if (!answer.excluded().empty()) {
    absl::StrAppend(&text, "\nCould not get the order:\n", ExcludedText(answer.excluded(), width));
  }
  if (!answer.order_reason().empty()) {
    text += "\n" + Wrapped("Not by expected cost: " + answer.order_reason(), width);
  }
  const std::string holds = HoldsFor(answer);
  return holds.empty() ? text : text + "\n" + Wrapped(holds, width);
}

}  // namespace plumblane::client
