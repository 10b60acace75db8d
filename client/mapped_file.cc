#include "client/mapped_file.h"

#include <absl/strings/str_cat.h>
#include <sys/stat.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <utility>

#include "client/text.h"

namespace plumblane::client {
namespace {

// When the file was last changed; none for what is no file.
std::optional<Instant> ChangedAt(const std::string& path) {
  struct stat status {};
  if (stat(path.c_str(), &status) != 0 || !S_ISREG(status.st_mode)) return std::nullopt;
  return Instant{static_cast<int64_t>(status.st_mtim.tv_sec) * 1000 +
                 status.st_mtim.tv_nsec / 1'000'000};
}

// Beside the map, unless named by the command line or in full.
std::string JoinPath(const JoinRule& rule, const MappingOptions& options) {
  if (const auto it = options.joins.find(rule.name); it != options.joins.end()) return it->second;
  if (rule.file.empty()) return "";
  return std::filesystem::path(options.map).parent_path() / rule.file;
}

}  // namespace

std::variant<MapFile, Refusal> MappedFile::Load(const std::string& path) {
  std::ifstream file(path, std::ios::binary);
  const bool is_folder = std::filesystem::is_directory(path);
  if (!file || is_folder) {
    return Refusal{
        kFailed,
        absl::StrCat(path, ": ", is_folder ? "is a directory; expected a map" : "cannot be read")};
  }
  std::variant<MapFile, std::vector<Rejection>> read =
      ReadMap({std::istreambuf_iterator<char>(file), std::istreambuf_iterator<char>()});
  if (MapFile* map = std::get_if<MapFile>(&read)) return std::move(*map);
  std::string text;
  for (const Rejection& wrong : std::get<1>(read)) {
    const Complaint& why = wrong.complaint;
    absl::StrAppend(&text, text.empty() ? "" : "\n", path, ": line ", wrong.line, ": ",
                    why.field.empty() ? "" : why.field + ": ", why.message);
  }
  return Refusal{kUsage, std::move(text)};
}

MappedFile::Opened MappedFile::Open(const std::string& path, int in_fd, const MapFile* map,
                                    const MappingOptions& options, const EventDefaults& defaults,
                                    Countries* countries) {
  WideFile::Opened opened = WideFile::Open(path, in_fd, map->form);
  if (Refusal* refusal = std::get_if<Refusal>(&opened)) return std::move(*refusal);
  // Not make_unique: the constructor is private.
  std::unique_ptr<MappedFile> file(new MappedFile);
  file->map_ = map;
  file->defaults_ = defaults;
  file->table_ = std::get<std::unique_ptr<WideFile>>(std::move(opened));
  if (file->is_empty()) return file;
  Columns columns{file->table_->columns()};
  std::optional<Instant> changed = ChangedAt(path);
  for (const JoinRule& rule : map->joins) {
    const std::string join_path = JoinPath(rule, options);
    if (join_path.empty()) {
      return Refusal{kUsage, absl::StrCat("the map joins ", Quoted(rule.name),
                                          ": name its file, --join ", rule.name, "=FILE")};
    }
    if (auto refusal = file->ReadJoin(rule, join_path, columns)) return *std::move(refusal);
    changed = std::max(changed, ChangedAt(join_path));
  }
  std::optional<Instant> revision = options.revision;
  if (!revision && path != "-") revision = changed;
  if (!revision) {
    return Refusal{kUsage, absl::StrCat(file->name(),
                                        ": is no file with a time of its own; say when the export "
                                        "was made with --revision TIME")};
  }
  file->revision_ = *revision;
  absl::StatusOr<WideRows> rows = WideRows::Make(map, std::move(columns), countries, *revision);
  if (!rows.ok()) {
    return Refusal{kUsage, absl::StrCat(file->name(), ": map ", options.map, ": ",
                                        std::string(rows.status().message()))};
  }
  file->rows_ = *std::move(rows);
  return file;
}

std::optional<Refusal> MappedFile::ReadJoin(const JoinRule& rule, const std::string& path,
                                            Columns& columns) {
  WideFile::Opened opened = WideFile::Open(path, /*in_fd=*/-1, rule.form);
  if (Refusal* refusal = std::get_if<Refusal>(&opened)) return std::move(*refusal);
  WideFile& table = *std::get<std::unique_ptr<WideFile>>(opened);
  const absl::StatusOr<size_t> by = columns.Find(rule.by);
  const absl::StatusOr<size_t> on = Columns{table.columns()}.Find(rule.on);
  if (!by.ok() || !on.ok()) {
    return Refusal{kUsage, absl::StrCat(path, ": map, line ", rule.line, ": ",
                                        std::string((by.ok() ? on : by).status().message()))};
  }
  Join join{*by, table.columns().size(), {}};
  while (auto next = table.Next()) {
    if (const Rejection* bad = std::get_if<Rejection>(&*next)) {
      return Refusal{kUsage,
                     absl::StrCat(path, ": line ", bad->line, ": ", bad->complaint.message)};
    }
    WideRow& row = std::get<WideRow>(*next);
    std::string key = row.cells[*on];
    if (!key.empty()) join.rows.emplace(std::move(key), std::move(row.cells));
  }
  if (!table.error().empty()) return Refusal{kFailed, absl::StrCat(path, ": ", table.error())};
  for (const std::string& name : table.columns()) {
    columns.names.push_back(absl::StrCat(rule.name, ".", name));
  }
  joins_.push_back(std::move(join));
  return std::nullopt;
}

void MappedFile::TakeRow(WideRow row) {
  const size_t width = row.cells.size();
  for (const Join& join : joins_) {
    const auto it = join.rows.find(row.cells[join.by]);
    const size_t before = row.cells.size();
    if (it != join.rows.end()) {
      row.cells.insert(row.cells.end(), it->second.begin(), it->second.end());
    }
    row.cells.resize(before + join.width);
  }
  const auto reject = [&](Complaint why) {
    row.cells.resize(width);
    ready_.push_back(Rejection{row.line, std::move(why), std::move(row.text)});
  };
  std::vector<Row> events;
  if (std::optional<Complaint> bad = rows_->Take(row, events)) return reject(*std::move(bad));
  std::vector<Draft> drafts(events.size());
  for (size_t i = 0; i < events.size(); ++i) {
    if (std::optional<Complaint> bad = ReadEvent(events[i], defaults_, drafts[i])) {
      return reject(*std::move(bad));
    }
  }
  for (Draft& draft : drafts) ready_.push_back(std::move(draft));
}

std::optional<DraftOrRejection> MappedFile::Next() {
  while (ready_.empty() && rows_) {
    auto next = table_->Next();
    if (!next) return std::nullopt;
    if (Rejection* bad = std::get_if<Rejection>(&*next)) return DraftOrRejection(std::move(*bad));
    TakeRow(std::move(std::get<WideRow>(*next)));
  }
  if (ready_.empty()) return std::nullopt;
  DraftOrRejection first = std::move(ready_.front());
  ready_.pop_front();
  return first;
}

std::vector<std::string> MappedFile::Remarks() const {
  std::vector<std::string> remarks;
  if (!rows_) return remarks;
  const WideNotes& notes = rows_->notes();
  if (notes.skipped > 0) {
    remarks.push_back(absl::StrCat(Counted(notes.skipped, "row"), " left out, as the map says"));
  }
  if (notes.further > 0) {
    remarks.push_back(absl::StrCat(Counted(notes.further, "further row"),
                                   " of the order above it, of which the first counts"));
  }
  if (notes.without_event > 0) {
    remarks.push_back(absl::StrCat(Counted(notes.without_event, "row"),
                                   " without an event, since no time is stated; the first: line ",
                                   notes.first_without_event));
  }
  for (const WideNotes::Either& either : notes.either) {
    if (either.dates == 0 || either.could_be_either < either.dates) continue;
    remarks.push_back(absl::StrCat("column ", Quoted(either.column), ": ",
                                   Counted(either.dates, "date"),
                                   ", each of which could have day and month the other way round"));
  }
  return remarks;
}

}  // namespace plumblane::client
