// How one log entry changes what was told of alerts, and how far it was sent out. Private to
// engine/.
#pragma once

#include <vector>

#include "engine/catalog.h"
#include "engine/submission.h"
#include "storage/store.h"

namespace plumblane {

void TakeAlertNotices(const std::vector<AlertNotice>& notices, Catalog& catalog, Batch& batch);
void TakeDeliveries(const std::vector<Delivered>& deliveries, Catalog& catalog, Batch& batch);

}  // namespace plumblane
