// What the store on disk does besides storing: copies of it, reading it without changing it, and
// what it says when files are damaged.
#include <absl/strings/str_cat.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <iterator>
#include <map>

#include "contract/stores.h"
#include "storage/rocksdb/rocksdb_store.h"

namespace plumblane {
namespace {

namespace fs = std::filesystem;
using test::OptionsFor;
using test::TempDirectory;
using ::testing::HasSubstr;

bool Never() { return false; }

void Put(Store& store, int first, int last) {
  for (int number = first; number <= last; ++number) {
    Batch batch;
    batch.Put(Space::kOrders, absl::StrCat("order-", number), std::string(500, 'x'));
    batch.Put(Space::kLog, absl::StrCat("entry-", number), "y");
    ASSERT_TRUE(store.Write(batch, /*sync=*/number == last).ok());
  }
}

int Count(const Store& store, Space space = Space::kOrders) {
  int count = 0;
  EXPECT_TRUE(store.TakeSnapshot()
                  ->Scan(space, "", "",
                         [&](auto, auto) {
                           ++count;
                           return true;
                         })
                  .ok());
  return count;
}

// Names and contents, without the library's notes and lock.
std::map<std::string, std::string> FilesIn(const std::string& path) {
  std::map<std::string, std::string> files;
  for (const auto& file : fs::directory_iterator(path)) {
    const std::string name = file.path().filename();
    if (name.starts_with("LO")) continue;
    std::ifstream in(file.path(), std::ios::binary);
    files[name] = std::string(std::istreambuf_iterator<char>(in), {});
  }
  return files;
}

TEST(Backup, IsTheStoreAsOfWhenItWasAskedFor) {
  const TempDirectory directory;
  auto store = OpenRocksDbStore(OptionsFor(directory / "store")).value();
  Put(*store, 1, 100);
  const auto first = store->BackUp(directory / "copies", 0, "one", Never);
  ASSERT_TRUE(first.ok()) << first.status();
  Put(*store, 101, 150);
  const auto second = store->BackUp(directory / "copies", 0, "two", Never);
  ASSERT_TRUE(second.ok()) << second.status();
  EXPECT_EQ(second->number, first->number + 1);
  EXPECT_EQ(second->kept, 2);
  for (const auto& [number, count] : {std::pair{first->number, 100}, {int64_t{0}, 150}}) {
    const std::string path = directory / absl::StrCat("restored", number);
    const auto restored = RestoreBackup(directory / "copies", number, path);
    ASSERT_TRUE(restored.ok()) << restored.status();
    EXPECT_EQ(restored->note, number == 0 ? "two" : "one");
    EXPECT_EQ(Count(*OpenRocksDbStore(OptionsFor(path)).value()), count);
  }
  EXPECT_EQ(store->BackUp(directory / "copies", 1, "", Never)->kept, 1);
  EXPECT_TRUE(absl::IsNotFound(
      RestoreBackup(directory / "copies", first->number, directory / "gone").status()));
  EXPECT_TRUE(absl::IsNotFound(RestoreBackup(directory / "none", 0, directory / "x").status()));
}

TEST(Backup, GivenUpLeavesTheOthersAndTheStore) {
  const TempDirectory directory;
  auto store = OpenRocksDbStore(OptionsFor(directory / "store")).value();
  for (int i = 0; i < 40; ++i) Put(*store, i * 400, i * 400 + 399);
  const auto given_up = store->BackUp(directory / "copies", 0, "", [] { return true; });
  EXPECT_TRUE(absl::IsCancelled(given_up.status())) << given_up.status();
  const auto made = store->BackUp(directory / "copies", 0, "", Never);
  ASSERT_TRUE(made.ok()) << made.status();
  EXPECT_EQ(made->kept, 1);
}

TEST(ReadingAStore, ChangesNothingAndWritesNothing) {
  const TempDirectory directory;
  const std::string path = directory / "store";
  EXPECT_TRUE(absl::IsNotFound(ReadRocksDbStore(path).status()));
  EXPECT_FALSE(fs::exists(path));
  {
    auto store = OpenRocksDbStore(OptionsFor(path)).value();
    Put(*store, 1, 100);
    EXPECT_TRUE(absl::IsFailedPrecondition(ReadRocksDbStore(path).status())) << "it is in use";
  }
  const auto before = FilesIn(path);
  for (const bool small : {false, true}) {
    const auto store = ReadRocksDbStore(path, small);
    ASSERT_TRUE(store.ok()) << store.status();
    EXPECT_EQ(Count(**store, Space::kLog), 100);
    if (!small) {
      EXPECT_EQ(Count(**store), 100);
    }
    Batch batch;
    batch.Put(Space::kMeta, "a", "b");
    EXPECT_FALSE((*store)->Write(batch, true).ok());
  }
  EXPECT_EQ(FilesIn(path), before);
}

TEST(Files, ThatAreDamagedAreFoundByReadingAll) {
  const TempDirectory directory;
  const std::string path = directory / "store";
  Put(*OpenRocksDbStore(OptionsFor(path)).value(), 1, 2000);
  auto store = OpenRocksDbStore(OptionsFor(path)).value();
  EXPECT_TRUE(store->CheckFiles(Never).ok());
  EXPECT_TRUE(absl::IsCancelled(store->CheckFiles([] { return true; })));
  store.reset();
  for (const auto& file : fs::directory_iterator(path)) {
    if (file.path().extension() != ".sst") continue;
    std::fstream table(file.path(), std::ios::in | std::ios::out | std::ios::binary);
    table.seekp(20);
    table.put('\x7f');
  }
  store = OpenRocksDbStore(OptionsFor(path)).value();
  const absl::Status damaged = store->CheckFiles(Never);
  EXPECT_TRUE(absl::IsDataLoss(damaged)) << damaged;
  EXPECT_THAT(std::string(damaged.message()), HasSubstr(".sst"));
}

}  // namespace
}  // namespace plumblane
