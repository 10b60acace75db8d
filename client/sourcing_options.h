// What rank, assign and assignments were asked; a part of invocation.h.
#pragma once

#include <optional>
#include <string>

#include "base/ids.h"
#include "base/time.h"

namespace plumblane::client {

// An order that is to be given to somebody.
struct WantedOrder {
  std::string destination;
  std::string origin;                  // "" = any
  std::optional<std::string> service;  // absent = any
  std::string item;                    // "" = quotes for any item
  std::optional<int> units;            // absent = 1
  std::string shop;                    // "" = kDefaultShop
  std::string sale, currency;          // as given: both, and an amount, or neither
};

struct RankOptions {
  WantedOrder order;
  std::optional<int> limit;  // how many to tell; absent = the daemon's choice
};

struct AssignOptions {
  std::optional<OrderKey> one;  // either this one, as `order` says,
  WantedOrder order;
  std::string file;        // or all of this file, "-" is standard input
  std::string picks;       // where they go, "" = standard output
  std::string supplier;    // a choice of one's own ...
  std::string reason;      // ... and why
  std::string instead_of;  // the supplier that could not deliver
  bool dry_run = false;
};

struct AssignmentsOptions {
  std::string supplier;             // "" = all
  std::optional<Day> since, until;  // first and last day, UTC
};

}  // namespace plumblane::client
