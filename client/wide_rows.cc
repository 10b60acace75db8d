#include "client/wide_rows.h"

#include <absl/strings/ascii.h>
#include <absl/strings/str_cat.h>
#include <absl/strings/str_format.h>

#include <algorithm>
#include <array>

#include "base/hash.h"
#include "client/text.h"
#include "client/words.h"

namespace plumblane::client {
namespace {

using Outcome = std::optional<Complaint>;

constexpr std::string_view kAmounts[] = {"cost", "sale", "refund", "claim"};
// What may stand around or between the digits of an amount: blanks, euro, pound, dollar signs.
constexpr std::string_view kDropped[] = {
    "\xC2\xA0", "\xE2\x80\xAF", "\xE2\x82\xAC", "\xC2\xA3", "$", " ", "'"};

bool IsAmount(std::string_view field) {
  return std::find(std::begin(kAmounts), std::end(kAmounts), field) != std::end(kAmounts);
}

bool LooksLikeMail(std::string_view text) {
  const size_t at = text.find('@');
  return at != std::string_view::npos && at > 0 && text.find('.', at + 2) < text.size() - 1;
}

const std::string* Find(const std::vector<Cell>& cells, std::string_view field) {
  for (const Cell& cell : cells) {
    if (cell.field == field) return &cell.value;
  }
  return nullptr;
}

// Does this fact of the order go with an event of this type, whether or not it carries the facts?
bool GoesAnywhere(std::string_view field, std::string_view type) {
  if (field == "shop" || field == "order_id" || field == "part") return true;
  return field == "tracking" && (type == "shipped" || type == "delivered");
}

// Its type is its last cell.
const std::string& TypeOf(const Row& event) { return event.cells.back().value; }

bool IsFact(std::string_view field) {
  return field != "shop" && field != "order_id" && field != "part" && field != "tracking" &&
         field != "currency";
}

}  // namespace

std::optional<std::string> PlainAmount(std::string_view text, char decimal) {
  std::string plain(text);
  for (const std::string_view dropped : kDropped) {
    for (size_t at; (at = plain.find(dropped)) != std::string::npos;) {
      plain.erase(at, dropped.size());
    }
  }
  const char group = decimal == ',' ? '.' : ',';
  const bool is_negative = plain.starts_with('-');
  std::string digits;
  size_t in_group = 0;
  bool has_group = false, has_point = false;
  for (size_t i = is_negative ? 1 : 0; i < plain.size(); ++i) {
    const char c = plain[i];
    const bool is_end = c == decimal || c == group;
    if (is_end && has_group && in_group != 3) return std::nullopt;
    if (c == decimal && !has_point) {
      has_point = true;
      digits += '.';
    } else if (c == group && !has_point && in_group > 0 && in_group <= 3) {
      has_group = true;
      in_group = 0;
    } else if (absl::ascii_isdigit(static_cast<unsigned char>(c))) {
      digits += c;
      if (!has_point) ++in_group;
    } else {
      return std::nullopt;
    }
  }
  if ((has_group && in_group != 3) || digits.empty() || digits == ".") return std::nullopt;
  if (digits.front() == '.') digits.insert(0, "0");
  if (digits.back() == '.') digits.pop_back();
  return (is_negative ? "-" : "") + digits;
}

absl::StatusOr<size_t> Columns::Find(const std::string& name) const {
  const auto it = std::find(names.begin(), names.end(), name);
  if (it != names.end()) return static_cast<size_t>(it - names.begin());
  return absl::InvalidArgumentError(
      absl::StrCat("the table has no column ", Quoted(name), DidYouMean(name, names)));
}

absl::StatusOr<WideRows::Field> WideRows::MakeField(const FieldRule& rule) {
  Field field;
  field.rule = &rule;
  field.is_amount = IsAmount(rule.field);
  if (!rule.words.empty()) field.words = &map_->words.at(rule.words);
  if (rule.column.empty()) return field;
  const absl::StatusOr<size_t> column = columns_.Find(rule.column);
  if (!column.ok()) {
    return absl::InvalidArgumentError(absl::StrCat("line ", rule.line, ": ", rule.field, ": ",
                                                   std::string(column.status().message())));
  }
  field.column = *column;
  if (rule.dates == DateForm::kDayFirst || rule.dates == DateForm::kMonthFirst) {
    field.either = notes_.either.size();
    notes_.either.push_back({rule.column, 0, 0});
  }
  return field;
}

absl::StatusOr<WideRows> WideRows::Make(const MapFile* map, Columns columns, Countries* countries,
                                        Instant revision) {
  WideRows rows;
  rows.map_ = map;
  rows.countries_ = countries;
  rows.columns_ = std::move(columns);
  rows.revision_ = FormatInstant(revision);
  if (!map->time_zone.empty()) {
    absl::TimeZone zone;
    if (!absl::LoadTimeZone(map->time_zone, &zone)) {
      return absl::InvalidArgumentError(absl::StrCat("time_zone: ", Quoted(map->time_zone),
                                                     " is no zone, such as Europe/Berlin"));
    }
    rows.zone_ = zone;
  }
  absl::Status status;
  const auto make = [&](const FieldRule& rule) {
    absl::StatusOr<Field> field = rows.MakeField(rule);
    if (!field.ok() && status.ok()) status = field.status();
    return field.ok() ? *std::move(field) : Field();
  };
  const auto find = [&](const std::string& name, int64_t line) {
    const absl::StatusOr<size_t> column = rows.columns_.Find(name);
    if (!column.ok() && status.ok()) {
      status =
          absl::InvalidArgumentError(absl::StrCat(line > 0 ? absl::StrCat("line ", line, ": ") : "",
                                                  std::string(column.status().message())));
    }
    return column.value_or(0);
  };
  for (const FieldRule& rule : map->order) rows.order_.push_back(make(rule));
  for (const EventRule& rule : map->events) {
    Event event{make(rule.type), make(rule.time), {}};
    for (const FieldRule& field : rule.fields) event.fields.push_back(make(field));
    rows.events_.push_back(std::move(event));
  }
  for (const std::string& name : map->key) rows.key_.push_back(find(name, 0));
  for (const SkipRule& skip : map->skips) {
    rows.skips_.emplace_back(find(skip.column, skip.line), &skip);
  }
  if (!status.ok()) return status;
  return rows;
}

Outcome WideRows::ReadDate(const Field& field, std::string_view cell, std::string& value) {
  const FieldRule& rule = *field.rule;
  const auto complain = [&](const std::string& why) {
    return Complaint{"BAD_DATE", rule.column, why};
  };
  const std::optional<WrittenTime> time = ReadTime(cell, *rule.dates);
  if (!time) {
    return complain(absl::StrCat("expected a date written ", std::string(NameOf(*rule.dates)),
                                 ", not ", Quoted(cell)));
  }
  if (NeedsZone(*time) && !zone_) {
    return complain("a clock time without an offset; name its `time_zone` under [file] in the map");
  }
  value = ToEventTime(*time, zone_.value_or(absl::UTCTimeZone()));
  if (field.either == SIZE_MAX) return std::nullopt;
  WideNotes::Either& either = notes_.either[field.either];
  ++either.dates;
  if (time->day > 12 || time->day == time->month) return std::nullopt;
  const DateForm other =
      rule.dates == DateForm::kDayFirst ? DateForm::kMonthFirst : DateForm::kDayFirst;
  if (ReadTime(cell, other)) ++either.could_be_either;
  return std::nullopt;
}

Outcome WideRows::Read(const Field& field, const WideRow& row, std::string& value) {
  const FieldRule& rule = *field.rule;
  if (field.column == SIZE_MAX) {
    value = rule.value;
    return std::nullopt;
  }
  const std::string& cell = row.cells[field.column];
  value.clear();
  if (cell.empty()) return std::nullopt;
  if (rule.dates) return ReadDate(field, cell, value);
  if (field.words != nullptr) {
    auto word = field.words->find(Folded(cell));
    if (word == field.words->end() && !rule.is_country) word = field.words->find("*");
    if (word != field.words->end()) {
      value = word->second;
      return std::nullopt;
    }
    if (!rule.is_country) {
      return Complaint{"UNKNOWN_WORD", rule.column,
                       absl::StrCat(Quoted(cell), " is not in [words.", rule.words,
                                    "] of the map; add it, or \"*\" for all other words")};
    }
  }
  if (rule.is_country) {
    value = countries_->Find(cell);
    if (!value.empty()) return std::nullopt;
    return Complaint{"UNKNOWN_COUNTRY", rule.column,
                     absl::StrCat(Quoted(cell),
                                  " is no country known here; add it to a table of "
                                  "words in the map")};
  }
  if (field.is_amount) {
    std::optional<std::string> amount = PlainAmount(cell, map_->decimal);
    if (!amount) {
      return Complaint{"BAD_AMOUNT", rule.column,
                       absl::StrCat("expected an amount with a decimal \"",
                                    std::string(1, map_->decimal), "\", not ", Quoted(cell))};
    }
    value = *std::move(amount);
    if (rule.field == "refund" && value.starts_with('-')) value.erase(0, 1);
    return std::nullopt;
  }
  if (LooksLikeMail(cell)) {
    return Complaint{"PERSONAL", rule.column, "looks like an e-mail address, which is never sent"};
  }
  value = cell;
  return std::nullopt;
}

Outcome WideRows::ReadFacts(const WideRow& row, std::vector<Cell>& facts) {
  for (const Field& field : order_) {
    std::string value;
    if (Outcome bad = Read(field, row, value)) return bad;
    if (!value.empty()) facts.push_back({field.rule->field, std::move(value)});
  }
  return std::nullopt;
}

bool WideRows::IsSkipped(const WideRow& row) const {
  return std::any_of(skips_.begin(), skips_.end(), [&](const auto& skip) {
    const auto& words = skip.second->is;
    return std::find(words.begin(), words.end(), row.cells[skip.first]) != words.end();
  });
}

// True for a further row of the order above that does not count; numbers parts.
bool WideRows::IsFurther(std::vector<Cell>& facts) {
  const std::string* order_id = Find(facts, "order_id");
  if (order_id == nullptr || map_->repeated_order == RepeatedOrder::kEach) return false;
  std::string order = *order_id;
  for (const char* const field : {"shop", "part"}) {
    if (const std::string* value = Find(facts, field)) absl::StrAppend(&order, "/", *value);
  }
  const bool is_same = order == last_order_;
  last_order_ = std::move(order);
  last_part_ = is_same ? last_part_ + 1 : 1;
  if (!is_same) return false;
  if (map_->repeated_order == RepeatedOrder::kFirst) return true;
  facts.push_back({"part", absl::StrCat(last_part_)});
  return false;
}

Outcome WideRows::ReadOne(const Event& event, const WideRow& row, const std::vector<Cell>& facts,
                          std::optional<Row>& to) {
  std::string type, time;
  if (Outcome bad = Read(event.type, row, type)) return bad;
  if (type.empty()) return std::nullopt;
  if (Outcome bad = Read(event.time, row, time)) return bad;
  if (time.empty()) return std::nullopt;

  StableHash hash;
  const auto add = [&hash](std::string_view text) {
    hash.Number(text.size());
    hash.Text(text);
  };
  for (const char* const field : {"order_id", "part", "tracking"}) {
    const std::string* value = Find(facts, field);
    const bool counts = field != std::string_view("tracking") || !Find(facts, "order_id");
    add(value != nullptr && counts ? *value : "");
  }
  add(type);
  add(event.time.rule->column);
  for (const size_t column : key_) add(row.cells[column]);

  Row made{row.line, row.text, {}};
  made.cells.reserve(facts.size() + 8);
  made.cells.push_back(
      {"event_id", absl::StrCat(type, "-", absl::Hex(hash.value(), absl::kZeroPad16))});
  made.cells.push_back({"source", map_->source});
  if (!map_->shop.empty() && !Find(facts, "shop")) made.cells.push_back({"shop", map_->shop});
  bool has_amount = false;
  for (const Field& field : event.fields) {
    std::string value;
    if (Outcome bad = Read(field, row, value)) return bad;
    if (field.rule->field == "refund" && value.find_first_not_of("0.") == std::string::npos) {
      return std::nullopt;
    }
    has_amount = has_amount || (field.is_amount && !value.empty());
    if (!value.empty()) made.cells.push_back({field.rule->field, std::move(value)});
  }
  for (const Cell& fact : facts) {
    const bool is_needed = fact.field == "currency" && has_amount;
    if ((GoesAnywhere(fact.field, type) || is_needed) && !Find(made.cells, fact.field)) {
      made.cells.push_back(fact);
    }
  }
  made.cells.push_back({"revision", revision_});
  made.cells.push_back({"time", std::move(time)});
  made.cells.push_back({"type", std::move(type)});
  to = std::move(made);
  return std::nullopt;
}

Outcome WideRows::Take(const WideRow& row, std::vector<Row>& to) {
  ++notes_.rows;
  if (IsSkipped(row)) {
    ++notes_.skipped;
    return std::nullopt;
  }
  std::vector<Cell> facts;
  if (Outcome bad = ReadFacts(row, facts)) return bad;
  if (IsFurther(facts)) {
    ++notes_.further;
    return std::nullopt;
  }
  std::vector<Row> made;
  size_t teller = 0;  // of the facts
  for (const Event& event : events_) {
    std::optional<Row> one;
    if (Outcome bad = ReadOne(event, row, facts, one)) return bad;
    if (!one) continue;
    const bool is_better =
        !made.empty() && TypeOf(*one) == "paid" && TypeOf(made[teller]) != "paid";
    if (is_better) teller = made.size();
    made.push_back(*std::move(one));
  }
  if (made.empty()) {
    if (++notes_.without_event == 1) notes_.first_without_event = row.line;
    return std::nullopt;
  }
  std::vector<Cell>& cells = made[teller].cells;
  const bool is_paid = TypeOf(made[teller]) == "paid";
  bool has_amount = false;
  for (const Cell& fact : facts) {
    const bool is_of_paid = fact.field == "promise_days";
    if (!IsFact(fact.field) || (is_of_paid && !is_paid) || Find(cells, fact.field)) continue;
    has_amount = has_amount || IsAmount(fact.field);
    cells.push_back(fact);
  }
  const std::string* currency = Find(facts, "currency");
  if (has_amount && currency != nullptr && !Find(cells, "currency")) {
    cells.push_back({"currency", *currency});
  }
  for (Row& one : made) to.push_back(std::move(one));
  return std::nullopt;
}

}  // namespace plumblane::client
