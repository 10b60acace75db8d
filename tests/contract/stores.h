// The stores that the contract is checked on, each made afresh in a directory of its own.
#pragma once

#include <gtest/gtest.h>

#include <memory>
#include <string>
#include <utility>

#include "storage/memory_store.h"
#include "storage/prefixed_store.h"
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
    if (GetParam() == std::string("Part")) MakePart();
  }

 private:
  // What lies around it is not its own.
  void MakePart() {
    whole_ = std::move(store_);
    Batch around;
    for (int space = 0; space < kSpaceCount; ++space) {
      for (const char* key : {"1", "12b", "3"}) around.Put(static_cast<Space>(space), key, "other");
    }
    ASSERT_TRUE(whole_->Write(around, /*sync=*/true).ok());
    store_ = std::make_unique<PrefixedStore>(*whole_, "2");
  }

 protected:
  TempDirectory directory_;
  std::unique_ptr<Store> whole_;  // of a part
  std::unique_ptr<Store> store_;
};

}  // namespace plumblane::test

#define PLUMBLANE_ON_EACH_STORE(suite)                                            \
  INSTANTIATE_TEST_SUITE_P(Stores, suite, ::testing::Values("Memory", "RocksDb"), \
                           [](const auto& info) { return std::string(info.param); })
