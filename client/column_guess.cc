#include "client/column_guess.h"

#include <absl/strings/ascii.h>

#include <algorithm>
#include <span>

#include "client/column_phrases.h"
#include "client/countries.h"
#include "client/personal_words.h"

namespace plumblane::client {
namespace {

// Do these words stand in that name, side by side?
bool Holds(std::string_view name, std::string_view words) {
  for (size_t at = name.find(words); at != std::string_view::npos; at = name.find(words, at + 1)) {
    const bool begins = at == 0 || name[at - 1] == ' ';
    const size_t end = at + words.size();
    if (begins && (end == name.size() || name[end] == ' ')) return true;
  }
  return false;
}

size_t CountWords(std::string_view text) {
  return text.empty() ? 0 : 1 + static_cast<size_t>(std::count(text.begin(), text.end(), ' '));
}

size_t CountFillers(std::string_view name, std::string_view phrase) {
  size_t count = 0;
  for (const std::string_view filler : FillerWords())
    count += Holds(name, filler) && !Holds(phrase, filler);
  return count;
}

}  // namespace

std::string WordsOf(std::string_view name) {
  std::string spaced;
  for (size_t i = 0; i < name.size(); ++i) {
    const auto c = static_cast<unsigned char>(name[i]);
    const bool is_letter = absl::ascii_isalnum(c) || c >= 0x80;
    const bool is_camel = i > 0 && absl::ascii_isupper(c) &&
                          absl::ascii_islower(static_cast<unsigned char>(name[i - 1]));
    if ((!is_letter || is_camel) && !spaced.empty() && spaced.back() != ' ') spaced += ' ';
    if (is_letter) spaced += name[i];
  }
  while (spaced.ends_with(' ')) spaced.pop_back();
  return Folded(spaced);
}

ColumnGuess GuessColumn(std::string_view name) {
  const std::string words = WordsOf(name);
  ColumnGuess best;
  for (const ColumnPhrase& phrase : ColumnPhrases()) {
    if (!Holds(words, phrase.words)) continue;
    const size_t length = CountWords(phrase.words);
    const size_t beside = CountWords(words) - length;
    const size_t fillers = std::min(beside, CountFillers(words, phrase.words));
    // A name that says more than the phrase probably means something else; fillers say nothing.
    const int exactness = static_cast<int>(100 * length) -
                          static_cast<int>(40 * (beside - fillers)) - static_cast<int>(fillers);
    if (exactness <= best.exactness) continue;
    best = {phrase.kind, phrase.word, phrase.question, exactness};
  }
  return best;
}

std::string PersonalKind(std::string_view name) {
  const std::string words = WordsOf(name);
  for (const PersonalWords& personal : PersonalColumns()) {
    if (Holds(words, personal.words)) return std::string(personal.kind);
  }
  const auto holds_any = [&](std::span<const std::string_view> all) {
    return std::any_of(all.begin(), all.end(),
                       [&](std::string_view one) { return Holds(words, one); });
  };
  const bool is_person = holds_any(PersonWords()), is_thing = holds_any(ThingWords());
  const bool is_name = holds_any(NameWords());
  return (is_person && (is_name || !is_thing)) || (is_name && !is_thing) ? "the name" : "";
}

}  // namespace plumblane::client
