#include "client/show_scores.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_format.h>

#include <algorithm>

#include "client/show.h"
#include "client/table.h"
#include "client/text.h"

namespace plumblane::client {
namespace {

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

// How much is on its way, and whom to ask about what is late. A lane that stands there with its
// services beside it counts once.
std::string UnderwayText(const std::vector<v1::Score>& scores, Naming naming, int width) {
  const bool has_sums = std::any_of(scores.begin(), scores.end(), [](const v1::Score& score) {
    return !score.lane().has_service();
  });
  std::vector<std::string> late;
  int64_t underway = 0;
  for (const v1::Score& score : scores) {
    if (has_sums && score.lane().has_service()) continue;
    underway += score.underway_count();
    if (score.overdue_count() == 0) continue;
    late.push_back(NameOf(score, naming) + " " + Thousands(score.overdue_count()));
  }
  if (underway == 0) return "";
  return Wrapped(absl::StrCat("Under way: ", Counted(underway, "order"),
                              "; past the promise: ", late.empty() ? "none" : Listed(late), "."),
                 width);
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

// A fact of the screen of one supplier or lane; these lines are short.
std::string Fact(const std::string& label, const std::string& value) {
  return DetailLine(label, value, /*label_width=*/15, /*width=*/80);
}

std::string RateLine(const std::string& label, const v1::Rate& rate, const std::string& hits) {
  if (IsEmpty(rate)) return Fact(label, kNoOrders);
  std::string text =
      absl::StrCat(RateText(rate), rate.order_count() == 1 ? " order, " : " orders, ",
                   Thousands(rate.hit_count()), " ", hits);
  if (IsThin(rate)) text += "; little evidence";
  return Fact(label, text);
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

// "observed 0.0163, estimate 0.0149, weight 122.5", and below it the prior.
std::string ExplainLines(const std::string& label, const v1::Rate& rate, const std::string& of,
                         const v1::Prior& prior) {
  std::string text =
      rate.has_observed() ? absl::StrFormat("observed %.4f", rate.observed()) : "nothing observed";
  if (rate.has_estimate()) absl::StrAppendFormat(&text, ", estimate %.4f", rate.estimate());
  absl::StrAppendFormat(&text, ", weight %.1f", rate.weight());
  return Fact(label, text) + Fact("", absl::StrFormat("prior of %s %.4f, worth %.4g orders", of,
                                                      prior.mean(), prior.strength()));
}

std::string ExplainText(const v1::Score& score) {
  return absl::StrCat(
      "\nWhat the estimates are made of, as shares from 0 to 1\n",
      ExplainLines("on time", score.on_time(), "being late", score.late_prior()),
      ExplainLines("bad or lost", score.defect(), "being bad or lost", score.defect_prior()),
      "  The prior is the average of all suppliers; weight is the number of orders, older ones\n"
      "  counted in part.\n");
}

std::string DetailText(const v1::Score& score) {
  std::string text = absl::StrCat(
      RateLine("on time", score.on_time(), "late"),
      RateLine("bad or lost", score.defect(), "known"), Fact("ships", LongTimes(score.handling())),
      Fact("travels", LongTimes(score.transit())), Fact("delivered", LongTimes(score.delivery())),
      Fact("answers",
           score.response().entered_count() == 0 ? "no claims yet" : LongTimes(score.response())),
      Fact("under way", absl::StrCat(Counted(score.underway_count(), "order"), ", ",
                                     Thousands(score.overdue_count()), " past the promise")));
  if (score.has_last_event_time()) {
    absl::StrAppend(&text, Fact("last heard of", TimeText(score.last_event_time())));
  }
  const std::string left_out = LeftOutText(score);
  return left_out.empty() ? text : absl::StrCat(text, Fact("left out", left_out));
}

}  // namespace

std::string ShowScoreTable(const std::vector<v1::Score>& scores, Naming naming, int width) {
  if (scores.empty()) return "no orders yet; feed some with \"plumblane send\"\n";
  Table table({{HeaderOf(naming)}, {"on time"}, {"bad or lost"}, {"delivered\nhalf / 90 %"}});
  for (const v1::Score& score : scores) {
    table.Add({NameOf(score, naming), RateText(score.on_time()), RateText(score.defect()),
               ShortTimes(score.delivery())});
  }
  const std::string holds = HoldsFor(scores.front());
  return absl::StrCat(table.Render(width), "\n", UnderwayText(scores, naming, width),
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
