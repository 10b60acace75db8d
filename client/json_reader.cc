#include "client/json_reader.h"

#include <absl/strings/str_cat.h>

#include <nlohmann/json.hpp>
#include <set>

#include "client/cloud_event.h"
#include "client/text.h"

namespace plumblane::client {
namespace {

using nlohmann::json;

class RowBuilder : public nlohmann::json_sax<json> {
 public:
  std::vector<Cell> cells;
  std::optional<std::vector<Cell>> data;  // the members of an object `data`
  Complaint complaint;
  bool is_object = false;

  bool null() override { return Take("", Cell::Kind::kText); }
  bool boolean(bool value) override { return Take(value ? "true" : "false", Cell::Kind::kOther); }
  bool number_integer(number_integer_t value) override {
    return Take(std::to_string(value), Cell::Kind::kInteger);
  }
  bool number_unsigned(number_unsigned_t value) override {
    return Take(std::to_string(value), Cell::Kind::kInteger);
  }
  bool number_float(number_float_t, const string_t& digits) override {
    return Take(digits, Cell::Kind::kDecimal);
  }
  bool string(string_t& value) override { return Take(std::move(value), Cell::Kind::kText); }
  bool binary(binary_t&) override { return false; }

  bool start_object(size_t) override {
    if (depth_++ == 0) return is_object = true;
    if (depth_ == 2) {
      Put("an object", Cell::Kind::kOther);
      in_data_ = name_ == "data";
      if (in_data_) data.emplace();
    } else if (depth_ == 3 && in_data_) {
      Put("an object", Cell::Kind::kOther);
    }
    return true;
  }
  bool end_object() override {
    if (depth_ == 2) in_data_ = false;
    return --depth_ >= 0;
  }
  bool start_array(size_t) override {
    if (depth_++ == 0) return Fail("NOT_JSON", "", "expected one {...}, not a list");
    if (depth_ == 2 || (depth_ == 3 && in_data_)) Put("a list", Cell::Kind::kOther);
    return true;
  }
  bool end_array() override { return --depth_ >= 0; }

  bool key(string_t& name) override {
    if (depth_ > (in_data_ ? 2 : 1)) return true;
    if (!(in_data_ ? names_in_data_ : names_).insert(name).second) {
      return Fail("FIELD_CONFLICT", name, "the field stands twice on this line");
    }
    name_ = name;
    return true;
  }

  bool parse_error(size_t position, const std::string& token,
                   const nlohmann::detail::exception&) override {
    const std::string near = token.empty() ? "" : absl::StrCat(", near ", Quoted(token));
    return Fail("NOT_JSON", "",
                absl::StrCat("expected one JSON object on one line; it goes wrong at "
                             "character ",
                             position, near));
  }

 private:
  bool Take(std::string value, Cell::Kind kind) {
    if (depth_ == 0) return Fail("NOT_JSON", "", "expected one {...}");
    if (depth_ == (in_data_ ? 2 : 1)) Put(std::move(value), kind);
    return true;
  }

  // An empty value is a value not stated.
  void Put(std::string value, Cell::Kind kind) {
    const bool is_inside = in_data_ && depth_ > 1;
    if (!value.empty()) (is_inside ? *data : cells).push_back({name_, std::move(value), kind});
  }

  bool Fail(std::string code, std::string field, std::string message) {
    complaint = {std::move(code), std::move(field), std::move(message)};
    return false;
  }

  int depth_ = 0;
  bool in_data_ = false;
  std::string name_;
  std::set<std::string> names_, names_in_data_;
};

}  // namespace

RowOrRejection ReadJsonRow(const Line& line) {
  const auto reject = [&](Complaint why) {
    return Rejection{line.number, std::move(why), line.text};
  };
  if (line.too_long) return reject({"LINE_TOO_LONG", "", "the line is longer than 1 MiB"});
  size_t bad_byte = 0;
  if (!IsUtf8(line.text, &bad_byte)) {
    return reject(
        {"NOT_UTF8", "", absl::StrCat("byte ", bad_byte, " of the line is no UTF-8 text")});
  }
  RowBuilder builder;
  if (!json::sax_parse(line.text, &builder) || !builder.is_object) {
    if (line.cut && builder.complaint.code == "NOT_JSON") {
      return reject({"CUT_LINE", "", "the file ends in the middle of this line"});
    }
    return reject(std::move(builder.complaint));
  }
  if (IsCloudEvent(builder.cells)) {
    const auto wrong = OpenCloudEvent(builder.cells, builder.data);
    if (wrong) return reject(*wrong);
    return Row{line.number, line.text, *std::move(builder.data)};
  }
  return Row{line.number, line.text, std::move(builder.cells)};
}

}  // namespace plumblane::client
