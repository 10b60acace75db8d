#include "client/map_command.h"

#include <absl/strings/str_cat.h>
#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <unistd.h>

#include <algorithm>
#include <nlohmann/json.hpp>
#include <utility>
#include <variant>

#include "client/flat_event.h"
#include "client/map_proposal.h"
#include "client/progress.h"
#include "client/text.h"

namespace plumblane::client {
namespace {

// The columns are those of an event file.
bool IsEvents(const std::vector<std::string>& columns) {
  return std::find(columns.begin(), columns.end(), "event_id") != columns.end() &&
         std::all_of(columns.begin(), columns.end(),
                     [](const std::string& name) { return !CheckFieldName(name); });
}

std::variant<LookedAt, Refusal> LookAt(const std::string& path, const Io& io) {
  std::variant<SniffedTable, Refusal> sniffed = SniffFile(path);
  if (Refusal* refusal = std::get_if<Refusal>(&sniffed)) return std::move(*refusal);
  LookedAt looked;
  looked.file = path;
  looked.table = std::get<SniffedTable>(sniffed);
  WideFile::Opened opened = WideFile::Open(path, /*in_fd=*/-1, looked.table.form);
  if (Refusal* refusal = std::get_if<Refusal>(&opened)) return std::move(*refusal);
  WideFile& file = *std::get<std::unique_ptr<WideFile>>(opened);
  looked.columns = file.columns();
  if (IsEvents(looked.columns)) {
    return Refusal{kUsage, absl::StrCat(path,
                                        ": has one event a line already and needs no map: "
                                        "plumblane send ",
                                        path)};
  }
  looked.facts.resize(looked.columns.size());
  Progress progress(io, "row");
  while (auto next = file.Next()) {
    progress.Show(++looked.rows, file.share_read());
    if (const Rejection* bad = std::get_if<Rejection>(&*next)) {
      if (++looked.bad_rows > 1) continue;
      looked.first_bad_line = bad->line;
      looked.first_bad = bad->complaint.message;
      continue;
    }
    const WideRow& row = std::get<WideRow>(*next);
    for (size_t i = 0; i < looked.facts.size(); ++i) looked.facts[i].Take(row.cells[i]);
  }
  progress.Clear();
  if (!file.error().empty()) return Refusal{kFailed, absl::StrCat(path, ": ", file.error())};
  return looked;
}

// "" = written.
std::string WriteNew(const std::string& path, const std::string& text) {
  const int fd = open(path.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
  if (fd < 0) {
    return errno == EEXIST ? "is there already; name another file, or remove it first"
                           : strerror(errno);
  }
  size_t done = 0;
  ssize_t count = 0;
  while (done < text.size() && count >= 0) {
    count = write(fd, text.data() + done, text.size() - done);
    if (count > 0) done += static_cast<size_t>(count);
  }
  const bool is_closed = close(fd) == 0;
  return done == text.size() && is_closed ? "" : strerror(errno);
}

}  // namespace

ExitCode RunMap(const ProposeOptions& options, bool json, const Io& io) {
  std::variant<LookedAt, Refusal> looked = LookAt(options.file, io);
  if (const Refusal* refusal = std::get_if<Refusal>(&looked)) {
    io.err << refusal->message << "\n";
    return refusal->exit_code;
  }
  const LookedAt& table = std::get<LookedAt>(looked);
  Countries countries;
  const MapProposal proposal = ProposeMap(table, countries);
  if (!options.output.empty()) {
    if (const std::string why = WriteNew(options.output, proposal.text); !why.empty()) {
      io.err << options.output << ": " << why << "\n";
      return kFailed;
    }
  }
  if (json) {
    nlohmann::ordered_json answer;
    answer["map"] = proposal.text;
    answer["questionCount"] = proposal.questions;
    answer["personalColumns"] = proposal.personal;
    answer["rowCount"] = table.rows;
    io.out << answer.dump(2) << "\n";
  } else if (options.output.empty()) {
    io.out << proposal.text;
  }
  io.err << table.file << ": " << Counted(table.rows, "row") << "; "
         << (proposal.questions == 0 ? "nothing is unsure"
                                     : Counted(proposal.questions, "question") + " to settle")
         << "\n";
  if (!proposal.names_order) {
    io.err << "no column is called like the number of an order, or of its tracking: the map needs "
              "to be told which one is\n";
  }
  if (!countries.has_names()) {
    io.err << "names of countries are not known: install the package iso-codes\n";
  }
  if (!proposal.personal.empty()) {
    io.err << "left out as personal, never sent: " << Listed(proposal.personal) << "\n";
  }
  if (table.bad_rows > 0) {
    io.err << Counted(table.bad_rows, "row") << " could not be read, the first: line "
           << table.first_bad_line << ": " << table.first_bad << "\n";
  }
  return kDone;
}

}  // namespace plumblane::client
