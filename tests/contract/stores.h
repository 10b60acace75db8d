// The stores that the contract is checked on, each made afresh in a directory of its own.
#pragma once

#include <gtest/gtest.h>

#include <memory>
#include <string>

#include "storage/memory_store.h"
#include "storage/rocksdb/rocksdb_store.h"
#include "support/temp_directory.h"

namespace plumblane::test {

// Small caches: a test needs no more.
inline RocksDbStoreOptions OptionsFor(const std::string& path) {
  return {.path = path, .block_cache_bytes = 8 << 20, .write_buffer_bytes = 1 << 20};
}

// Parameterised by the kind of store.
class OnEachStore : public ::testing::TestWithParam<const char*> {
 protected:
  void SetUp() override {
    if (GetParam() == std::string("Memory")) {
      store_ = std::make_unique<MemoryStore>();
      return;
    }
    auto opened = OpenRocksDbStore(OptionsFor(directory_ / "store"));
    ASSERT_TRUE(opened.ok()) << opened.status();
    store_ = *std::move(opened);
  }

  TempDirectory directory_;
  std::unique_ptr<Store> store_;
};

}  // namespace plumblane::test

#define PLUMBLANE_ON_EACH_STORE(suite)                                            \
  INSTANTIATE_TEST_SUITE_P(Stores, suite, ::testing::Values("Memory", "RocksDb"), \
                           [](const auto& info) { return std::string(info.param); })
