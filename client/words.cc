#include "client/words.h"

#include <algorithm>
#include <cctype>

#include "client/text.h"

namespace plumblane::client {
namespace {

constexpr std::string_view kFields[] = {
    "event_id", "source", "shop",        "order_id", "part",     "type",         "time",
    "supplier", "origin", "destination", "service",  "promise",  "promise_days", "item",
    "units",    "cost",   "sale",        "currency", "replaces", "tracking",     "refund",
    "by",       "claim",  "reason",      "retracts", "revision"};

constexpr std::string_view kTypePrefix = "EVENT_TYPE_", kReasonPrefix = "REASON_";

// "WRONG_ITEM" of "REASON_WRONG_ITEM", in lower case.
std::string Word(std::string_view enum_name, std::string_view prefix) {
  std::string word(enum_name.substr(prefix.size()));
  for (char& c : word) c = static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
  return word;
}

std::string Plain(std::string_view text) {
  std::string plain;
  for (const char c : text) {
    if (c == '_' || c == '-' || c == ' ') continue;
    plain += static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
  }
  return plain;
}

// Insertions, deletions, replacements and swaps of neighbours that turn one into the other.
size_t Distance(const std::string& a, const std::string& b) {
  std::vector<std::vector<size_t>> d(a.size() + 1, std::vector<size_t>(b.size() + 1));
  for (size_t i = 0; i <= a.size(); ++i) {
    for (size_t j = 0; j <= b.size(); ++j) {
      if (i == 0 || j == 0) {
        d[i][j] = i + j;
        continue;
      }
      d[i][j] = std::min(
          {d[i - 1][j] + 1, d[i][j - 1] + 1, d[i - 1][j - 1] + (a[i - 1] == b[j - 1] ? 0 : 1)});
      if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1]) {
        d[i][j] = std::min(d[i][j], d[i - 2][j - 2] + 1);
      }
    }
  }
  return d[a.size()][b.size()];
}

// The words of an enum without gaps, in the order of its numbers from 1.
const std::vector<std::string>& AllTypes() {
  static const auto* const names = [] {
    auto* all = new std::vector<std::string>;
    for (int n = 1; v1::EventType_IsValid(n); ++n) {
      all->push_back(Word(v1::EventType_Name(n), kTypePrefix));
    }
    return all;
  }();
  return *names;
}

const std::vector<std::string>& AllReasons() {
  static const auto* const names = [] {
    auto* all = new std::vector<std::string>;
    for (int n = 1; v1::Reason_IsValid(n); ++n) {
      all->push_back(Word(v1::Reason_Name(n), kReasonPrefix));
    }
    return all;
  }();
  return *names;
}

template <typename Enum>
std::optional<Enum> NumberOf(const std::vector<std::string>& names, std::string_view word) {
  const auto it = std::find(names.begin(), names.end(), word);
  if (it == names.end()) return std::nullopt;
  return static_cast<Enum>(it - names.begin() + 1);
}

}  // namespace

std::span<const std::string_view> EventFields() { return kFields; }

std::string NameOf(v1::EventType type) {
  if (type == v1::EVENT_TYPE_UNSPECIFIED || !v1::EventType_IsValid(type)) return "";
  return Word(v1::EventType_Name(type), kTypePrefix);
}

std::string NameOf(v1::Reason reason) {
  if (reason == v1::REASON_UNSPECIFIED || !v1::Reason_IsValid(reason)) return "";
  return Word(v1::Reason_Name(reason), kReasonPrefix);
}

std::string DefectText(v1::Reason kind) {
  if (kind == v1::REASON_QUALITY) return "poor quality";
  std::string text = NameOf(kind);
  std::replace(text.begin(), text.end(), '_', ' ');
  return text.empty() ? "of another kind" : text;
}

std::vector<std::string> TypeNames() { return AllTypes(); }
std::vector<std::string> ReasonNames() { return AllReasons(); }

std::optional<v1::EventType> TypeNamed(std::string_view word) {
  return NumberOf<v1::EventType>(AllTypes(), word);
}

std::optional<v1::Reason> ReasonNamed(std::string_view word) {
  return NumberOf<v1::Reason>(AllReasons(), word);
}

std::string FileField(const std::string& api_field) {
  const std::pair<std::string_view, std::string_view> renamed[] = {{"event_time", "time"},
                                                                   {"promise_time", "promise"},
                                                                   {"revision_time", "revision"},
                                                                   {"unit_count", "units"},
                                                                   {"refund_side", "by"}};
  for (const auto& [api, file] : renamed) {
    if (api == api_field) return std::string(file);
  }
  const size_t dot = api_field.find('.');
  if (dot == std::string::npos) return api_field;
  return api_field.substr(dot) == ".currency_code" ? "currency" : api_field.substr(0, dot);
}

std::vector<std::string> Strings(std::span<const std::string_view> words) {
  return {words.begin(), words.end()};
}

std::string Nearest(std::string_view word, const std::vector<std::string>& known) {
  const std::string meant = Plain(word.substr(0, 64));
  std::string nearest;
  size_t best = meant.size() / 3 + 1;  // beyond this it is another word
  for (const std::string& candidate : known) {
    const size_t distance = Distance(meant, Plain(candidate));
    if (distance >= meant.size() || distance > best || (!nearest.empty() && distance == best)) {
      continue;
    }
    best = distance;
    nearest = candidate;
  }
  return nearest;
}

std::string DidYouMean(std::string_view word, const std::vector<std::string>& known) {
  const std::string nearest = Nearest(word, known);
  return nearest.empty() ? "" : ", did you mean " + Quoted(nearest) + "?";
}

}  // namespace plumblane::client
