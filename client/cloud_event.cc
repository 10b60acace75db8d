#include "client/cloud_event.h"

#include <absl/strings/ascii.h>
#include <absl/strings/match.h>
#include <absl/strings/str_cat.h>
#include <absl/strings/str_replace.h>
#include <absl/strings/str_split.h>

#include <algorithm>
#include <string>
#include <string_view>

#include "client/flat_fields.h"
#include "client/words.h"

namespace plumblane::client {
namespace {

const Cell* Find(const std::vector<Cell>& cells, std::string_view name) {
  const auto found = std::find_if(cells.begin(), cells.end(),
                                  [&](const Cell& cell) { return cell.field == name; });
  return found == cells.end() ? nullptr : &*found;
}

bool IsJson(std::string_view media_type) {
  const std::string type = absl::AsciiStrToLower(absl::StripAsciiWhitespace(
      absl::string_view(media_type.data(), std::min(media_type.find(';'), media_type.size()))));
  return type == "application/json" || type == "text/json" || absl::EndsWith(type, "+json");
}

std::string SourceOf(std::string uri) {
  const size_t scheme = uri.find("://");
  if (scheme != std::string::npos) uri.erase(0, scheme + 3);
  while (!uri.empty() && uri.front() == '/') uri.erase(0, 1);
  while (!uri.empty() && uri.back() == '/') uri.pop_back();
  return absl::StrReplaceAll(uri, {{"/", ":"}});
}

bool IsVersion(std::string_view word) {
  return word.size() > 1 && word[0] == 'v' &&
         std::all_of(word.begin() + 1, word.end(), absl::ascii_isdigit);
}

std::string TypeOf(const std::string& type) {
  std::vector<std::string> words = absl::StrSplit(type, '.');
  if (words.size() > 1 && IsVersion(words.back())) words.pop_back();
  return TypeNamed(words.back()) ? words.back() : "";
}

}  // namespace

bool IsCloudEvent(const std::vector<Cell>& attributes) {
  return Find(attributes, "specversion") != nullptr;
}

std::optional<Complaint> OpenCloudEvent(const std::vector<Cell>& attributes,
                                        std::optional<std::vector<Cell>>& data) {
  const Cell& version = *Find(attributes, "specversion");
  if (version.value != "1.0" || version.kind != Cell::Kind::kText) {
    return BadValue(version, "expected the text \"1.0\"");
  }
  for (const char* const name : {"id", "source", "type"}) {
    const Cell* cell = Find(attributes, name);
    if (cell == nullptr) {
      return Complaint{"MISSING_FIELD", name, "every CloudEvent needs it, as a text"};
    }
    if (cell->kind != Cell::Kind::kText) return BadValue(*cell, "expected a text");
  }
  if (const Cell* binary = Find(attributes, "data_base64")) {
    return Complaint{"BAD_VALUE", binary->field, "expected the event as JSON, in `data`"};
  }
  if (const Cell* media = Find(attributes, "datacontenttype"); media && !IsJson(media->value)) {
    return BadValue(*media, "expected application/json");
  }
  if (!data) {
    return Complaint{"MISSING_FIELD", "data",
                     "expected the fields of the event, as one JSON object"};
  }
  const Cell& id = *Find(attributes, "id");
  if (const Cell* own = Find(*data, "event_id"); own == nullptr) {
    data->push_back({"event_id", id.value, Cell::Kind::kText});
  } else if (own->value != id.value) {
    return Complaint{"FIELD_CONFLICT", "event_id",
                     "the data and the `id` around it name different ids"};
  }
  if (!Find(*data, "source")) {
    const std::string source = SourceOf(Find(attributes, "source")->value);
    if (source.empty()) return BadValue(*Find(attributes, "source"), "expected a name in it");
    data->push_back({"source", source, Cell::Kind::kText});
  }
  if (!Find(*data, "type")) {
    const Cell& type = *Find(attributes, "type");
    const std::string word = TypeOf(type.value);
    if (word.empty()) {
      return BadValue(type,
                      "expected one that ends in paid, shipped, delivered, ..., or a `type` "
                      "in the data");
    }
    data->push_back({"type", word, Cell::Kind::kText});
  }
  if (const Cell* time = Find(attributes, "time"); time && !Find(*data, "time")) {
    data->push_back({"time", time->value, time->kind});
  }
  return std::nullopt;
}

}  // namespace plumblane::client
