#include "client/proposed_words.h"

#include <absl/strings/ascii.h>
#include <absl/strings/str_cat.h>

#include <algorithm>
#include <iterator>
#include <optional>

#include "base/lane.h"
#include "client/column_guess.h"
#include "client/map_file.h"
#include "client/words.h"

namespace plumblane::client {
namespace {

struct Meaning {
  std::string_view words, ours;
};
constexpr Meaning kReasons[] = {{"broken", "damaged"},
                                {"defective", "quality"},
                                {"defect", "quality"},
                                {"not arrived", "not_received"},
                                {"never arrived", "not_received"},
                                {"missing", "missing_part"},
                                {"wrong product", "wrong_item"},
                                {"not as described", "quality"},
                                {"no longer wanted", "changed_mind"},
                                {"sold out", "out_of_stock"},
                                {"delayed", "late"},
                                {"too late", "late"},
                                {"return to sender", "refused"},
                                {"fake", "counterfeit"}};
// The states between label and delivery are no first scan, so they are asked for.
constexpr Meaning kTypes[] = {{"delivered", "delivered"},
                              {"zugestellt", "delivered"},
                              {"cancelled", "cancelled"},
                              {"canceled", "cancelled"},
                              {"storniert", "cancelled"},
                              {"levererad", "delivered"},
                              {"dostarczono", "delivered"},
                              {"entregado", "delivered"},
                              {"livr\xC3\xA9", "delivered"},
                              {"avbest\xC3\xA4lld", "cancelled"},
                              {"anulowano", "cancelled"},
                              {"cancelado", "cancelled"},
                              {"annul\xC3\xA9", "cancelled"},
                              {"label created", ""},
                              {"pending", ""},
                              {"open", ""},
                              {"processing", ""},
                              {"unpaid", ""}};

std::optional<std::string> Find(std::span<const Meaning> all, const std::string& words) {
  for (const Meaning& meaning : all) {
    if (meaning.words == words) return std::string(meaning.ours);
  }
  return std::nullopt;
}

// What a service may be called: "dhl-express" of "DHL Express".
std::string ServiceOf(const std::string& word) {
  std::string service;
  for (const char c : word) {
    const auto byte = static_cast<unsigned char>(c);
    if (absl::ascii_isalnum(byte)) {
      service += static_cast<char>(absl::ascii_tolower(byte));
    } else if (!service.empty() && service.back() != '-') {
      service += '-';
    }
  }
  service = service.substr(0, 32);
  while (service.ends_with('-')) service.pop_back();
  return service;
}

// Ours for their word; none = it cannot be told.
std::optional<std::string> OursFor(const std::string& word, std::string_view field,
                                   Countries& countries) {
  const std::string plain = WordsOf(word);
  if (field == "service")
    return ServiceOf(word).empty() ? std::nullopt : std::optional(ServiceOf(word));
  if (field == "by") {
    if (plain == "supplier" || plain == "shop") return plain;
    return std::nullopt;
  }
  if (field == "type") return Find(kTypes, plain);
  if (field == "reason") {
    if (auto ours = Find(kReasons, plain)) return ours;
    const std::string near = Nearest(word, ReasonNames());
    return near.empty() ? std::nullopt : std::optional(near);
  }
  const std::string country = countries.Find(word);
  return country.empty() ? std::nullopt : std::optional(country);
}

// Does the word do as it is?
bool IsOurs(const std::string& word, std::string_view field) {
  if (field == "service") {
    const auto service = ParseService(word);
    return service.ok() && *service == word;
  }
  if (field == "reason") return ReasonNamed(word).has_value();
  return field == "by" && (word == "supplier" || word == "shop");
}

ProposedWords ProposeCountries(const ColumnFacts& facts, Countries& countries) {
  ProposedWords proposed;
  size_t known = 0;
  for (const auto& [word, count] : facts.words()) known += !countries.Find(word).empty();
  // Mostly something else: ends of lanes by codes of one's own.
  if (2 * known < facts.words().size()) return proposed;
  proposed.is_country = true;
  for (const auto& [word, count] : facts.words()) {
    if (!countries.Find(word).empty()) continue;
    absl::StrAppend(&proposed.table, TomlText(word), " = \"?\"   # which country?\n");
    ++proposed.questions;
  }
  return proposed;
}

}  // namespace

ProposedWords ProposeWords(const ColumnFacts& facts, std::string_view field, Countries& countries) {
  if (field == "origin" || field == "destination") return ProposeCountries(facts, countries);
  ProposedWords proposed;
  const bool all_ours = std::all_of(facts.words().begin(), facts.words().end(),
                                    [&](const auto& word) { return IsOurs(word.first, field); });
  if (all_ours && !facts.has_more_words()) return proposed;
  for (const auto& [word, count] : facts.words()) {
    const std::optional<std::string> ours =
        IsOurs(word, field) ? std::optional(word) : OursFor(word, field, countries);
    absl::StrAppend(&proposed.table, TomlText(word), " = ", TomlText(ours.value_or("?")), "\n");
    proposed.questions += !ours;
  }
  if (facts.has_more_words()) {
    absl::StrAppend(&proposed.table,
                    "\"*\" = \"?\"   # there are more words than these: what do "
                    "others mean? \"\" = nothing\n");
    ++proposed.questions;
  }
  return proposed;
}

std::string WordTableName(const std::string& column) {
  std::string name = ServiceOf(column);
  return name.empty() ? "words" : name;
}

}  // namespace plumblane::client
