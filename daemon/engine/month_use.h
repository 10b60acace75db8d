// How much of a supplier's month is used, against its monthly order limit.
//
// Pure and thread-safe. Reads the cells of the month's days, some pages for each of its pairs.
#pragma once

#include <absl/status/statusor.h>

#include <cstdint>
#include <string>

#include "agreements/terms.h"
#include "engine/catalog.h"
#include "storage/store.h"

namespace plumblane {

struct MonthUse {
  Month month;
  int64_t paid_count = 0;      // order parts paid to it since the month began
  int64_t assigned_count = 0;  // given to it since then and not paid yet
};

// The month that contains `today` by the supplier's terms; without terms the calendar's. Errors are
// those of the store.
absl::StatusOr<MonthUse> MonthUseOf(const Snapshot& snapshot, const Catalog& catalog,
                                    const std::string& supplier, Day today);

}  // namespace plumblane
