// A table read by a map, as a source of events for `send`.
//
// Tables that are joined are read whole, their needed columns kept by key, before the first row of
// the table itself; that one is read row by row. Every event has passed all checks of flat_event.h,
// and a row one event of which has not is refused as a whole.
//
// Not thread-safe.
#pragma once

#include <deque>
#include <memory>
#include <unordered_map>

#include "client/draft_source.h"
#include "client/mapping_options.h"
#include "client/wide_rows.h"

namespace plumblane::client {

class MappedFile : public DraftSource {
 public:
  using Opened = std::variant<std::unique_ptr<MappedFile>, Refusal>;

  // Reads and checks the map, or says all that is wrong with it, line by line.
  static std::variant<MapFile, Refusal> Load(const std::string& path);

  // `map` and `countries` must outlive this object. Without a revision in `options` it is the
  // latest of when the table and those joined to it were last changed; standard input has none.
  static Opened Open(const std::string& path, int in_fd, const MapFile* map,
                     const MappingOptions& options, const EventDefaults& defaults,
                     Countries* countries);

  std::optional<DraftOrRejection> Next() override;
  bool ReadyWithin(int millis) const override {
    return !ready_.empty() || table_->ReadyWithin(millis);
  }
  const std::string& name() const override { return table_->name(); }
  bool is_stdin() const override { return table_->is_stdin(); }
  std::optional<double> share_read() const override { return table_->share_read(); }
  bool is_empty() const override { return table_->columns().empty(); }
  const std::string& error() const override { return table_->error(); }
  std::vector<std::string> Remarks() const override;
  std::optional<Instant> revision() const override { return revision_; }

 private:
  struct Join {
    size_t by = 0;  // column of the table
    size_t width = 0;
    std::unordered_map<std::string, std::vector<std::string>> rows;
  };
  MappedFile() = default;
  std::optional<Refusal> ReadJoin(const JoinRule& rule, const std::string& path, Columns& columns);
  void TakeRow(WideRow row);

  const MapFile* map_ = nullptr;
  EventDefaults defaults_;
  std::unique_ptr<WideFile> table_;
  std::vector<Join> joins_;
  std::optional<WideRows> rows_;
  std::deque<DraftOrRejection> ready_;
  Instant revision_;
};

}  // namespace plumblane::client
