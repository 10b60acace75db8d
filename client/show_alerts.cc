#include "client/show_alerts.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_format.h>
#include <absl/strings/str_join.h>

#include <algorithm>
#include <cmath>
#include <utility>
#include <vector>

#include "client/noted_table.h"
#include "client/show.h"
#include "client/text.h"

namespace plumblane::client {
namespace {

using Align = Table::Align;

constexpr char kNone[] = "-";
constexpr int kMostContributors = 3;

bool IsPool(const v1::Lane& lane) { return lane.origin().empty() || lane.destination().empty(); }

// "lotus-works", "VN-DE", "slow lanes to DE", "lotus-works on VN-DE".
std::string SubjectText(const v1::Watched& watched) {
  if (!watched.has_lane()) return watched.supplier_id();
  const v1::Lane& lane = watched.lane();
  std::string where = LaneText(lane);
  if (IsPool(lane)) {
    where = lane.origin().empty() ? "slow lanes to " + lane.destination()
                                  : "slow lanes from " + lane.origin();
  }
  return watched.supplier_id().empty() ? where : watched.supplier_id() + " on " + where;
}

std::string PooledText(const v1::Watched& watched) {
  return absl::StrJoin(watched.pooled_lanes(), ", ",
                       [](std::string* out, const v1::Lane& lane) { out->append(LaneText(lane)); });
}

// ---- alerts -----------------------------------------------------------------------------------

std::string On(const std::string& date) { return date.empty() ? "" : " on " + date; }

std::string SinceText(const v1::Alert& alert) {
  const std::string raised = absl::StrCat("raised", On(alert.open_date()));
  if (alert.change_date().empty()) return raised;
  return absl::StrCat("about ", alert.change_date(), "; ", raised);
}

// "41 since then, 9 of them late".
std::string OrdersText(const v1::Alert& alert, const std::string& hit) {
  return absl::StrCat(Thousands(alert.order_count()), " since then, ", Thousands(alert.hit_count()),
                      " of them ", hit);
}

// "4.2 % before, 22 % (11-36) since".
std::string RatesText(const v1::Alert& alert) {
  std::string text = Percent(alert.rate_before()) + " before";
  if (alert.order_count() == 0) return text;
  return absl::StrCat(text, ", ", Percent(alert.rate_since()), " (",
                      PercentNumber(alert.rate_since_low()), "-",
                      PercentNumber(alert.rate_since_high()), ") since");
}

// "67 % of them: lotus-works, VN-DE/express, 6 of its 14 orders".
std::string ContributorText(const v1::Contributor& one, const std::string& hit) {
  std::vector<std::string> who;
  if (!one.supplier_id().empty()) who.push_back(one.supplier_id());
  if (one.has_lane()) who.push_back(LaneText(one.lane()));
  return absl::StrCat(absl::StrJoin(who, ", "), ": ", Percent(one.share()), " of these, ",
                      Thousands(one.hit_count()), " of ", Counted(one.order_count(), "order"),
                      hit.empty() ? "" : " " + hit);
}

std::string WhoText(const v1::Alert& alert, const std::string& hit) {
  std::string text;
  const int told = std::min(kMostContributors, alert.contributors_size());
  for (int i = 0; i < told; ++i) {
    absl::StrAppend(&text, i == 0 ? "" : "; ", ContributorText(alert.contributors(i), hit));
  }
  if (alert.contributors_size() == told) return text;
  return absl::StrCat(text, "; and ", Counted(alert.contributors_size() - told, "other"));
}

std::string AlertText(const v1::Alert& alert, int width) {
  std::string text = Wrapped(absl::StrCat(SubjectText(alert.watched()), ", ", AlertStateText(alert),
                                          ", alert ", alert.alert_id()),
                             width);
  absl::StrAppend(&text, "  ", Wrapped(alert.sentence(), width - 2, 2));
  const auto fact = [&](const std::string& label, const std::string& value) {
    if (!value.empty()) text += DetailLine(label, value, /*label_width=*/9, width);
  };
  const std::string hit = HitText(alert.watched().measure());
  fact("since", SinceText(alert));
  if (!hit.empty()) {
    fact("orders", OrdersText(alert, hit));
    fact("rate", RatesText(alert));
  }
  fact("who", WhoText(alert, hit));
  fact("lanes", PooledText(alert.watched()));
  fact("shared", alert.shared_cause());
  fact("advice", alert.advice());
  fact("note", alert.note());
  fact("revised", alert.revision());
  if (alert.quiet()) fact("quiet", "of the time that was sent as history; sent nowhere");
  return text;
}

// "2 active, 1 acknowledged".
std::string StatesText(const v1::ListAlertsResponse& answer) {
  const std::pair<v1::Alert::State, const char*> words[] = {
      {v1::Alert::STATE_ACTIVE, "active"},
      {v1::Alert::STATE_ACKNOWLEDGED, "acknowledged"},
      {v1::Alert::STATE_SHELVED, "shelved"},
      {v1::Alert::STATE_RETURNED_TO_NORMAL, "returned to normal"},
      {v1::Alert::STATE_ACCEPTED, "accepted as normal"},
      {v1::Alert::STATE_REVISED_AWAY, "revised away"}};
  std::vector<std::string> parts;
  for (const auto& [state, word] : words) {
    const auto count =
        std::count_if(answer.alerts().begin(), answer.alerts().end(),
                      [state = state](const v1::Alert& alert) { return alert.state() == state; });
    if (count > 0) parts.push_back(absl::StrCat(Thousands(count), " ", word));
  }
  return Listed(parts);
}

// ---- watches ----------------------------------------------------------------------------------

std::string MeasureText(const std::string& measure) {
  const std::string hit = HitText(measure);
  return hit.empty() ? measure : hit;
}

std::string WatchNote(const v1::Watch& watch) {
  std::vector<std::string> parts;
  if (const std::string lanes = PooledText(watch.watched()); !lanes.empty()) {
    parts.push_back(lanes);
  }
  if (watch.idle()) parts.push_back("not watched: " + watch.reason());
  if (watch.warning()) parts.push_back("evidence is building");
  return absl::StrJoin(parts, "; ");
}

std::string Figure(double value) {
  return value < 9.95 ? absl::StrFormat("%.1f", value) : Thousands(std::llround(value));
}

void AddRow(const v1::Watch& watch, NotedTable& table) {
  std::vector<std::string> row = {SubjectText(watch.watched()),
                                  MeasureText(watch.watched().measure())};
  // No rate, no worsening of it: one report, or a silence, is enough.
  if (watch.idle() || HitText(watch.watched().measure()).empty()) {
    row.insert(row.end(), 4, kNone);
  } else {
    row.insert(row.end(), {PercentNumber(watch.normal_rate()), Figure(watch.yearly_orders()),
                           Figure(watch.days_to_hear()),
                           absl::StrFormat("%.2f", watch.false_alarms_a_year())});
  }
  table.Add(std::move(row), WatchNote(watch));
}

// "3 times the odds".
std::string Worsening(const v1::ListWatchesResponse& answer) {
  return absl::StrFormat("%g times the odds", answer.odds_ratio());
}

std::string LegendOf(const v1::ListWatchesResponse& answer) {
  return absl::StrCat(
      "normal: orders that are so as a rule; heard after: days until ", Worsening(answer),
      " would be heard, on average; false: alarms a year though nothing changed; -: no figure.");
}

std::string NameOf(v1::AlertNotice::Kind kind) {
  switch (kind) {
    case v1::AlertNotice::KIND_RAISED:
      return "raised";
    case v1::AlertNotice::KIND_REVISED:
      return "revised";
    case v1::AlertNotice::KIND_RETURNED_TO_NORMAL:
      return "returned to normal";
    case v1::AlertNotice::KIND_ACKNOWLEDGED:
      return "acknowledged";
    case v1::AlertNotice::KIND_SHELVED:
      return "shelved";
    case v1::AlertNotice::KIND_ACCEPTED:
      return "accepted as normal";
    case v1::AlertNotice::KIND_ACTIVE_AGAIN:
      return "active again";
    default:
      return "changed";
  }
}

}  // namespace

std::string AlertStateText(const v1::Alert& alert) {
  switch (alert.state()) {
    case v1::Alert::STATE_ACTIVE:
      return "active since " + alert.open_date();
    case v1::Alert::STATE_ACKNOWLEDGED:
      return "acknowledged";
    case v1::Alert::STATE_SHELVED:
      return "shelved until " + alert.shelved_until_date();
    case v1::Alert::STATE_RETURNED_TO_NORMAL:
      return "returned to normal" + On(alert.close_date());
    case v1::Alert::STATE_ACCEPTED:
      return "accepted as normal" + On(alert.close_date());
    case v1::Alert::STATE_REVISED_AWAY:
      return "revised away" + On(alert.close_date());
    default:
      return "in a state that this version does not know";
  }
}

std::string ShowAlerts(const v1::ListAlertsResponse& answer, bool with_closed, int width) {
  if (answer.alerts().empty()) return with_closed ? "no alerts yet\n" : "no open alerts\n";
  std::string text;
  for (const v1::Alert& alert : answer.alerts()) {
    absl::StrAppend(&text, AlertText(alert, width), "\n");
  }
  return text +
         Wrapped(absl::StrCat(Counted(answer.alerts_size(), "alert"), ": ", StatesText(answer)),
                 width);
}

std::string NoticeLine(const v1::AlertNotice& notice) {
  return absl::StrCat(notice.cursor(), " ", TimeText(notice.notice_time()), " ",
                      NameOf(notice.kind()), " ", notice.alert().alert_id(), ": ",
                      notice.alert().sentence(), notice.alert().quiet() ? " (quiet)" : "", "\n");
}

std::string ShowHeardOfLanes(const v1::ListWatchesResponse& answer, int width) {
  std::vector<std::string> heard, idle;
  for (const v1::Watch& watch : answer.watches()) {
    const v1::Watched& watched = watch.watched();
    if (!watched.has_lane() || !watched.supplier_id().empty()) continue;
    if (watched.measure() != "on_time") continue;
    const std::string name = SubjectText(watched);
    if (watch.idle()) {
      idle.push_back(name);
    } else {
      heard.push_back(absl::StrCat(name, " ", Figure(watch.days_to_hear())));
    }
  }
  std::string text;
  if (!heard.empty()) {
    text =
        Wrapped(absl::StrCat(Worsening(answer),
                             " of a late order would be heard of, on average, after these days: ",
                             absl::StrJoin(heard, ", "), "."),
                width);
  }
  if (!idle.empty()) {
    text += Wrapped(absl::StrCat("Not watched (plumblane alerts watches says why): ",
                                 absl::StrJoin(idle, ", "), "."),
                    width);
  }
  return text;
}

std::string ShowWatches(const v1::ListWatchesResponse& answer, int width) {
  if (answer.watches().empty()) return "nothing is watched yet\n";
  NotedTable table({{"\nwatched"},
                    {"\nfor"},
                    {"normal\n%", Align::kRight},
                    {"orders\na year", Align::kRight},
                    {"heard\nafter", Align::kRight},
                    {"false\na year", Align::kRight}});
  for (const v1::Watch& watch : answer.watches()) AddRow(watch, table);
  return absl::StrCat(table.Render(width), "\n", Wrapped(LegendOf(answer), width));
}

}  // namespace plumblane::client
