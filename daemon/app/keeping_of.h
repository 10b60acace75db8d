// What the service that keeps data can do with the store.
#pragma once

#include "app/settings.h"
#include "service/keeping.h"
#include "storage/rocksdb/rocksdb_store.h"

namespace plumblane {

// Both must outlive what is given.
Keeping KeepingOf(const Settings& settings, DiskStore& store);

}  // namespace plumblane
