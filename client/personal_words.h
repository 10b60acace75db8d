// Which words in the name of a column stand for something personal, in English, German, Swedish,
// Polish, Spanish and French. Data of column_guess.h.
#pragma once

#include <span>
#include <string_view>

namespace plumblane::client {

struct PersonalWords {
  std::string_view words, kind;
};
// Whatever stands beside them.
std::span<const PersonalWords> PersonalColumns();

// Words for persons, and for names, whose columns are personal unless they speak of a thing: things
// that have names, and facts of an order that tell nothing of the customer.
std::span<const std::string_view> PersonWords();
std::span<const std::string_view> NameWords();
std::span<const std::string_view> ThingWords();

}  // namespace plumblane::client
