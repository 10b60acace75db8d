#include "client/show_scores.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_format.h>

#include <algorithm>

#include "client/show.h"
#include "client/table.h"
#include "client/text.h"

namespace plumblane::client {
namespace {

using Align = Table::Align;

std::string NameOf(const v1::Score& score, Naming naming) {
  switch (naming) {
    case Naming::kSupplier:
      return score.supplier_id();
    case Naming::kLane:
      return LaneText(score.lane());
    case Naming::kSupplierService: {
      const std::string& service = score.lane().service();
      return score.supplier_id() + (service.empty() ? "" : "/" + service);
    }
  }
  return score.name();
}

const char* HeaderOf(Naming naming) {
  switch (naming) {
    case Naming::kSupplier:
      return "supplier";
    case Naming::kLane:
      return "lane";
    case Naming::kSupplierService:
      return "supplier/service";
  }
  return "";
}

bool HidesNinety(const v1::Times& times) {
  return times.entered_count() > 0 && times.has_median() && times.median_reached() &&
         !times.has_p90();
}

// Whom to ask about what is late.
std::string OverdueText(const std::vector<v1::Score>& scores, Naming naming, int width) {
  std::vector<std::string> late;
  for (const v1::Score& score : scores) {
    if (score.overdue_count() == 0) continue;
    late.push_back(NameOf(score, naming) + " " + Thousands(score.overdue_count()));
  }
  if (late.empty()) return "";
  return Wrapped(absl::StrCat("Under way and past the promise: ", Listed(late), "."), width);
}

// Whose figures lean on the average of all.
std::string ThinText(const std::vector<v1::Score>& scores, Naming naming, int width) {
  std::vector<std::string> thin;
  for (const v1::Score& score : scores) {
    if (!IsEmpty(score.on_time()) && IsThin(score.on_time())) {
      thin.push_back(NameOf(score, naming));
    }
  }
  if (thin.empty()) return "";
  const bool all = thin.size() == scores.size() && thin.size() > 1;
  const std::string whose = all ? "all of these" : Listed(thin);
  return Wrapped(absl::StrCat("Little evidence: ", whose,
                              ". With fewer than 10 recent orders the "
                              "figures lean on the average of all suppliers."),
                 width);
}

std::string DashText(const std::vector<v1::Score>& scores) {
  const bool any = std::any_of(scores.begin(), scores.end(), [](const v1::Score& score) {
    return HidesNinety(score.delivery());
  });
  return any ? "-: not reached, too many orders are still under way.\n" : "";
}

std::string DetailLine(const std::string& label, const std::string& value) {
  return absl::StrFormat("  %-13s%s\n", label, value);
}

std::string RateLine(const std::string& label, const v1::Rate& rate, const std::string& hits) {
  if (IsEmpty(rate)) return DetailLine(label, kNoOrders);
  std::string text =
      absl::StrCat(RateText(rate), rate.order_count() == 1 ? " order, " : " orders, ",
                   Thousands(rate.hit_count()), " ", hits);
  if (IsThin(rate)) text += "; little evidence";
  return DetailLine(label, text);
}

std::string LeftOutText(const v1::Score& score) {
  std::string text;
  if (score.excused_count() > 0) {
    text = absl::StrCat(Thousands(score.excused_count()), " forgiven");
  }
  if (score.fault_count() > 0) {
    absl::StrAppend(&text, text.empty() ? "" : ", ", Thousands(score.fault_count()),
                    " whose own dates contradict each other");
  }
  return text;
}

// "0.0163 seen, 0.0149 estimated; 122.5 orders' weight; prior 0.0488 worth 4 orders".
std::string ExplainLine(const std::string& label, const v1::Rate& rate, const v1::Prior& prior,
                        bool has_prior) {
  std::string text =
      rate.has_observed() ? absl::StrFormat("observed %.4f", rate.observed()) : "nothing observed";
  if (rate.has_estimate()) absl::StrAppendFormat(&text, ", estimate %.4f", rate.estimate());
  absl::StrAppendFormat(&text, ", weight %.1f", rate.weight());
  if (has_prior) {
    absl::StrAppendFormat(&text, "; prior mean %.4f, worth %.4g orders", prior.mean(),
                          prior.strength());
  }
  return DetailLine(label, text);
}

std::string ExplainText(const v1::Score& score) {
  return absl::StrCat(
      "\nWhat the estimates are made of (shares from 0 to 1)\n",
      ExplainLine("on time", score.on_time(), score.late_prior(), false),
      score.has_late_prior()
          ? DetailLine("",
                       absl::StrFormat("prior of late orders: mean %.4f, worth %.4g orders",
                                       score.late_prior().mean(), score.late_prior().strength()))
          : "",
      ExplainLine("bad or lost", score.defect(), score.defect_prior(), score.has_defect_prior()),
      "  The prior is the average of all suppliers; weight is the number of orders after older "
      "ones\n"
      "  are counted in part.\n");
}

std::string DetailText(const v1::Score& score) {
  std::string text = absl::StrCat(
      RateLine("on time", score.on_time(), "late"),
      RateLine("bad or lost", score.defect(), "found"),
      DetailLine("ships", LongTimes(score.handling())),
      DetailLine("travels", LongTimes(score.transit())),
      DetailLine("delivered", LongTimes(score.delivery())),
      DetailLine("answers", score.response().entered_count() == 0 ? "no claims yet"
                                                                  : LongTimes(score.response())),
      DetailLine("under way", absl::StrCat(Counted(score.underway_count(), "order"), ", ",
                                           Thousands(score.overdue_count()), " past the promise")));
  if (score.has_last_event_time()) {
    absl::StrAppend(&text, DetailLine("last heard of", TimeText(score.last_event_time())));
  }
  const std::string left_out = LeftOutText(score);
  return left_out.empty() ? text : absl::StrCat(text, DetailLine("left out", left_out));
}

}  // namespace

std::string ShowScoreTable(const std::vector<v1::Score>& scores, Naming naming, int width) {
  if (scores.empty()) return "no orders yet; feed some with \"plumblane send\"\n";
  Table table({{HeaderOf(naming)},
               {"on time"},
               {"bad or lost"},
               {"delivered\nhalf / 90 %"},
               {"under\nway", Align::kRight}});
  for (const v1::Score& score : scores) {
    table.Add({NameOf(score, naming), RateText(score.on_time()), RateText(score.defect()),
               ShortTimes(score.delivery()), Thousands(score.underway_count())});
  }
  const std::string holds = HoldsFor(scores.front());
  return absl::StrCat(table.Render(width), "\n", OverdueText(scores, naming, width),
                      ThinText(scores, naming, width), DashText(scores),
                      holds.empty() ? "" : Wrapped(holds, width));
}

std::string ShowScore(const v1::Score& score, bool explain, int width) {
  const bool is_supplier = !score.supplier_id().empty();
  const std::string name = is_supplier ? score.supplier_id() : LaneText(score.lane());
  std::string text = absl::StrCat(name, "\n", DetailText(score));
  if (explain) absl::StrAppend(&text, ExplainText(score));
  const std::vector<v1::Score> pairs(score.pairs().begin(), score.pairs().end());
  text += "\n";
  if (!pairs.empty()) {
    return text +
           ShowScoreTable(pairs, is_supplier ? Naming::kLane : Naming::kSupplierService, width);
  }
  const std::string holds = HoldsFor(score);
  return holds.empty() ? text : text + Wrapped(holds, width);
}

}  // namespace plumblane::client
