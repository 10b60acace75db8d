// Which column of a table is what: of those whose name could mean a thing the one that says it best
// and holds what the thing needs, dates for a time, numbers for an amount. A column is one thing.
//
// Pure.
#pragma once

#include <cstdint>
#include <string_view>
#include <utility>
#include <vector>

#include "client/column_facts.h"
#include "client/column_guess.h"

namespace plumblane::client {

inline constexpr size_t kNoColumn = SIZE_MAX;

// Facts of an order and types of events in the order in which a map tells them.
inline constexpr std::string_view kOrderFacts[] = {
    "shop",    "order_id", "part",         "supplier", "origin", "destination",
    "service", "promise",  "promise_days", "item",     "units",  "cost",
    "sale",    "currency", "replaces",     "tracking"};
inline constexpr std::string_view kEventTypes[] = {"paid",     "shipped",  "delivered", "disputed",
                                                   "answered", "refunded", "cancelled"};

struct ChosenColumns {
  std::vector<size_t> facts;   // by kOrderFacts
  std::vector<size_t> events;  // by kEventTypes: the column of its time
  // The columns of reasons of disputes, refunds and cancellations.
  std::vector<std::pair<std::string_view, size_t>> reasons;
  size_t refund = kNoColumn, claim = kNoColumn, by = kNoColumn;
  size_t status = kNoColumn, status_time = kNoColumn;
  std::vector<bool> is_used;  // by column; those that may not be chosen are used

  size_t fact(std::string_view name) const;
  size_t event(std::string_view type) const;
  size_t reason(std::string_view type) const;
};

// `is_out`: columns that must not be chosen.
ChosenColumns ChooseColumns(const std::vector<ColumnGuess>& guesses,
                            const std::vector<ColumnFacts>& facts, std::vector<bool> is_out);

}  // namespace plumblane::client
