// What a column of somebody's export is, by its name: a fact of the order, the time of an event, an
// amount of one, a status; or something personal.
//
// Names are compared word by word, without regard to case, marks between words and "camelCase"; a
// name stands for the meaning whose longest phrase it is or holds (column_phrases.h).
//
// Some names leave open what matters most. They carry a question, and whoever writes a map asks it:
//  - "Paid", "Order date": by the customer, or by you to the supplier?
//  - "Shipped": a label made, or the first scan?
//  - "Delivery date": when it came, or when it was to come?
//
// Pure and thread-safe.
#pragma once

#include <string>
#include <string_view>

namespace plumblane::client {

struct ColumnGuess {
  enum class Kind { kNone, kFact, kEvent, kDetail, kStatus, kStatusTime, kLabel };
  Kind kind = Kind::kNone;
  std::string_view word;      // field or type of event files: "destination", "shipped", "refund"
  std::string_view question;  // "" = the name leaves nothing open
  int exactness = 0;          // of several columns for one thing the highest is meant
};

ColumnGuess GuessColumn(std::string_view name);

// "the name", "an e-mail address", "a phone number", "the address", "a birthday" of a person that a
// column with this name holds; "" = nothing personal.
std::string PersonalKind(std::string_view name);

// The words of a name, folded, one blank between them: "ship to country" of "ShipTo-Country".
std::string WordsOf(std::string_view name);

}  // namespace plumblane::client
