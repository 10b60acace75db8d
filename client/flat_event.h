// From a row as it was written to an event of the API: every check that needs no daemon.
//
// Rules:
//  - A field that is not in the vocabulary is an error that names it: that also keeps customers'
//  data
//    out. A word that is not in its list is an error that says the list.
//  - `event_id`, `type`, `time` and `order_id` are required; a `delivered` may name `tracking`
//  instead
//    of the order. Tracking numbers are sent on with `shipped` only; a `delivered` that names both
//    is taken by its order.
//  - Fields that say nothing on an event of its type (the `reason` of a `paid`) are errors.
//  - Amounts are plain decimals in major units with a `currency`; from JSON, numbers are taken by
//    their digits as written. An id may be a whole number, never one with a point.
//  - Of `promise` and `promise_days` at most one. A `paid` with neither takes the sender's default.
//  - A bare date is kept as a date: where its day begins depends on the destination (resolver.h).
//
// Pure and thread-safe.
#pragma once

#include <cstdint>
#include <optional>
#include <string>

#include "base/time.h"
#include "client/row.h"
#include "plumblane/v1/event.pb.h"

namespace plumblane::client {

// What holds for events that do not say it themselves.
struct EventDefaults {
  std::string source = "default";
  std::string shop = "default";
  std::optional<int> promise_days;  // for `paid` without a promise
};

// An event on its way to the daemon.
struct Draft {
  int64_t line = 0;
  std::string text;                  // the line it came from
  v1::Event event;                   // everything but what is still open
  std::optional<Day> date;           // `time` was a bare date
  std::optional<Day> promise_date;   // `promise` was one
  std::optional<Day> revision_date;  // `revision` was one
  std::string find_by;               // no order named: the tracking number to find it by
  bool says_shop = false;            // the row itself names the shop
};

// Fills `draft`, or says what is wrong with the row and leaves `draft` in no certain state.
// REQUIRES: `draft` is new.
std::optional<Complaint> ReadEvent(const Row& row, const EventDefaults& defaults, Draft& draft);

// Checks a field's name: unknown field "x", did you mean "y"?
std::optional<Complaint> CheckFieldName(const std::string& name);

}  // namespace plumblane::client
