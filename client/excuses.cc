#include "client/excuses.h"

#include <absl/strings/numbers.h>
#include <absl/strings/str_cat.h>
#include <errno.h>
#include <fcntl.h>
#include <string.h>

#include <algorithm>
#include <map>

#include "client/rejected_file.h"
#include "client/show.h"
#include "client/show_order.h"
#include "client/text.h"
#include "client/words.h"

namespace plumblane::client {
namespace {

using Outcome = std::optional<Complaint>;

const std::vector<std::string>& Columns() {
  static const auto* const columns = new std::vector<std::string>{
      "lane", "first_due", "last_due", "order_id", "shop", "part", "reason"};
  return *columns;
}

void SetLane(const LaneQuery& from, v1::Lane* to) {
  to->set_origin(from.origin);
  to->set_destination(from.destination);
  if (from.service) to->set_service(*from.service);
}

v1::Excuse ToExcuse(const ExcuseOptions& options) {
  v1::Excuse excuse;
  excuse.set_reason(options.reason);
  if (options.order) {
    const std::string& shop = options.shop.empty() ? options.order->shop : options.shop;
    excuse.mutable_order()->set_shop(shop.empty() ? kDefaultShop : shop);
    excuse.mutable_order()->set_order_id(options.order->order_id);
    excuse.mutable_order()->set_part(options.part);
  } else {
    SetLane(*options.lane, excuse.mutable_lane_days()->mutable_lane());
    excuse.mutable_lane_days()->set_first_due_date(FormatDay(options.due.first));
    excuse.mutable_lane_days()->set_last_due_date(FormatDay(options.due.second));
  }
  return excuse;
}

Complaint Bad(const std::string& field, const absl::Status& status, const std::string& value) {
  return {"BAD_VALUE", field, absl::StrCat(std::string(status.message()), ", not ", Quoted(value))};
}

using Values = std::map<std::string, std::string>;  // by column, empty ones left out

std::string Get(const Values& values, const std::string& column) {
  const auto it = values.find(column);
  return it == values.end() ? "" : it->second;
}

Outcome SetDay(const Values& values, const std::string& column, std::string* to) {
  const std::string text = Get(values, column);
  const absl::StatusOr<Day> day = ParseDay(text);
  if (!day.ok()) return Bad(column, day.status(), text);
  *to = text;
  return std::nullopt;
}

Outcome SetLaneDays(const Values& values, v1::LaneDays& to) {
  const std::string text = Get(values, "lane");
  const absl::StatusOr<LaneQuery> lane = ParseLaneQuery(text);
  if (!lane.ok()) return Bad("lane", lane.status(), text);
  SetLane(*lane, to.mutable_lane());
  if (Outcome bad = SetDay(values, "first_due", to.mutable_first_due_date())) return bad;
  if (Outcome bad = SetDay(values, "last_due", to.mutable_last_due_date())) return bad;
  if (to.last_due_date() >= to.first_due_date()) return std::nullopt;
  return Complaint{"BAD_VALUE", "last_due", "expected a day not before first_due"};
}

Outcome SetOrder(const Values& values, v1::OrderName& to) {
  const std::string order = Get(values, "order_id");
  if (const absl::Status status = CheckId(order); !status.ok())
    return Bad("order_id", status, order);
  const std::string shop = values.contains("shop") ? Get(values, "shop") : kDefaultShop;
  if (const absl::Status status = CheckId(shop); !status.ok()) return Bad("shop", status, shop);
  int part = 1;
  const std::string part_text = Get(values, "part");
  if (!part_text.empty() && (!absl::SimpleAtoi(part_text, &part) || part < 1 || part > kMaxPart)) {
    return Complaint{
        "BAD_VALUE", "part",
        absl::StrCat("expected a whole number from 1 to ", kMaxPart, ", not ", Quoted(part_text))};
  }
  to.set_shop(shop);
  to.set_order_id(order);
  to.set_part(part);
  return std::nullopt;
}

Outcome ReadRecord(const std::vector<std::string>& columns, const CsvRecord& record,
                   v1::Excuse& excuse) {
  if (record.complaint) return record.complaint;
  if (!IsUtf8(record.text)) return Complaint{"NOT_UTF8", "", "expected UTF-8 text"};
  if (record.cells.size() != columns.size()) {
    return Complaint{"WRONG_COLUMNS", "",
                     absl::StrCat("expected ", columns.size(),
                                  " columns as in the first line, "
                                  "found ",
                                  record.cells.size())};
  }
  return ReadExcuse(columns, record.cells, excuse);
}

std::string CheckHeader(const CsvRecord& header) {
  if (header.complaint) return header.complaint->message;
  for (const std::string& column : header.cells) {
    if (std::count(header.cells.begin(), header.cells.end(), column) > 1) {
      return absl::StrCat("column ", Quoted(column), " stands there twice");
    }
    if (std::find(Columns().begin(), Columns().end(), column) == Columns().end()) {
      return absl::StrCat("unknown column ", Quoted(column), DidYouMean(column, Columns()));
    }
  }
  return "";
}

grpc::Status Create(const Connection& connection, const v1::Excuse& excuse, v1::Excuse* created) {
  CallContext context;
  v1::CreateExcuseRequest request;
  *request.mutable_excuse() = excuse;
  return connection.orders()->CreateExcuse(&context, request, created);
}

std::string CreatedText(const v1::Excuse& excuse) {
  return absl::StrCat("forgiven: ", CoverageText(excuse), " (", excuse.reason(), "), as ",
                      excuse.excuse_id(), "\n");
}

ExitCode RunAdd(const Invocation& invocation, const Connection& connection, const Io& io) {
  v1::Excuse created;
  const grpc::Status status = Create(connection, ToExcuse(invocation.excuse), &created);
  return Print(
      status, created, [](const v1::Excuse& excuse, int) { return CreatedText(excuse); },
      invocation.json, connection, io);
}

// Sends the rows one by one; those that are wrong are kept aside like rejected events.
ExitCode LoadRows(CsvReader& rows, const std::vector<std::string>& columns, RejectedFile& rejected,
                  const Connection& connection, const Io& io, v1::ListExcusesResponse& created) {
  while (std::optional<CsvRecord> record = rows.Next()) {
    v1::Excuse excuse;
    if (const Outcome bad = ReadRecord(columns, *record, excuse)) {
      rejected.Add({record->line, *bad, record->text});
      continue;
    }
    const grpc::Status status = Create(connection, excuse, created.add_excuses());
    if (status.ok()) continue;
    created.mutable_excuses()->RemoveLast();
    if (status.error_code() != grpc::StatusCode::INVALID_ARGUMENT &&
        status.error_code() != grpc::StatusCode::ALREADY_EXISTS) {
      io.err << "line " << record->line << " was not loaded, nor any after it\n";
      return Fail(status, connection, io);
    }
    rejected.Add({record->line, {"REJECTED", "", status.error_message()}, record->text});
  }
  rejected.Close();
  return rejected.count() > 0 ? kSomeRejected : kDone;
}

ExitCode RunLoad(const Invocation& invocation, const Connection& connection, const Io& io) {
  const std::string& path = invocation.excuse.subject;
  const int fd = open(path.c_str(), O_RDONLY | O_CLOEXEC);
  if (fd < 0) {
    io.err << path << ": " << strerror(errno) << "\n";
    return kFailed;
  }
  LineReader lines(fd, /*owned=*/true);
  const std::optional<Line> first = lines.Next();
  if (!first) {
    io.err << path << ": " << (lines.error().empty() ? "nothing in it" : lines.error()) << "\n";
    return lines.error().empty() ? kSomeRejected : kFailed;
  }
  const CsvRecord header = SplitCsvLine(*first);
  if (const std::string mistake = CheckHeader(header); !mistake.empty()) {
    io.err << path << ": " << mistake << "; expected " << Listed(Columns())
           << " in the first line. Nothing was loaded.\n";
    return kUsage;
  }
  CsvReader rows(&lines);
  RejectedFile rejected(path, io);
  v1::ListExcusesResponse created;
  const ExitCode code = LoadRows(rows, header.cells, rejected, connection, io, created);
  if (invocation.json) {
    PrintJson(created, io);
  } else {
    for (const v1::Excuse& excuse : created.excuses()) io.out << CreatedText(excuse);
    if (rejected.count() > 0) {
      io.out << Counted(rejected.count(), "row") << " rejected (" << rejected.path() << ")\n";
    }
  }
  return code;
}

ExitCode RunList(const Invocation& invocation, const Connection& connection, const Io& io) {
  CallContext context;
  v1::ListExcusesResponse answer;
  const grpc::Status status = connection.orders()->ListExcuses(&context, {}, &answer);
  return Print(
      status, answer,
      [](const v1::ListExcusesResponse& list, int width) {
        return ShowExcuses({list.excuses().begin(), list.excuses().end()}, width);
      },
      invocation.json, connection, io);
}

ExitCode RunWithdraw(const Invocation& invocation, const Connection& connection, const Io& io) {
  CallContext context;
  v1::WithdrawExcuseRequest request;
  request.set_excuse_id(invocation.excuse.subject);
  v1::Excuse answer;
  const grpc::Status status = connection.orders()->WithdrawExcuse(&context, request, &answer);
  if (!status.ok()) return Fail(status, connection, io);
  if (invocation.json) {
    PrintJson(answer, io);
  } else {
    io.out << "no longer forgiven: " << CoverageText(answer) << " (" << answer.reason() << ")\n";
  }
  return kDone;
}

}  // namespace

std::optional<Complaint> ReadExcuse(const std::vector<std::string>& columns,
                                    const std::vector<std::string>& cells, v1::Excuse& excuse) {
  Values values;
  for (size_t i = 0; i < columns.size() && i < cells.size(); ++i) {
    if (!cells[i].empty()) values[columns[i]] = cells[i];
  }
  if (values.contains("lane") == values.contains("order_id")) {
    return Complaint{"FIELD_CONFLICT", "lane", "expected either a lane or an order_id"};
  }
  if (!values.contains("reason")) {
    return Complaint{"MISSING_FIELD", "reason", "expected why it is forgiven, such as dock strike"};
  }
  excuse.set_reason(values["reason"]);
  if (values.contains("lane")) return SetLaneDays(values, *excuse.mutable_lane_days());
  return SetOrder(values, *excuse.mutable_order());
}

ExitCode RunExcuse(const Invocation& invocation, const Connection& connection, const Io& io) {
  switch (invocation.verb) {
    case Verb::kExcuseAdd:
      return RunAdd(invocation, connection, io);
    case Verb::kExcuseLoad:
      return RunLoad(invocation, connection, io);
    case Verb::kExcuseWithdraw:
      return RunWithdraw(invocation, connection, io);
    default:
      return RunList(invocation, connection, io);
  }
}

}  // namespace plumblane::client
