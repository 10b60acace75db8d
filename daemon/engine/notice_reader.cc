#include "engine/notice_reader.h"

#include "engine/records.h"

namespace plumblane {

absl::Status NoticeReader::GoTo(const View& view, int64_t cursor) {
  const AlertsTold& latest = *view.catalog().alerts;
  if (cursor == latest.last_cursor) {
    told_ = latest;
    return absl::OkStatus();
  }
  return EachAlertNotice(view.snapshot(), told_.last_cursor,
                         [&](int64_t at, const AlertNotice& notice) {
                           if (at > cursor) return false;
                           told_.Take(notice);
                           return true;
                         });
}

absl::StatusOr<std::optional<NoticeReader::Read>> NoticeReader::Next(const View& view) {
  std::optional<Read> next;
  if (view.catalog().alerts->last_cursor <= told_.last_cursor) return next;
  const absl::Status read = EachAlertNotice(
      view.snapshot(), told_.last_cursor, [&](int64_t cursor, const AlertNotice& notice) {
        told_.Take(notice);
        next = Read{cursor, notice, &told_.by_id.at(notice.alert_id)};
        return false;
      });
  if (!read.ok()) return read;
  return next;
}

}  // namespace plumblane
