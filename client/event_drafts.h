// A file of events as a source for `send`: its rows, checked.
#pragma once

#include <memory>
#include <utility>

#include "client/draft_source.h"
#include "client/event_file.h"

namespace plumblane::client {

// Not thread-safe.
class EventDrafts : public DraftSource {
 public:
  EventDrafts(std::unique_ptr<EventFile> file, EventDefaults defaults)
      : file_(std::move(file)), defaults_(std::move(defaults)) {}

  std::optional<DraftOrRejection> Next() override;
  bool ReadyWithin(int millis) const override { return file_->ReadyWithin(millis); }
  const std::string& name() const override { return file_->name(); }
  bool is_stdin() const override { return file_->is_stdin(); }
  std::optional<double> share_read() const override { return file_->share_read(); }
  bool is_empty() const override { return file_->is_empty(); }
  const std::string& error() const override { return file_->error(); }

 private:
  const std::unique_ptr<EventFile> file_;
  const EventDefaults defaults_;
};

}  // namespace plumblane::client
