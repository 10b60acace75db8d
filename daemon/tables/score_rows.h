// A score as a row.
//
//   kind                supplier, lane or pair
//   supplier, origin, destination, service
//                       of a pair without service "-"; of a supplier or lane, which is the sum over
//                       services, ""
//   on_time, defect     the estimate, a share; its 95 % limits _low and _high; _observed without a
//                       prior; _weight the orders behind it, older ones in part
//   settled_orders, late_orders, judged_orders, defective_orders
//                       counts, each order whole
//   handling_, transit_, delivery_, response_
//                       median_days and p90_days
//   underway_orders, overdue_orders, excused_orders, faulty_orders
//   last_event, news, as_of, half_life_days, mode (current or average)
//
// Absent where there is no data, which is not 0. Pure and thread-safe.
#pragma once

#include <plumblane/v1/scores.pb.h>

#include "tables/table.h"

namespace plumblane {

TableRow ScoreRow(const v1::Score& score);

// A table of scores in this form, named "scores" in JSON.
TableWriter ScoreTable(TableForm form, const CsvStyle& style);

}  // namespace plumblane
