// What exports tell, as rows. Columns are listed at each; pure and thread-safe.
#pragma once

#include "plumblane/v1/exports.pb.h"
#include "plumblane/v1/sourcing.pb.h"
#include "tables/table.h"

namespace plumblane::client {

// An event in the words of event files, all fields in their order: what `send` takes. An amount in
// another currency than the others of its event has no place there and is left out.
TableRow EventRow(const v1::Event& event);
// It has amounts in more than one currency.
bool HasTwoCurrencies(const v1::Event& event);

// One row "entered", then one for each count: supplier, origin, destination, service ("-" = none),
// measure, date, excused, outcome, days, seconds, currency, closed_days, orders, amount. A sum of
// money has an amount in units of its currency, everything else a number of orders.
std::vector<TableRow> CohortRows(const v1::Cohort& cohort);

// shop, order_id, part, assigned, state (open, paid, paid_elsewhere), supplier, origin,
// destination, service, item, supplier_item, units, mode (lowest_cost, shared, chosen), trial,
// instead_of, dearer, expected_saving, currency, reason.
TableRow AssignmentRow(const v1::Assignment& assignment);

}  // namespace plumblane::client
