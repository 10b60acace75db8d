#include "client/event_drafts.h"

namespace plumblane::client {

std::optional<DraftOrRejection> EventDrafts::Next() {
  std::optional<RowOrRejection> row = file_->Next();
  if (!row) return std::nullopt;
  if (Rejection* rejection = std::get_if<Rejection>(&*row)) return std::move(*rejection);
  Row& good = std::get<Row>(*row);
  Draft draft;
  if (std::optional<Complaint> complaint = ReadEvent(good, defaults_, draft)) {
    return Rejection{good.line, *std::move(complaint), std::move(good.text)};
  }
  return draft;
}

}  // namespace plumblane::client
