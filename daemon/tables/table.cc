#include "tables/table.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_format.h>
#include <google/protobuf/util/json_util.h>

#include <nlohmann/json.hpp>
#include <utility>

namespace plumblane {
namespace {

std::string JsonString(const std::string& text) {
  return nlohmann::json(text).dump(-1, ' ', false, nlohmann::json::error_handler_t::replace);
}

std::string JsonValue(const TableCell& cell) {
  if (cell.kind == TableCell::Kind::kFlag) return cell.text == "yes" ? "true" : "false";
  // JSON knows no sign before a positive number.
  const bool is_number =
      cell.kind == TableCell::Kind::kFigure && IsPlainNumber(cell.text) && cell.text[0] != '+';
  return is_number ? cell.text : JsonString(cell.text);
}

}  // namespace

TableCell TextCell(std::string column, std::string text) {
  return {std::move(column), std::move(text), TableCell::Kind::kText};
}
TableCell FigureCell(std::string column, std::string figure) {
  return {std::move(column), std::move(figure), TableCell::Kind::kFigure};
}
TableCell CountCell(std::string column, int64_t count) {
  return FigureCell(std::move(column), absl::StrCat(count));
}
TableCell FlagCell(std::string column, bool flag) {
  return {std::move(column), flag ? "yes" : "no", TableCell::Kind::kFlag};
}

std::string FigureText(double figure) {
  std::string text = absl::StrFormat("%.6f", figure);
  text.erase(text.find_last_not_of('0') + 1);
  if (text.back() == '.') text.pop_back();
  return text == "-0" ? "0" : text;
}

TableWriter::TableWriter(TableForm form, const CsvStyle& style, std::string name, TableRow columns)
    : form_(form), style_(style), name_(std::move(name)), columns_(std::move(columns)) {}

std::string TableWriter::Begin() const {
  if (form_ == TableForm::kNdjson) return "";
  if (form_ == TableForm::kJson) return absl::StrCat("{", JsonString(name_), ": [");
  std::vector<std::string> names;
  for (const TableCell& cell : columns_) names.push_back(cell.column);
  return CsvTextLine(names, style_);
}

std::string TableWriter::Add(const TableItem& item) {
  if (form_ == TableForm::kJson) {
    return absl::StrCat(std::exchange(is_first_, false) ? "\n" : ",\n", MessageJson(item.message));
  }
  std::string lines;
  for (const TableRow& row : item.rows) lines += Line(row);
  return lines;
}

std::string TableWriter::End() const { return form_ == TableForm::kJson ? "\n]}\n" : ""; }

std::string TableWriter::Line(const TableRow& row) const {
  if (form_ == TableForm::kCsv) {
    std::vector<CsvValue> cells;
    for (const TableCell& cell : row) {
      cells.push_back({cell.text, cell.kind == TableCell::Kind::kFigure});
    }
    return CsvLine(cells, style_);
  }
  std::string line = "{";
  for (const TableCell& cell : row) {
    if (cell.text.empty()) continue;
    absl::StrAppend(&line, line.size() > 1 ? ", " : "", JsonString(cell.column), ": ",
                    JsonValue(cell));
  }
  return line + "}\n";
}

std::string MessageJson(const google::protobuf::Message& message) {
  google::protobuf::util::JsonPrintOptions options;
  options.always_print_primitive_fields = true;
  std::string json;
  return google::protobuf::util::MessageToJsonString(message, &json, options).ok() ? json : "";
}

}  // namespace plumblane
