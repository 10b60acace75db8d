#include "engine/notice_changes.h"

#include <memory>

#include "engine/records.h"
#include "storage/keys.h"

namespace plumblane {

void TakeAlertNotices(const std::vector<AlertNotice>& notices, Catalog& catalog, Batch& batch) {
  if (notices.empty()) return;
  auto alerts = std::make_shared<AlertsTold>(*catalog.alerts);
  for (AlertNotice notice : notices) {
    notice.quiet = IsQuiet(notice, *alerts, catalog.history_through);
    if (!alerts->Take(notice)) continue;
    batch.Put(Space::kMeta, NoticeKey(alerts->last_cursor), EncodeAlertNotice(notice));
  }
  catalog.alerts = std::move(alerts);
}

void TakeDeliveries(const std::vector<Delivered>& deliveries, Catalog& catalog, Batch& batch) {
  for (const Delivered& delivered : deliveries) {
    const auto [at, is_new] = catalog.delivered.try_emplace(delivered.sink, 0);
    if (!is_new && delivered.cursor <= at->second) continue;
    at->second = delivered.cursor;
    batch.Put(Space::kMeta, DeliveredKey(delivered.sink), EncodeCount(delivered.cursor));
  }
}

}  // namespace plumblane
