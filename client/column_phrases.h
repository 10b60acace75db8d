// What columns of exports are called, in English, German, Swedish, Polish, Spanish and French. Data
// of column_guess.h.
#pragma once

#include <span>
#include <string_view>

#include "client/column_guess.h"

namespace plumblane::client {

struct ColumnPhrase {
  std::string_view words;  // as WordsOf gives them
  ColumnGuess::Kind kind;
  std::string_view word;
  std::string_view question = {};
};
std::span<const ColumnPhrase> ColumnPhrases();

// Words beside a phrase that change nothing.
std::span<const std::string_view> FillerWords();

}  // namespace plumblane::client
