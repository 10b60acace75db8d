// Orders under way and overdue, as of a moment: plain counts, no decay.
//
// An order is under way from its paid day until it is closed (delivered, cancelled, or refunded by
// the supplier) or given up as lost. Events of days up to the moment's `underway_limit` close an
// order; a loss is no event and holds only when its day is over by the horizon, because until then
// news of a delivery may still come in. An order lost and then closed by an event leaves at
// whichever holds.
//
// Pure and thread-safe. O(cohorts + outcomes), less where sums are kept (spans.h), which changes no
// answer; they serve either scope.
#pragma once

#include <cstdint>

#include "cohorts/cell.h"
#include "scoring/moment.h"
#include "scoring/spans.h"

namespace plumblane {

// From an underway series, anchored on the paid day: orders paid by the limit and not gone by then.
int64_t UnderwayCount(const Series& underway, Scope scope, const Moment& moment,
                      KeptSpans* kept = nullptr);

// From an overdue series, anchored on the promised day: those of them whose promised day is over by
// the horizon.
int64_t OverdueCount(const Series& overdue, Scope scope, const Moment& moment,
                     KeptSpans* kept = nullptr);

}  // namespace plumblane
