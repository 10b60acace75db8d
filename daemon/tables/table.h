// A table written piece by piece in one of three forms.
//
//   CSV     a line of column names, then a line a row (csv.h); yes and no
//   NDJSON  a JSON object a row, by column; what is absent is left out
//   JSON    one document: {"NAME": [...]} with the API's messages as ProtoJSON
//
// Pure; a TableWriter belongs to one thread.
#pragma once

#include <google/protobuf/message.h>

#include <string>
#include <vector>

#include "tables/csv.h"

namespace plumblane {

enum class TableForm { kCsv, kNdjson, kJson };

struct TableCell {
  enum class Kind { kText, kFigure, kFlag };
  std::string column;
  std::string text;  // "" = absent; a figure is a plain number, a flag "yes" or "no"
  Kind kind = Kind::kText;
};
// All rows of a table have the same columns in the same order.
using TableRow = std::vector<TableCell>;

TableCell TextCell(std::string column, std::string text);
TableCell FigureCell(std::string column, std::string figure);
TableCell CountCell(std::string column, int64_t count);
TableCell FlagCell(std::string column, bool flag);
// At most six decimals.
std::string FigureText(double figure);

// What is one thing to the API may be several rows, or none.
struct TableItem {
  const google::protobuf::Message& message;
  std::vector<TableRow> rows;
};

class TableWriter {
 public:
  // `name` is that of the list in JSON, `columns` a row whose columns are those of all.
  TableWriter(TableForm form, const CsvStyle& style, std::string name, TableRow columns);

  TableForm form() const { return form_; }
  // In this order: once, any number of times, once.
  std::string Begin() const;
  std::string Add(const TableItem& item);
  std::string End() const;

 private:
  std::string Line(const TableRow& row) const;

  const TableForm form_;
  const CsvStyle style_;
  const std::string name_;
  const TableRow columns_;
  bool is_first_ = true;
};

// The message on one line, as the API's JSON has it: fields without presence always written; ""
// when it cannot be written.
std::string MessageJson(const google::protobuf::Message& message);

}  // namespace plumblane
