// Alerts that need no chart: one report of an unsafe or counterfeit item, and silence. Functions of
// the cells of one supplier, like those of charts; their orders and hits are what `facts` say, and
// their Plan is empty.
//
// Reports. The first report opens an alert on the day it was made (or on the promised day, when
// made before it). Later ones belong to it while each comes within kReportQuietDays of the one
// before; kReportQuietDays after the last it has returned to normal. Hits are the reports, orders
// those promised for the days that the reported ones were.
//
// Silence. A supplier is silent when orders of it are under way and nothing was heard of any for
// more whole days than its own pattern explains: more than the 99th percentile of the days between
// days with an event, of the 90 days up to the last one, and more than kLeastSilentDays. With fewer
// than kFewestGaps of these nothing is said. An alert opens on the first day that is too many, its
// change is the last day with an event, its hits are the silent days when it opens and its orders
// those under way; it has returned to normal on the next day with an event. Days with an event are
// those on which an order was paid, shipped, disputed or closed, to the precision of cells. Nothing
// is silence after `heard_through`: up to there the news of all feeds are in, and a feed that has
// stopped is the feed's matter.
//
// Our own. Pure and thread-safe.
#pragma once

#include <memory>
#include <span>
#include <vector>

#include "alerting/watch.h"
#include "scoring/score.h"

namespace plumblane {

inline constexpr int kReportQuietDays = 90;
inline constexpr int kLeastSilentDays = 3;
inline constexpr int kFewestGaps = 5;

// `kind`: kUnsafe or kCounterfeit.
std::vector<Alert> ReportAlerts(std::span<const std::shared_ptr<const MeasureSet>> cells, Code kind,
                                Day today);

// Ascending.
std::vector<Day> DaysWithEvents(std::span<const std::shared_ptr<const MeasureSet>> cells);

// `days` are those with events of the cells; later ones than `heard_through` are not heard of yet.
// O(days), and the cells only for what is silent.
std::vector<Alert> SilenceAlerts(std::span<const Day> days,
                                 std::span<const std::shared_ptr<const MeasureSet>> cells,
                                 Day heard_through);

}  // namespace plumblane
