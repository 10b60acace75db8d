#include "client/table_file.h"

#include <absl/strings/str_cat.h>

#include <algorithm>
#include <map>

#include "client/rejected_file.h"
#include "client/show.h"
#include "client/text.h"
#include "client/words.h"

namespace plumblane::client {
namespace {

std::string CheckColumns(const std::vector<std::string>& found, const TableColumns& columns) {
  std::vector<std::string> unknown;
  for (const std::string& name : found) {
    if (std::find(columns.all.begin(), columns.all.end(), name) != columns.all.end()) continue;
    const std::string meant = Nearest(name, Strings(columns.all));
    unknown.push_back(Quoted(name) + (meant.empty() ? "" : " (" + meant + "?)"));
  }
  if (!unknown.empty()) {
    return absl::StrCat("unknown ", unknown.size() == 1 ? "column " : "columns ", Listed(unknown),
                        "; expected of ", Listed(Strings(columns.all)));
  }
  for (const std::string_view name : columns.needed) {
    if (std::find(found.begin(), found.end(), name) != found.end()) continue;
    return absl::StrCat("the first line names no column `", std::string(name),
                        "`; every row needs it");
  }
  return "";
}

// A row in the request: where it stands in the file.
struct Sent {
  int32_t row = 0;  // from 0
  int64_t line = 0;
  std::string text;
};

// What is wrong, by the row's position in the file.
using Wrong = std::multimap<int32_t, Rejection>;

class Loading {
 public:
  Loading(const std::string& path, const TableLoad& load) : path_(path), load_(load) {}

  void Take(std::vector<RowOrRejection> rows) {
    for (RowOrRejection& row : rows) TakeOne(std::move(row));
  }

  // Nothing is sent when no row can be.
  grpc::Status Send(v1::LoadResponse* answer) {
    if (sent_.empty()) return grpc::Status::OK;
    const grpc::Status status = load_.send(/*validate_only=*/!wrong_.empty(), answer);
    if (!status.ok()) return status;
    for (const v1::RowError& error : answer->errors()) {
      const int last = static_cast<int>(sent_.size()) - 1;
      const Sent& sent = sent_[static_cast<size_t>(std::clamp(error.index(), 0, last))];
      const Complaint why{"REJECTED", ColumnOf(error.field()), error.message()};
      wrong_.emplace(sent.row, Rejection{sent.line, why, sent.text});
    }
    return status;
  }

  // Tells all that is wrong and makes it the answer's.
  ExitCode Reject(const Io& io, v1::LoadResponse* answer) const {
    RejectedFile rejected(path_ == "-" ? "stdin" : path_, io);
    answer->clear_errors();
    for (const auto& [row, rejection] : wrong_) {
      rejected.Add(rejection);
      v1::RowError& error = *answer->add_errors();
      error.set_index(row);
      error.set_field(rejection.complaint.field);
      error.set_message(rejection.complaint.message);
    }
    rejected.Close();
    if (wrong_.empty()) return kDone;
    answer->clear_loaded_count();  // what it would have been
    io.err << "nothing was loaded: " << Thousands(WrongRows()) << " of "
           << Counted(row_count_, "row") << (WrongRows() == 1 ? " is" : " are") << " wrong ("
           << rejected.path() << ")\n";
    return kSomeRejected;
  }

 private:
  void TakeOne(RowOrRejection row) {
    const int32_t position = row_count_++;
    if (Rejection* rejection = std::get_if<Rejection>(&row)) {
      wrong_.emplace(position, std::move(*rejection));
      return;
    }
    Row& read = std::get<Row>(row);
    if (std::optional<Complaint> bad = load_.add(read)) {
      wrong_.emplace(position, Rejection{read.line, *std::move(bad), std::move(read.text)});
      return;
    }
    sent_.push_back({position, read.line, std::move(read.text)});
  }

  int64_t WrongRows() const {
    int64_t count = 0;
    for (auto it = wrong_.begin(); it != wrong_.end(); it = wrong_.upper_bound(it->first)) ++count;
    return count;
  }

  const std::string& path_;
  const TableLoad& load_;
  int32_t row_count_ = 0;
  std::vector<Sent> sent_;
  Wrong wrong_;
};

}  // namespace

std::variant<std::vector<RowOrRejection>, Refusal> ReadTable(const std::string& path,
                                                             const TableColumns& columns,
                                                             const Io& io) {
  EventFile::Opened opened = EventFile::Open(
      path, io.in_fd, EventFile::Format::kByContent,
      [&](const std::vector<std::string>& found) { return CheckColumns(found, columns); });
  if (Refusal* refusal = std::get_if<Refusal>(&opened)) return std::move(*refusal);
  EventFile& file = *std::get<std::unique_ptr<EventFile>>(opened);
  std::vector<RowOrRejection> rows;
  while (std::optional<RowOrRejection> row = file.Next()) rows.push_back(*std::move(row));
  if (!file.error().empty()) {
    return Refusal{kFailed, absl::StrCat(file.name(), ": ", file.error())};
  }
  if (rows.empty()) return Refusal{kSomeRejected, file.name() + ": there is no row in it"};
  return rows;
}

ExitCode LoadTable(const std::string& path, const TableLoad& load, bool json,
                   const Connection& connection, const Io& io) {
  auto read = ReadTable(path, load.columns, io);
  if (const Refusal* refusal = std::get_if<Refusal>(&read)) {
    io.err << refusal->message << "\nnothing was loaded\n";
    return refusal->exit_code;
  }
  Loading loading(path, load);
  loading.Take(std::get<std::vector<RowOrRejection>>(std::move(read)));
  v1::LoadResponse answer;
  const grpc::Status status = loading.Send(&answer);
  const ExitCode code = loading.Reject(io, &answer);
  if (!status.ok()) return Fail(status, connection, io);
  if (json) {
    PrintJson(answer, io);
  } else if (code == kDone) {
    io.out << LoadedText(answer, load.noun);
  }
  return code;
}

std::string LoadedText(const v1::LoadResponse& answer, std::string_view noun,
                       std::string_view plural) {
  std::string text = "loaded " + Counted(answer.loaded_count(), noun, plural);
  if (answer.unchanged_count() > 0) {
    absl::StrAppend(&text, "; ", Thousands(answer.unchanged_count()), " held already");
  }
  text += "\n";
  for (const std::string& note : answer.notes()) absl::StrAppend(&text, "note: ", note, "\n");
  return text;
}

std::string ColumnOf(const std::string& api_field) {
  constexpr std::string_view kTargets = "targets.";
  if (api_field.starts_with(kTargets)) return "target_" + api_field.substr(kTargets.size());
  const std::pair<std::string_view, std::string_view> renamed[] = {
      {"item_class", "class"}, {"from_currency", "from"}, {"to_currency", "to"}};
  for (const auto& [api, file] : renamed) {
    if (api == api_field) return std::string(file);
  }
  return FileField(api_field.substr(0, api_field.find('[')));
}

}  // namespace plumblane::client
