#include "client/map_file.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_format.h>
#include <toml++/toml.h>

#include <algorithm>
#include <set>

#include "base/ids.h"
#include "client/column_guess.h"
#include "client/countries.h"
#include "client/text.h"
#include "client/toml_keys.h"
#include "client/words.h"

namespace plumblane::client {
namespace {

struct Delimiter {
  std::string_view name;
  char character;
};
constexpr Delimiter kDelimiters[] = {
    {"comma", ','}, {"semicolon", ';'}, {"tab", '\t'}, {"bar", '|'}};

constexpr std::string_view kTopKeys[] = {"source", "shop",  "file", "order",
                                         "event",  "words", "skip", "join"};
constexpr std::string_view kFileKeys[] = {"json",           "delimiter", "encoding", "line_end",
                                          "skip_lines",     "header",    "decimal",  "time_zone",
                                          "repeated_order", "key"};
constexpr std::string_view kSkipKeys[] = {"column", "is"};
constexpr std::string_view kJoinKeys[] = {"name",       "file",      "by",       "on",
                                          "json",       "delimiter", "encoding", "line_end",
                                          "skip_lines", "header"};
constexpr std::string_view kFieldKeys[] = {"column", "value", "form", "words"};
constexpr std::string_view kOrderKeys[] = {"shop",         "order_id",    "part",     "supplier",
                                           "origin",       "destination", "service",  "promise",
                                           "promise_days", "item",        "units",    "cost",
                                           "sale",         "currency",    "replaces", "tracking"};
constexpr std::string_view kEventKeys[] = {
    "type", "time", "reason",   "refund", "by",      "claim",        "tracking", "item",
    "cost", "sale", "currency", "units",  "promise", "promise_days", "replaces"};

constexpr char kUnsettled[] = "?";

class Reader {
 public:
  std::variant<MapFile, std::vector<Rejection>> Read(const toml::table& top) {
    FindUnsettled(top, "");
    if (wrong_.empty()) ReadTop(top);
    if (wrong_.empty()) CheckWords();
    if (wrong_.empty()) return std::move(map_);
    std::stable_sort(wrong_.begin(), wrong_.end(),
                     [](const Rejection& a, const Rejection& b) { return a.line < b.line; });
    return std::move(wrong_);
  }

 private:
  void Refuse(int64_t line, std::string_view field, std::string message) {
    wrong_.push_back({line, {"BAD_MAP", std::string(field), std::move(message)}, ""});
  }

  // All of them, before anything else is said.
  void FindUnsettled(const toml::node& node, std::string_view name) {
    if (const toml::table* table = node.as_table()) {
      for (const auto& [key, value] : *table) FindUnsettled(value, key.str());
    } else if (const toml::array* list = node.as_array()) {
      for (const toml::node& value : *list) FindUnsettled(value, name);
    } else if (node.value_or<std::string>("") == kUnsettled) {
      Refuse(LineOf(node), name, "is not settled; the comment above it asks what it should be");
    }
  }

  void CheckKeys(const toml::table& table, std::span<const std::string_view> known) {
    client::CheckKeys(table, known, [this](int64_t line, std::string_view key, std::string why) {
      Refuse(line, key, std::move(why));
    });
  }

  // The text under this key; "" where there is none.
  std::string Text(const toml::table& table, std::string_view name) {
    const toml::node* node = table.get(name);
    if (node == nullptr) return "";
    const auto text = node->value_exact<std::string>();
    if (!text) Refuse(LineOf(*node), name, "expected a text in quotes");
    return text.value_or("");
  }

  std::string NeededText(const toml::table& table, std::string_view name, const char* expected) {
    std::string text = Text(table, name);
    if (text.empty()) Refuse(LineOf(table), name, expected);
    return text;
  }

  std::vector<std::string> Texts(const toml::table& table, std::string_view name) {
    std::vector<std::string> texts;
    const toml::node* node = table.get(name);
    if (node == nullptr) return texts;
    const toml::array* list = node->as_array();
    if (list == nullptr) Refuse(LineOf(*node), name, "expected a list of texts: [\"...\"]");
    for (size_t i = 0; list != nullptr && i < list->size(); ++i) {
      const auto text = (*list)[i].value_exact<std::string>();
      if (!text) Refuse(LineOf((*list)[i]), name, "expected a text in quotes");
      texts.push_back(text.value_or(""));
    }
    return texts;
  }

  // Every table under [[name]], checked for its keys.
  std::vector<const toml::table*> Tables(const toml::table& top, std::string_view name,
                                         std::span<const std::string_view> known) {
    std::vector<const toml::table*> tables;
    const toml::node* node = top.get(name);
    if (node == nullptr) return tables;
    const toml::array* list = node->as_array();
    for (size_t i = 0; list != nullptr && i < list->size(); ++i) {
      if (const toml::table* table = (*list)[i].as_table()) tables.push_back(table);
    }
    if (list == nullptr || tables.size() != list->size()) {
      Refuse(LineOf(*node), name, absl::StrCat("expected [[", std::string(name), "]]"));
    }
    for (const toml::table* table : tables) CheckKeys(*table, known);
    return tables;
  }

  const toml::table* TableNamed(const toml::table& top, std::string_view name) {
    const toml::node* node = top.get(name);
    if (node != nullptr && !node->is_table()) {
      Refuse(LineOf(*node), name, absl::StrCat("expected [", std::string(name), "]"));
    }
    return node == nullptr ? nullptr : node->as_table();
  }

  void ReadForm(const toml::table& table, TableForm& form) {
    if (const std::string name = Text(table, "delimiter"); !name.empty()) {
      const auto it = std::find_if(std::begin(kDelimiters), std::end(kDelimiters),
                                   [&](const Delimiter& one) { return one.name == name; });
      if (it == std::end(kDelimiters)) {
        Refuse(LineOf(*table.get("delimiter")), "delimiter",
               "expected comma, semicolon, tab or bar, not " + Quoted(name));
      } else {
        form.delimiter = it->character;
      }
    }
    if (const std::string name = Text(table, "encoding"); !name.empty()) form.encoding = name;
    const std::string end = Text(table, "line_end");
    if (!end.empty() && end != "lf" && end != "cr") {
      Refuse(LineOf(*table.get("line_end")), "line_end", "expected lf or cr, not " + Quoted(end));
    }
    form.cr_ends_line = end == "cr";
    if (const toml::node* skip = table.get("skip_lines")) {
      const auto lines = skip->value_exact<int64_t>().value_or(-1);
      if (lines < 0 || lines > 1000) {
        Refuse(LineOf(*skip), "skip_lines", "expected a whole number from 0 to 1000");
      } else {
        form.skip_lines = static_cast<int>(lines);
      }
    }
    form.has_header = Truth(table, "header", true);
    form.is_json = Truth(table, "json", false);
  }

  bool Truth(const toml::table& table, std::string_view name, bool otherwise) {
    const toml::node* node = table.get(name);
    if (node == nullptr) return otherwise;
    if (!node->is_boolean()) Refuse(LineOf(*node), name, "expected true or false");
    return node->value_or(otherwise);
  }

  void ReadFile(const toml::table& table) {
    CheckKeys(table, kFileKeys);
    ReadForm(table, map_.form);
    const std::string decimal = Text(table, "decimal");
    if (!decimal.empty() && decimal != "." && decimal != ",") {
      Refuse(LineOf(*table.get("decimal")), "decimal", "expected \".\" or \",\"");
    }
    if (decimal == ",") map_.decimal = ',';
    map_.time_zone = Text(table, "time_zone");
    const std::string repeated = Text(table, "repeated_order");
    map_.key = Texts(table, "key");
    if (repeated == "parts") {
      map_.repeated_order = RepeatedOrder::kParts;
    } else if (repeated == "each") {
      map_.repeated_order = RepeatedOrder::kEach;
    } else if (!repeated.empty() && repeated != "first") {
      Refuse(LineOf(*table.get("repeated_order")), "repeated_order",
             "expected first, parts or each, not " + Quoted(repeated));
    }
    if (map_.key.empty() != (repeated != "each")) {
      Refuse(LineOf(table), "key",
             "`repeated_order` = \"each\" and `key` go together: the columns by which rows of one "
             "order differ");
    }
    for (const std::string& column : map_.key) CheckColumn(column, LineOf(table), "key");
  }

  void CheckColumn(const std::string& column, int64_t line, std::string_view field) {
    const std::string kind = PersonalKind(column);
    if (kind.empty()) return;
    Refuse(line, field,
           absl::StrCat("column ", Quoted(column), " looks like ", kind,
                        " of a person, which is never sent"));
  }

  FieldRule ReadField(std::string_view name, const toml::node& node) {
    FieldRule rule;
    rule.field = std::string(name);
    rule.line = LineOf(node);
    const toml::table* table = node.as_table();
    if (table == nullptr) {
      rule.column = node.value_exact<std::string>().value_or("");
      if (rule.column.empty()) {
        Refuse(rule.line, name,
               "expected the name of a column, { column = ... } or { value = ... }");
      }
    } else {
      CheckKeys(*table, kFieldKeys);
      rule.column = Text(*table, "column");
      rule.value = Text(*table, "value");
      rule.words = Text(*table, "words");
      if (rule.column.empty() == rule.value.empty()) {
        Refuse(rule.line, name, "expected one of `column` and `value`");
      }
      ReadFieldForm(Text(*table, "form"), rule);
    }
    CheckColumn(rule.column, rule.line, name);
    const bool is_time = name == "time" || name == "promise";
    if (is_time && !rule.column.empty() && !rule.dates) {
      Refuse(rule.line, name,
             "expected form = the order in which its dates are written: Y-M-D, D-M-Y, M-D-Y, "
             "seconds or milliseconds");
    }
    return rule;
  }

  void ReadFieldForm(const std::string& form, FieldRule& rule) {
    if (form.empty()) return;
    const bool is_time = rule.field == "time" || rule.field == "promise";
    const bool is_end = rule.field == "origin" || rule.field == "destination";
    rule.dates = is_time ? DateFormNamed(form) : std::nullopt;
    rule.is_country = is_end && form == "country";
    const bool is_amount = form == "amount" && !is_time && !is_end;
    if (rule.dates || rule.is_country || is_amount) return;
    Refuse(rule.line, rule.field,
           absl::StrCat("form: expected ",
                        is_time  ? "Y-M-D, D-M-Y, M-D-Y, seconds or milliseconds"
                        : is_end ? "country, or none"
                                 : "none",
                        ", not ", Quoted(form)));
  }

  void ReadEventRule(const toml::table& table) {
    EventRule rule;
    for (const auto& [key, node] : table) {
      if (key.str() == "type" && node.is_string()) {
        rule.type.field = "type";
        rule.type.value = node.value_or<std::string>("");
        rule.type.line = LineOf(node);
        CheckType(rule.type.value, rule.type.line);
      } else if (key.str() == "type") {
        rule.type = ReadField("type", node);
        if (!rule.type.column.empty() && rule.type.words.empty()) {
          Refuse(rule.type.line, "type", "a column of types needs words = the table of its words");
        }
      } else if (key.str() == "time") {
        rule.time = ReadField("time", node);
      } else {
        rule.fields.push_back(ReadField(key.str(), node));
      }
    }
    if (rule.type.line == 0) Refuse(LineOf(table), "type", "expected what happened, such as paid");
    if (rule.time.line == 0) Refuse(LineOf(table), "time", "expected the column of its time");
    map_.events.push_back(std::move(rule));
  }

  void CheckType(const std::string& type, int64_t line) {
    const auto named = TypeNamed(type);
    if (named && *named != v1::EVENT_TYPE_RETRACTED) return;
    std::vector<std::string> names = TypeNames();
    std::erase(names, "retracted");
    Refuse(line, "type", absl::StrCat("expected one of ", Listed(names), ", not ", Quoted(type)));
  }

  void ReadWords(const toml::table& table) {
    for (const auto& [key, node] : table) {
      const toml::table* words = node.as_table();
      if (words == nullptr) {
        Refuse(LineOf(node), key.str(), "expected a table of words: \"theirs\" = \"ours\"");
        continue;
      }
      WordTable& to = map_.words[std::string(key.str())];
      for (const auto& [theirs, ours] : *words) {
        const auto text = ours.value_exact<std::string>();
        if (!text) Refuse(LineOf(ours), theirs.str(), "expected a text in quotes");
        to[Folded(theirs.str())] = text.value_or("");
        lines_[{std::string(key.str()), Folded(theirs.str())}] = LineOf(ours);
      }
    }
  }

  void ReadTop(const toml::table& top) {
    CheckKeys(top, kTopKeys);
    map_.source = Text(top, "source");
    map_.shop = Text(top, "shop");
    if (map_.source.empty()) {
      Refuse(1, "source", "expected whose export this is, such as source = \"orders\"");
    } else if (const absl::Status status = CheckId(map_.source); !status.ok()) {
      Refuse(LineOf(*top.get("source")), "source", std::string(status.message()));
    }
    if (const toml::table* file = TableNamed(top, "file")) ReadFile(*file);
    if (const toml::table* order = TableNamed(top, "order")) {
      CheckKeys(*order, kOrderKeys);
      for (const auto& [key, node] : *order) map_.order.push_back(ReadField(key.str(), node));
    }
    for (const toml::table* table : Tables(top, "event", kEventKeys)) ReadEventRule(*table);
    if (map_.events.empty()) Refuse(1, "event", "expected at least one [[event]]");
    if (const toml::table* words = TableNamed(top, "words")) ReadWords(*words);
    for (const toml::table* table : Tables(top, "skip", kSkipKeys)) {
      map_.skips.push_back({NeededText(*table, "column", "expected the name of a column"),
                            Texts(*table, "is"), LineOf(*table)});
    }
    for (const toml::table* table : Tables(top, "join", kJoinKeys)) {
      JoinRule join;
      join.line = LineOf(*table);
      join.name = NeededText(*table, "name", "expected a name for its columns, such as lines");
      join.file = Text(*table, "file");
      join.by = NeededText(*table, "by", "expected the column of the first table");
      join.on = NeededText(*table, "on", "expected the column of the second table");
      ReadForm(*table, join.form);
      map_.joins.push_back(std::move(join));
    }
  }

  // Every table of words that is named is there, and types are types.
  void CheckWords() {
    const auto check = [this](const FieldRule& rule) {
      if (!rule.words.empty() && !map_.words.contains(rule.words)) {
        Refuse(rule.line, rule.field, absl::StrCat("there is no [words.", rule.words, "]"));
      }
    };
    for (const FieldRule& rule : map_.order) check(rule);
    for (const EventRule& event : map_.events) {
      check(event.type);
      for (const FieldRule& rule : event.fields) check(rule);
      const auto words = map_.words.find(event.type.words);
      if (event.type.words.empty() || words == map_.words.end()) continue;
      for (const auto& [theirs, ours] : words->second) {
        if (!ours.empty()) CheckType(ours, lines_[{event.type.words, theirs}]);
      }
    }
  }

  MapFile map_;
  std::map<std::pair<std::string, std::string>, int64_t> lines_;  // of words
  std::vector<Rejection> wrong_;
};

}  // namespace

std::variant<MapFile, std::vector<Rejection>> ReadMap(const std::string& text) {
  try {
    return Reader().Read(toml::parse(text));
  } catch (const toml::parse_error& error) {
    return std::vector<Rejection>{
        {static_cast<int64_t>(error.source().begin.line),
         {"NOT_TOML", "", "expected TOML: " + std::string(error.description())},
         ""}};
  }
}

std::string_view DelimiterName(char delimiter) {
  for (const Delimiter& one : kDelimiters) {
    if (one.character == delimiter) return one.name;
  }
  return "";
}

std::string TomlText(std::string_view text) {
  std::string quoted = "\"";
  for (const char c : text) {
    const auto byte = static_cast<unsigned char>(c);
    if (byte < 32 || byte == 127) {
      absl::StrAppendFormat(&quoted, "\\u%04X", byte);
      continue;
    }
    if (c == '"' || c == '\\') quoted += '\\';
    quoted += c;
  }
  return quoted + "\"";
}

}  // namespace plumblane::client
