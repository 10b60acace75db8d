#include "client/show_scores.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_format.h>

#include <algorithm>

#include "client/show.h"
#include "client/show_explain.h"
#include "client/show_risk.h"
#include "client/table.h"
#include "client/text.h"
#include "client/words.h"

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

bool IsAverage(const v1::Score& score) { return score.rate_mode() == v1::RATE_MODE_AVERAGE; }

// How much is on its way, and whom to ask about what is late. A lane that stands there with its
// services beside it counts once.
std::string UnderwayText(const std::vector<v1::Score>& scores, Naming naming, bool each,
                         int width) {
  const bool has_sums = std::any_of(scores.begin(), scores.end(), [](const v1::Score& score) {
    return !score.lane().has_service();
  });
  std::vector<std::string> late, waiting;
  int64_t underway = 0;
  for (const v1::Score& score : scores) {
    if (has_sums && score.lane().has_service()) continue;
    underway += score.underway_count();
    const std::string name = NameOf(score, naming) + " ";
    if (score.underway_count() > 0) waiting.push_back(name + Thousands(score.underway_count()));
    if (score.overdue_count() > 0) late.push_back(name + Thousands(score.overdue_count()));
  }
  if (underway == 0) return "";
  return Wrapped(
      absl::StrCat("Under way: ", Counted(underway, "order"), each ? ": " + Listed(waiting) : "",
                   "; past the promise: ", late.empty() ? "none" : Listed(late), "."),
      width);
}

// Whose figures lean on those of others.
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
                              "figures lean on what the same supplier does "
                              "elsewhere and others do on the same lane."),
                 width);
}

// What the signs among the times mean.
std::string SignsText(const std::vector<std::string>& times) {
  const auto any = [&](const std::string& sign) {
    return std::any_of(times.begin(), times.end(), [&](const std::string& text) {
      return text.find(sign) != std::string::npos;
    });
  };
  std::string text;
  if (any(">"))
    text += ">: not that many have arrived yet, as far as news goes; it takes longer.\n";
  if (any("/ -")) text += "-: not that many have arrived yet, as far as news goes.\n";
  if (any("?")) text += "?: fewer than five orders to tell it by.\n";
  return text;
}

std::string AverageText(const v1::Score& score, int width) {
  if (!IsAverage(score)) return "";
  return Wrapped(
      "Rates are averages of the past, older orders counting less. The ranges hold only where "
      "nothing has changed; do not compare them with figures without --average.",
      width);
}

// A fact of the screen of one supplier or lane; these lines are short.
std::string Fact(const std::string& label, const std::string& value) {
  return DetailLine(label, value, /*label_width=*/15, /*width=*/80);
}

std::string RateLine(const std::string& label, const v1::Rate& rate, const std::string& hits,
                     bool average) {
  if (IsEmpty(rate)) return Fact(label, kNoOrders);
  std::string text = absl::StrCat(average ? "on average " : "", RateText(rate),
                                  rate.order_count() == 1 ? " order, " : " orders, ",
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

// "as seen: damaged 1.2 %, lost 0.4 %", the most frequent first.
std::string KindsLine(const v1::Score& score) {
  std::vector<v1::DefectShare> kinds(score.defect_kinds().begin(), score.defect_kinds().end());
  std::stable_sort(kinds.begin(), kinds.end(),
                   [](const auto& a, const auto& b) { return a.share() > b.share(); });
  std::string text;
  bool dangerous = false;
  for (const v1::DefectShare& kind : kinds) {
    absl::StrAppend(&text, text.empty() ? "as seen: " : ", ", DefectText(kind.kind()), " ",
                    Percent(kind.share()));
    dangerous |= kind.kind() == v1::REASON_UNSAFE || kind.kind() == v1::REASON_COUNTERFEIT;
  }
  if (text.empty()) return "";
  return Fact("", text) + (dangerous ? Fact("",
                                            "no matter for shares: stop selling the item, and "
                                            "look up the product-safety duties where you sell")
                                     : "");
}

std::string TargetLines(const v1::Score& score) {
  std::string text;
  for (const v1::TargetReading& reading : score.targets()) {
    text += Fact(text.empty() ? "targets" : "", TargetText(reading));
  }
  return text;
}

std::string ArrivalText(const v1::Arrival& arrival, const v1::Times& delivery) {
  if (!arrival.has_share()) return "too early to tell, none on its way so long";
  std::string text = Percent(arrival.share());
  // None and all have no limits, however many orders there are.
  const bool none_or_all = arrival.share() <= 0 || arrival.share() >= 1;
  const bool too_few = delivery.median_too_few() || delivery.entered_count() < 5;
  if (arrival.has_low() && arrival.has_high()) {
    absl::StrAppend(&text, " (", PercentNumber(arrival.low()), "-", PercentNumber(arrival.high()),
                    ")");
  } else {
    text += none_or_all && !too_few ? " so far" : ", too few to tell how sure";
  }
  if (arrival.late_days() < 0.05) return text;
  return absl::StrFormat("%s; on average %.1f days later", text, arrival.late_days());
}

// Below the times of delivery, one line for each number of days asked.
std::string ArrivalLines(const v1::Score& score) {
  std::string text;
  for (const v1::Arrival& arrival : score.arrivals()) {
    absl::StrAppend(&text, Fact(text.empty() ? "arrives" : "",
                                score.delivery().entered_count() == 0
                                    ? kNoOrders
                                    : absl::StrCat("within ", DaysText(arrival.days()), ": ",
                                                   ArrivalText(arrival, score.delivery()))));
    if (score.delivery().entered_count() == 0) break;
  }
  return text;
}

std::string DetailText(const v1::Score& score) {
  std::string text = absl::StrCat(
      RateLine("on time", score.on_time(), "late", IsAverage(score)),
      RateLine("bad or lost", score.defect(), "known", IsAverage(score)), KindsLine(score),
      Fact("ships", LongTimes(score.handling())), Fact("travels", LongTimes(score.transit())),
      Fact("delivered", LongTimes(score.delivery())), ArrivalLines(score),
      Fact("answers",
           score.response().entered_count() == 0 ? "no claims yet" : LongTimes(score.response())),
      Fact("under way", absl::StrCat(Counted(score.underway_count(), "order"), ", ",
                                     Thousands(score.overdue_count()), " past the promise")));
  // Asked about an earlier moment, what came later is no answer.
  if (score.has_last_event_time() &&
      (!score.has_as_of_time() ||
       ToInstant(score.last_event_time()) <= ToInstant(score.as_of_time()))) {
    absl::StrAppend(&text, Fact("last heard of", TimeText(score.last_event_time())));
  }
  const std::string left_out = LeftOutText(score);
  if (!left_out.empty()) text += Fact("left out", left_out);
  return text + TargetLines(score);
}

}  // namespace

std::string ShowScoreTable(const std::vector<v1::Score>& scores, Naming naming, int width,
                           bool each_underway) {
  if (scores.empty()) return "no orders yet; feed some with \"plumblane send\"\n";
  const bool average = IsAverage(scores.front());
  Table table({{HeaderOf(naming)},
               {average ? "on average\non time" : "on time"},
               {average ? "on average\nbad or lost" : "bad or lost"},
               {"delivered\nhalf / 90 %"}});
  std::vector<std::string> times;
  for (const v1::Score& score : scores) {
    times.push_back(ShortTimes(score.delivery()));
    table.Add(
        {NameOf(score, naming), RateText(score.on_time()), RateText(score.defect()), times.back()});
  }
  const std::string holds = HoldsFor(scores.front());
  return absl::StrCat(table.Render(width), "\n", UnderwayText(scores, naming, each_underway, width),
                      ThinText(scores, naming, width), SignsText(times),
                      AverageText(scores.front(), width),
                      holds.empty() ? "" : Wrapped(holds, width));
}

std::string ShowScore(const v1::Score& score, bool explain, int width, const v1::Risk* risk) {
  const bool is_supplier = !score.supplier_id().empty();
  const std::string name = is_supplier ? score.supplier_id() : LaneText(score.lane());
  std::string text = absl::StrCat(name, "\n", DetailText(score));
  if (risk != nullptr) text += RiskLines(*risk, width);
  if (explain) absl::StrAppend(&text, ExplainText(score, width));
  const std::vector<v1::Score> pairs(score.pairs().begin(), score.pairs().end());
  text += "\n";
  if (!pairs.empty()) {
    return text +
           ShowScoreTable(pairs, is_supplier ? Naming::kLane : Naming::kSupplierService, width);
  }
  const std::string holds = HoldsFor(score);
  text += AverageText(score, width);
  return holds.empty() ? text : text + Wrapped(holds, width);
}

}  // namespace plumblane::client
