#include "client/review_pictures.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_format.h>

#include <algorithm>
#include <cmath>
#include <utility>
#include <vector>

#include "base/time.h"
#include "client/review_words.h"
#include "client/text.h"
#include "client/words.h"

namespace plumblane::client {
namespace {

// In the units of the picture: about a pixel on a telephone.
constexpr double kWidth = 340, kLeft = 38, kRight = 330;
constexpr double kTop = 14, kBottom = 134, kHeight = 154;

std::string At(double x, double y) { return absl::StrFormat("%.1f %.1f", x, y); }

class Drawing {
 public:
  Drawing(const std::string& id, const std::string& title, double height) {
    view_.texts = {{"id", id},
                   {"picture_title", title},
                   {"width", absl::StrFormat("%.0f", kWidth)},
                   {"height", absl::StrFormat("%.0f", height)}};
  }

  void Path(const std::string& kind, const std::string& path) {
    view_.lists["shapes"].push_back({{{"kind", kind}, {"path", path}}, {}});
  }
  void Line(const std::string& kind, double x1, double y1, double x2, double y2) {
    Path(kind, absl::StrCat("M", At(x1, y1), "L", At(x2, y2)));
  }
  void Bar(const std::string& kind, double x, double y, double width, double height) {
    Path(kind, absl::StrFormat("M%sh%.1fv%.1fh%.1fz", At(x, y), width, height, -width));
  }
  void Word(double x, double y, const std::string& anchor, const std::string& text) {
    view_.lists["labels"].push_back({{{"x", absl::StrFormat("%.1f", x)},
                                      {"y", absl::StrFormat("%.1f", y)},
                                      {"anchor", anchor},
                                      {"label", text}},
                                     {}});
  }
  // Lines at shares of a scale from 0 to 100 %, with their numbers.
  void Shares(const std::vector<int>& percents) {
    for (const int percent : percents) {
      const double y = Height(percent / 100.0);
      Line("grid", kLeft, y, kRight, y);
      Word(kLeft - 5, y + 4, "end", absl::StrCat(percent, " %"));
    }
  }
  static double Height(double share) { return kBottom - share * (kBottom - kTop); }

  // `words`: the same in words. `legend`: what the signs mean, for all to read.
  View Take(const std::string& words, const std::string& legend) {
    view_.texts["words"] = words;
    view_.texts["legend"] = legend;
    return std::move(view_);
  }

 private:
  View view_;
};

std::optional<Day> DayAt(const std::string& date) {
  const auto day = ParseDay(date);
  if (!day.ok()) return std::nullopt;
  return *day;
}

std::string WeekText(const v1::Week& week) {
  return absl::StrCat(Percent(week.on_time().observed()), " of ",
                      Thousands(week.on_time().order_count()), " in the week of ",
                      week.first_date());
}

std::string WeeksInWords(const std::vector<const v1::Week*>& weeks) {
  const auto less = [](const v1::Week* x, const v1::Week* y) {
    return x->on_time().observed() < y->on_time().observed();
  };
  const auto [low, high] = std::minmax_element(weeks.begin(), weeks.end(), less);
  return absl::StrCat(Counted(static_cast<int64_t>(weeks.size()), "week"), " with orders; lowest ",
                      WeekText(**low), ", highest ", WeekText(**high));
}

std::string StepPath(const google::protobuf::RepeatedPtrField<v1::CurvePoint>& curve,
                     double per_day) {
  std::string path = "M" + At(kLeft, Drawing::Height(0));
  for (const v1::CurvePoint& point : curve) {
    absl::StrAppendFormat(&path, "H%.1fV%.1f", kLeft + point.days() * per_day,
                          Drawing::Height(point.share()));
  }
  return absl::StrAppendFormat(&path, "H%.1f", kRight), path;
}

// The first day by which so many had arrived; "" = not reached.
std::string ReachedText(const google::protobuf::RepeatedPtrField<v1::CurvePoint>& curve,
                        double share) {
  for (const v1::CurvePoint& point : curve) {
    if (point.share() >= share) return absl::StrFormat("%.1f days", point.days());
  }
  return "";
}

std::string CurveInWords(const std::string& when,
                         const google::protobuf::RepeatedPtrField<v1::CurvePoint>& curve) {
  if (curve.empty()) return when + " no arrivals";
  const std::string half = ReachedText(curve, 0.5), most = ReachedText(curve, 0.9);
  return absl::StrCat(when, half.empty() ? " half not reached" : " half arrived within " + half,
                      most.empty() ? ", nine in ten not reached" : ", nine in ten within " + most);
}

struct NamedBar {
  std::string name, value, value_before;
  double size = 0, size_before = 0;
};

// One bar under the other, those of the period before thin below them.
View BarsPicture(const std::string& id, const std::string& title, const std::vector<NamedBar>& bars,
                 const std::string& legend) {
  constexpr double kStep = 30, kNames = 130, kLongest = 120;
  double most = 0;
  for (const NamedBar& bar : bars) most = std::max({most, bar.size, bar.size_before});
  Drawing drawing(id, title, kStep * static_cast<double>(bars.size()) + 4);
  std::string words;
  double y = 4;
  for (const NamedBar& bar : bars) {
    const double length = most > 0 ? kLongest * bar.size / most : 0;
    const double length_before = most > 0 ? kLongest * bar.size_before / most : 0;
    drawing.Word(kNames - 6, y + 12, "end", bar.name);
    if (bar.size > 0) drawing.Bar("bar", kNames, y + 2, length, 12);
    if (bar.size_before > 0) drawing.Bar("bar-before", kNames, y + 17, length_before, 4);
    drawing.Word(kNames + length + 6, y + 12, "start", bar.value);
    absl::StrAppend(&words, words.empty() ? "" : "; ", bar.name, " ", bar.value);
    if (!bar.value_before.empty()) absl::StrAppend(&words, ", before ", bar.value_before);
    y += kStep;
  }
  return drawing.Take(words, legend);
}

}  // namespace

std::optional<View> WeeksPicture(const v1::Account& account, const v1::ReviewPeriod& period,
                                 const std::string& id) {
  const std::optional<Day> first = DayAt(period.first_date()), last = DayAt(period.last_date());
  std::vector<const v1::Week*> weeks;
  for (const v1::Week& week : account.weeks()) {
    if (week.on_time().has_observed() && DayAt(week.first_date())) weeks.push_back(&week);
  }
  if (weeks.empty() || !first || !last) return std::nullopt;
  Drawing drawing(id, "On time week by week, " + AccountName(account), kHeight);
  drawing.Shares({0, 50, 100});
  const double days = static_cast<double>(*last - *first) + 7;
  const auto place = [&](Day day) {
    return kLeft + (static_cast<double>(day - *first) + 3.5) / days * (kRight - kLeft);
  };
  const double bar = std::max(1.0, 3 / days * (kRight - kLeft));
  std::string line, dots;
  Day previous = *first - 14;
  for (const v1::Week* week : weeks) {
    const v1::CountedShare& share = week->on_time();
    const Day monday = std::max(*DayAt(week->first_date()), *first);
    const double x = place(monday);
    drawing.Bar("limits", x - bar / 2, Drawing::Height(share.high()), bar,
                Drawing::Height(share.low()) - Drawing::Height(share.high()));
    const std::string at = At(x, Drawing::Height(share.observed()));
    absl::StrAppend(&line, monday - previous > 7 ? "M" : "L", at);
    absl::StrAppend(&dots, "M", at, "h0");
    previous = monday;
  }
  drawing.Path("line", line);
  drawing.Path("dots", dots);
  std::string legend = "dot: share on time; bar: 95 % limits", alerts;
  for (const v1::AlertMark& alert : account.alerts()) {
    absl::StrAppend(&alerts, "; alert: ", AlertMarkText(alert));
    const std::optional<Day> day = DayAt(alert.open_date());
    if (!day || *day < *first || *day > *last) continue;
    const double x = place(*day) - 3.5 / days * (kRight - kLeft);
    drawing.Line("alert", x, kTop, x, kBottom);
    drawing.Path("alert-flag", absl::StrFormat("M%sh9l-4.5 8z", At(x - 4.5, kTop - 8)));
    legend = "dot: share on time; bar: 95 % limits; flag: an alert was raised";
  }
  drawing.Word(kLeft, kHeight - 4, "start", period.first_date());
  drawing.Word(kRight, kHeight - 4, "end", period.last_date());
  return drawing.Take(WeeksInWords(weeks) + alerts, legend);
}

std::optional<View> TransitPicture(const v1::Account& account, const std::string& id) {
  const auto& now = account.transit_curve();
  const auto& before = account.transit_curve_before();
  if (now.empty() && before.empty()) return std::nullopt;
  double longest = 1;
  for (const auto* curve : {&now, &before}) {
    if (!curve->empty()) longest = std::max(longest, curve->rbegin()->days());
  }
  const double last = std::ceil(longest / 5) * 5, per_day = (kRight - kLeft) / last;
  Drawing drawing(id, "Days from shipping to arrival, " + AccountName(account), kHeight);
  drawing.Shares({0, 50, 90});
  if (!before.empty()) drawing.Path("line-before", StepPath(before, per_day));
  if (!now.empty()) drawing.Path("line", StepPath(now, per_day));
  const int step = last > 40 ? 20 : last > 10 ? 5 : 1;
  for (int day = 0; day <= last; day += step) {
    const double at = kLeft + day * per_day;
    drawing.Line("grid", at, kBottom, at, kBottom + 3);
    drawing.Word(at, kHeight - 4, "middle", absl::StrCat(day));
  }
  return drawing.Take(absl::StrCat(CurveInWords("this period", now), "; ",
                                   CurveInWords("the period before", before)),
                      absl::StrCat("share arrived, by days after shipping",
                                   now.empty() ? "" : "; solid: this period",
                                   before.empty() ? "" : "; dashed: the one before"));
}

std::optional<View> KindsPicture(const v1::Account& account, const std::string& id) {
  std::vector<NamedBar> bars;
  const auto bar_of = [&](v1::Reason kind) -> NamedBar& {
    const std::string name = DefectText(kind);
    for (NamedBar& bar : bars) {
      if (bar.name == name) return bar;
    }
    bars.push_back({name, "0", "", 0, 0});
    return bars.back();
  };
  for (const v1::DefectCount& kind : account.period().defect_kinds()) {
    NamedBar& bar = bar_of(kind.kind());
    bar.size = static_cast<double>(kind.count());
    bar.value = Thousands(kind.count());
  }
  for (const v1::DefectCount& kind : account.before().defect_kinds()) {
    NamedBar& bar = bar_of(kind.kind());
    bar.size_before = static_cast<double>(kind.count());
    bar.value_before = Thousands(kind.count());
  }
  if (bars.empty()) return std::nullopt;
  std::stable_sort(bars.begin(), bars.end(),
                   [](const NamedBar& x, const NamedBar& y) { return x.size > y.size; });
  const bool any_before = account.before().defect_kinds_size() > 0;
  return BarsPicture(id, "Kinds of defects, " + AccountName(account), bars,
                     any_before ? "orders; thin: the period before" : "orders");
}

std::optional<View> CostsPicture(const v1::Account& account, const std::string& currency,
                                 const std::string& id) {
  if (!account.has_cost_parts() || currency.empty()) return std::nullopt;
  const v1::CostParts& parts = account.cost_parts();
  const std::pair<const char*, double> all[] = {{"late", parts.late()},
                                                {"each day late", parts.days_late()},
                                                {"bad goods", parts.defects()},
                                                {"lost", parts.lost()},
                                                {"waiting for answers", parts.unanswered()}};
  std::vector<NamedBar> bars;
  for (const auto& [name, amount] : all) {
    if (amount > 0) {
      bars.push_back({name, absl::StrCat(AmountText(amount, currency), " ", currency), "", amount});
    }
  }
  if (bars.empty()) return std::nullopt;
  std::string legend = "by your cost settings";
  if (parts.unknown_count() > 0) {
    absl::StrAppend(&legend, "; left out: ", Counted(parts.unknown_count(), "order"),
                    " whose sale or cost is not known");
  }
  return BarsPicture(id, "What went wrong cost, " + AccountName(account), bars, legend);
}

}  // namespace plumblane::client
