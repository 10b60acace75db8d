#include "engine/notice_reader.h"

#include "engine/records.h"

namespace plumblane {

absl::Status NoticeReader::GoTo(const View& view, int64_t cursor) {
  const AlertsTold& latest = *view.catalog().alerts;
  if (cursor == latest.last_cursor) {
    told_ = latest;
    return absl::OkStatus();
  }
  const auto read = EachAlertNotice(view.snapshot(), told_.last_cursor,
                                    [&](int64_t at, const AlertNotice& notice) {
                                      if (at > cursor) return false;
                                      told_.Take(notice);
                                      return true;
                                    });
  told_.last_cursor = cursor;
  return read.status();
}

absl::StatusOr<std::optional<NoticeReader::Read>> NoticeReader::Next(const View& view) {
  std::optional<Read> next;
  if (view.catalog().alerts->last_cursor <= told_.last_cursor) return next;
  const auto read = EachAlertNotice(view.snapshot(), told_.last_cursor,
                                    [&](int64_t cursor, const AlertNotice& notice) {
                                      told_.Take(notice);
                                      next = Read{cursor, notice, &told_.by_id.at(notice.alert_id)};
                                      return false;
                                    });
  if (!read.ok()) return read.status();
  told_.last_cursor = *read;
  return next;
}

}  // namespace plumblane
