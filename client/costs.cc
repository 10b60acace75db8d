#include "client/costs.h"

#include <absl/strings/str_cat.h>
#include <errno.h>
#include <fcntl.h>
#include <string.h>

#include <algorithm>

#include "client/cost_file.h"
#include "client/line_reader.h"
#include "client/show.h"
#include "client/table_file.h"
#include "client/text.h"

namespace plumblane::client {
namespace {

// The whole of a file, or what went wrong.
std::variant<std::string, Refusal> ReadWhole(const std::string& path, const Io& io) {
  const bool is_stdin = path == "-";
  const int fd = is_stdin ? io.in_fd : open(path.c_str(), O_RDONLY | O_CLOEXEC);
  if (fd < 0) return Refusal{kFailed, absl::StrCat(path, ": ", strerror(errno))};
  LineReader lines(fd, /*owned=*/!is_stdin);
  std::string text;
  while (const std::optional<Line> line = lines.Next()) absl::StrAppend(&text, line->text, "\n");
  if (!lines.error().empty()) return Refusal{kFailed, absl::StrCat(path, ": ", lines.error())};
  return text;
}

// JSON is an answer that names the lines.
ExitCode Reject(const std::string& path, const std::vector<Rejection>& wrong, bool json,
                const Io& io) {
  v1::LoadResponse answer;
  for (const Rejection& rejection : wrong) {
    const Complaint& why = rejection.complaint;
    const std::string where = absl::StrCat("line ", rejection.line, ": ");
    io.err << path << ": " << where << (why.field.empty() ? "" : why.field + ": ") << why.message
           << "\n";
    v1::RowError& error = *answer.add_errors();
    error.set_field(why.field);
    error.set_message(where + why.message);
  }
  io.err << "nothing was loaded\n";
  if (json) PrintJson(answer, io);
  return kSomeRejected;
}

// The daemon's complaints by line.
std::vector<Rejection> Located(const v1::LoadResponse& answer, const CostFile& file) {
  std::vector<Rejection> wrong;
  for (const v1::RowError& error : answer.errors()) {
    const size_t index = static_cast<size_t>(std::max(0, error.index()));
    const int64_t line = index < file.class_lines.size() ? file.class_lines[index] : 1;
    const std::string& field = error.field();
    wrong.push_back({line, {"REJECTED", field.substr(0, field.find('.')), error.message()}, ""});
  }
  return wrong;
}

ExitCode RunLoad(const Invocation& invocation, const Connection& connection, const Io& io) {
  const std::string& path = invocation.agreement.file;
  const auto text = ReadWhole(path, io);
  if (const Refusal* refusal = std::get_if<Refusal>(&text)) {
    io.err << refusal->message << "\nnothing was loaded\n";
    return refusal->exit_code;
  }
  const auto read = ReadCosts(std::get<std::string>(text));
  if (const auto* wrong = std::get_if<std::vector<Rejection>>(&read)) {
    return Reject(path, *wrong, invocation.json, io);
  }
  const CostFile& file = std::get<CostFile>(read);
  v1::LoadCostsRequest request;
  *request.mutable_settings() = file.settings;
  CallContext context;
  v1::LoadResponse answer;
  const grpc::Status status = connection.agreements()->LoadCosts(&context, request, &answer);
  if (!status.ok()) return Fail(status, connection, io);
  if (!answer.errors().empty()) {
    return Reject(path, Located(answer, file), invocation.json, io);
  }
  if (invocation.json) {
    PrintJson(answer, io);
  } else {
    io.out << LoadedText(answer, "cost class", "cost classes");
  }
  return kDone;
}

ExitCode RunShow(const Invocation& invocation, const Connection& connection, const Io& io) {
  CallContext context;
  v1::CostSettings answer;
  const grpc::Status status = connection.agreements()->GetCosts(&context, {}, &answer);
  if (status.error_code() == grpc::StatusCode::NOT_FOUND) {
    io.err << "no costs were loaded; \"plumblane costs propose\" writes a first file\n";
    return kFailed;
  }
  return Print(
      status, answer,
      [](const v1::CostSettings& costs, int width) {
        return WriteCosts(costs, {"loaded " + TimeText(costs.load_time())}, width);
      },
      invocation.json, connection, io);
}

ExitCode RunPropose(const Invocation& invocation, const Connection& connection, const Io& io) {
  v1::ProposeCostsRequest request;
  request.set_shop(invocation.agreement.shop);
  CallContext context;
  v1::ProposeCostsResponse answer;
  const grpc::Status status = connection.agreements()->ProposeCosts(&context, request, &answer);
  return Print(
      status, answer,
      [](const v1::ProposeCostsResponse& proposal, int width) {
        std::vector<std::string> remarks = {
            "Proposed from orders so far: read, change, then \"plumblane costs load FILE\"."};
        for (const std::string& reason : proposal.reasons()) remarks.push_back("- " + reason);
        return WriteCosts(proposal.settings(), remarks, width);
      },
      invocation.json, connection, io);
}

}  // namespace

ExitCode RunCosts(const Invocation& invocation, const Connection& connection, const Io& io) {
  switch (invocation.verb) {
    case Verb::kCostsLoad:
      return RunLoad(invocation, connection, io);
    case Verb::kCostsPropose:
      return RunPropose(invocation, connection, io);
    default:
      return RunShow(invocation, connection, io);
  }
}

}  // namespace plumblane::client
