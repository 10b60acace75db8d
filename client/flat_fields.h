// One field of an event file: its check, and where its value goes. Private to flat_event.cc.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "client/flat_event.h"

namespace plumblane::client {

// Amounts as written; they wait for the currency, which may stand after them.
struct Amounts {
  std::optional<Cell> cost, sale, claim, refund;
  std::string currency;
};

using SetField = std::optional<Complaint> (*)(const Cell& cell, Draft& draft, Amounts& amounts);

// Null for a name that is not in the vocabulary.
SetField SetterOf(std::string_view name);

// "BAD_VALUE: <expected>, not <what was written>".
Complaint BadValue(const Cell& cell, const std::string& expected);

}  // namespace plumblane::client
