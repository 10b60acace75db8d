// What only the store on disk promises: one owner, everything kept, damage told from a torn end,
// nobody else's files touched.
#include "storage/rocksdb/rocksdb_store.h"

#include <absl/strings/str_cat.h>
#include <fcntl.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <rocksdb/db.h>
#include <rocksdb/perf_context.h>
#include <rocksdb/perf_level.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <functional>
#include <iterator>
#include <thread>
#include <vector>

#include "contract/stores.h"

namespace plumblane {
namespace {

namespace fs = std::filesystem;
using test::OptionsFor;
using test::TempDirectory;
using ::testing::AllOf;
using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;

absl::StatusOr<std::unique_ptr<Store>> Open(const std::string& path) {
  return OpenRocksDbStore(OptionsFor(path));
}

absl::Status WhyNot(const std::string& path) { return Open(path).status(); }

std::string Key(int number) { return absl::StrCat("order-", number); }
std::string Value(int number) { return absl::StrCat("value-", number, std::string(300, '.')); }

void Put(Store& store, int number, bool sync) {
  Batch batch;
  batch.Put(Space::kOrders, Key(number), Value(number));
  batch.Put(Space::kMeta, "last", absl::StrCat(number));
  const absl::Status status = store.Write(batch, sync);
  ASSERT_TRUE(status.ok()) << status;
}

// Each in a batch of its own; a sync covers all that was written before it.
void PutSynced(Store& store, int first, int last) {
  for (int number = first; number <= last; ++number) Put(store, number, number == last);
}

// How many of the orders from 1 on are there; all must be whole, "last" must be the last of them.
int Count(const Store& store) {
  const auto snapshot = store.TakeSnapshot();
  int count = 0;
  while (snapshot->Get(Space::kOrders, Key(count + 1)).value() == Value(count + 1)) ++count;
  EXPECT_EQ(snapshot->Get(Space::kOrders, Key(count + 1)).value(), std::nullopt);
  const auto last = snapshot->Get(Space::kMeta, "last").value();
  EXPECT_EQ(last.value_or("0"), absl::StrCat(count)) << "a batch is there in part";
  return count;
}

std::string ReadAll(const std::string& path) {
  std::ifstream in(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

void WriteAll(const std::string& path, const std::string& bytes) {
  std::ofstream(path, std::ios::binary) << bytes;
}

std::string NewestWal(const std::string& path) {
  std::string newest;
  for (const auto& file : fs::directory_iterator(path)) {
    if (file.path().extension() == ".log") newest = std::max(newest, file.path().string());
  }
  EXPECT_NE(newest, "");
  return newest;
}

TEST(RocksDbStore, KeepsEverythingWhenItIsOpenedAgain) {
  const TempDirectory directory;
  const std::string path = directory / "store";
  for (int run = 0; run < 3; ++run) {
    auto store = Open(path);
    ASSERT_TRUE(store.ok()) << store.status();
    EXPECT_EQ(Count(**store), run * 50);
    PutSynced(**store, run * 50 + 1, run * 50 + 50);
  }
}

TEST(RocksDbStore, KeepsDeletionsToo) {
  const TempDirectory directory;
  const std::string path = directory / "store";
  {
    auto store = Open(path).value();
    PutSynced(*store, 1, 1);
  }
  {
    auto store = Open(path).value();
    Batch batch;
    batch.Delete(Space::kOrders, Key(1));
    batch.Delete(Space::kMeta, "last");
    ASSERT_TRUE(store->Write(batch, true).ok());
  }
  EXPECT_EQ(Count(*Open(path).value()), 0);
}

// By the library's own count of what a reader of an older state goes past.
TEST(RocksDbStore, ReadingAPrefixGoesThroughNothingThatFollowsIt) {
  const TempDirectory directory;
  auto store = Open(directory.path());
  ASSERT_TRUE(store.ok());
  const auto write = [&](const std::string& prefix) {
    Batch batch;
    for (int i = 0; i < 1000; ++i) {
      batch.Put(Space::kCells, absl::StrCat(prefix, Key(i)), Value(i));
    }
    ASSERT_TRUE((*store)->Write(batch, false).ok());
  };
  write("a");
  const auto before = (*store)->TakeSnapshot();
  write("b");
  write("c\xFF");
  rocksdb::SetPerfLevel(rocksdb::PerfLevel::kEnableCount);
  rocksdb::get_perf_context()->Reset();
  for (const std::string_view prefix : {"aa", "b", "c\xFF"}) {
    int found = 0;
    const absl::Status read =
        before->Scan(Space::kCells, prefix, "", [&](auto, auto) { return ++found > 0; });
    EXPECT_TRUE(read.ok());
    EXPECT_EQ(found, 0) << prefix;
  }
  int found = 0;
  EXPECT_TRUE(before->Scan(Space::kCells, "a", "", [&](auto, auto) { return ++found > 0; }).ok());
  EXPECT_EQ(found, 1000);
  // Those of b and c themselves, once, and not those behind a as well.
  EXPECT_LE(rocksdb::get_perf_context()->internal_recent_skipped_count, 2100);
  EXPECT_GE(rocksdb::get_perf_context()->internal_recent_skipped_count, 1000)
      << "nothing is counted";
  rocksdb::SetPerfLevel(rocksdb::PerfLevel::kDisable);
}

TEST(RocksDbStore, LetsTheLibraryCountNothingInTheThreadsThatUseIt) {
  const TempDirectory directory;
  auto store = Open(directory.path());
  ASSERT_TRUE(store.ok());
  const auto snapshot = (*store)->TakeSnapshot();
  const std::function<void()> uses[] = {
      [&] { ASSERT_TRUE((*store)->Write({}, false).ok()); },
      [&] { ASSERT_TRUE(snapshot->Get(Space::kMeta, "a").ok()); },
      [&] { ASSERT_TRUE(snapshot->GetAll(Space::kMeta, {"a"}).ok()); },
      [&] {
        ASSERT_TRUE(snapshot->Scan(Space::kMeta, "a", "", [](auto, auto) { return true; }).ok());
      },
      [&] { snapshot->ScannerOf(Space::kMeta); }};
  for (const auto& use : uses) {
    std::thread([&] {
      EXPECT_EQ(rocksdb::GetPerfLevel(), rocksdb::PerfLevel::kEnableCount);
      use();
      EXPECT_EQ(rocksdb::GetPerfLevel(), rocksdb::PerfLevel::kDisable);
    }).join();
  }
}

// It is read again by a start after a crash, which this so keeps short.
TEST(RocksDbStore, TheLogOfWhatIsWrittenHoldsNoMoreThanTheBufferTwiceHoweverManySpacesAreWritten) {
  const TempDirectory directory;
  const auto store = Open(directory.path()).value();
  const auto bytes_of_logs = [&] {
    uintmax_t bytes = 0;
    for (const auto& file : fs::directory_iterator(directory.path())) {
      std::error_code gone;
      const uintmax_t size = fs::file_size(file, gone);
      if (file.path().extension() == ".log" && !gone) bytes += size;
    }
    return bytes;
  };
  const auto buffer = static_cast<uintmax_t>(OptionsFor("").write_buffer_bytes);
  uintmax_t written = 0, most = 0;
  for (int number = 0; written < 8 * buffer; ++number) {
    Batch batch;
    for (const Space space : {Space::kOrders, Space::kCells, Space::kIndex, Space::kLog}) {
      for (int i = 0; i < 100; ++i) {
        batch.Put(space, absl::StrCat(Key(i), "-", number), std::string(30, 'v'));
        written += batch.changes.back().key.size() + 30;
      }
    }
    ASSERT_TRUE(store->Write(batch, false).ok());
    most = std::max(most, bytes_of_logs());
  }
  EXPECT_LE(most, 2 * buffer) << "one that is filled and one that is on its way into a table";
  EXPECT_GE(most, buffer / 4) << "nothing was seen of it";
}

TEST(RocksDbStore, IsOpenedOnceOnly) {
  const TempDirectory directory;
  auto store = Open(directory / "store").value();
  const absl::Status second = WhyNot(directory / "store");
  EXPECT_TRUE(absl::IsFailedPrecondition(second)) << second;
  EXPECT_THAT(std::string(second.message()),
              AllOf(HasSubstr(directory / "store"), HasSubstr("in use by another daemon")));
  PutSynced(*store, 1, 1);  // the first is unharmed
  store.reset();
  EXPECT_EQ(Count(*Open(directory / "store").value()), 1);
}

// A process that holds the store's lock, as a second daemon would.
class LockHolder {
 public:
  explicit LockHolder(const std::string& lock_file) {
    int ready[2];
    EXPECT_EQ(pipe(ready), 0);
    child_ = fork();
    if (child_ == 0) {
      struct flock lock {};
      lock.l_type = F_WRLCK;
      lock.l_whence = SEEK_SET;
      const int file = open(lock_file.c_str(), O_RDWR);
      const char answer = fcntl(file, F_SETLK, &lock) == 0 ? 'y' : 'n';
      if (write(ready[1], &answer, 1) != 1) _exit(1);
      pause();
      _exit(0);
    }
    EXPECT_EQ(read(ready[0], &held_, 1), 1);
    close(ready[0]);
    close(ready[1]);
  }
  ~LockHolder() {
    kill(child_, SIGKILL);
    waitpid(child_, nullptr, 0);
  }
  LockHolder(const LockHolder&) = delete;
  LockHolder& operator=(const LockHolder&) = delete;
  bool held() const { return held_ == 'y'; }

 private:
  pid_t child_ = -1;
  char held_ = 'n';
};

TEST(RocksDbStore, ThatAnotherProcessHasOpenIsRefusedUntilItEnds) {
  const TempDirectory directory;
  PutSynced(*Open(directory / "store").value(), 1, 5);
  {
    const LockHolder holder(directory / "store/LOCK");
    ASSERT_TRUE(holder.held());
    const absl::Status refused = WhyNot(directory / "store");
    EXPECT_TRUE(absl::IsFailedPrecondition(refused)) << refused;
    EXPECT_THAT(std::string(refused.message()), HasSubstr("in use by another daemon"));
  }
  EXPECT_EQ(Count(*Open(directory / "store").value()), 5);
}

// A store whose write-ahead log holds 300 synced batches, each several hundred bytes, and what
// becomes of copies of it.
class DamagedStore : public ::testing::Test {
 protected:
  static constexpr int kWritten = 300;

  DamagedStore() {
    PutSynced(*Open(original()).value(), 1, kWritten);
    wal_name_ = fs::path(NewestWal(original())).filename().string();
    wal_ = ReadAll(NewestWal(original()));
    EXPECT_GT(wal_.size(), 100'000u);  // several blocks of 32 KiB
  }
  std::string original() const { return directory_ / "original"; }

  // The path of a copy with these bytes as its write-ahead log.
  std::string CopyWith(const std::string& wal) {
    const std::string path = directory_ / absl::StrCat("copy", ++copies_);
    fs::copy(original(), path);
    WriteAll(path + "/" + wal_name_, wal);
    return path;
  }
  // Where the bytes of an order's value lie in the log.
  size_t PlaceOf(int number) const { return wal_.find(absl::StrCat("value-", number, ".")); }
  std::string WithBitFlipped(size_t at) const {
    std::string flipped = wal_;
    flipped.at(at) = static_cast<char>(flipped[at] ^ 0x10);
    return flipped;
  }

  TempDirectory directory_;
  std::string wal_name_, wal_;
  int copies_ = 0;
};

TEST_F(DamagedStore, UndamagedItOpens) {
  EXPECT_EQ(Count(*Open(CopyWith(wal_)).value()), kWritten);
}

TEST_F(DamagedStore, ATornLastRecordIsForgivenAndTheRestIsThere) {
  const size_t last = wal_.size() - PlaceOf(kWritten);
  for (size_t cut = 1; cut < last; cut += 29) {
    const auto store = Open(CopyWith(wal_.substr(0, wal_.size() - cut)));
    ASSERT_TRUE(store.ok()) << cut << ": " << store.status();
    EXPECT_EQ(Count(**store), kWritten - 1) << cut;
  }
}

TEST_F(DamagedStore, GarbageAfterTheLastRecordIsForgiven) {
  for (const std::string& garbage :
       {std::string(1, 'x'), std::string(6, '\xff'), std::string(100, '\0')}) {
    const auto store = Open(CopyWith(wal_ + garbage));
    ASSERT_TRUE(store.ok()) << store.status();
    EXPECT_EQ(Count(**store), kWritten);
  }
}

TEST_F(DamagedStore, WhatIsWrittenAfterATornEndIsKept) {
  const std::string path = CopyWith(wal_.substr(0, wal_.size() - 37));
  PutSynced(*Open(path).value(), kWritten, kWritten + 20);
  EXPECT_EQ(Count(*Open(path).value()), kWritten + 20);
}

TEST_F(DamagedStore, AFlippedBitInTheMiddleIsRefusedAndNothingIsChanged) {
  for (const int number : {1, 2, 100, 150, 250, kWritten}) {
    const std::string path = CopyWith(WithBitFlipped(PlaceOf(number) + 50));
    const std::string damaged = ReadAll(path + "/" + wal_name_);
    for (int attempt = 1; attempt <= 2; ++attempt) {
      const absl::Status refused = WhyNot(path);
      EXPECT_TRUE(absl::IsDataLoss(refused)) << number << ": " << refused;
    }
    EXPECT_EQ(ReadAll(path + "/" + wal_name_), damaged);
    // It was the flip: without it the same files open.
    WriteAll(path + "/" + wal_name_, wal_);
    const auto store = Open(path);
    ASSERT_TRUE(store.ok()) << store.status();
    EXPECT_EQ(Count(**store), kWritten);
  }
}

TEST_F(DamagedStore, ADamagedTableIsDataLossWhateverItsMessageSays) {
  // Opened once more, what was in the log is in a table.
  Open(original()).value().reset();
  for (const auto& file : fs::directory_iterator(original())) {
    if (file.path().extension() != ".sst") continue;
    // The end of the file tells where its parts lie.
    std::string table = ReadAll(file.path().string());
    for (size_t at = table.size() - 600; at < table.size() - 60; at += 7) table[at] ^= 0x10;
    WriteAll(file.path().string(), table);
  }
  const absl::Status refused = WhyNot(original());
  EXPECT_TRUE(absl::IsDataLoss(refused)) << refused;
  // "block checksum mismatch" has nothing to do with a lock.
  EXPECT_THAT(std::string(refused.message()), ::testing::Not(HasSubstr("in use")));
}

TEST_F(DamagedStore, WithoutItsRootFileItIsNotTakenForANewOne) {
  const std::string in_log = CopyWith(wal_), in_tables = CopyWith(wal_);
  Open(in_tables).value().reset();
  for (const std::string& path : {in_log, in_tables}) {
    fs::remove(path + "/CURRENT");
    for (int attempt = 1; attempt <= 2; ++attempt) {
      const absl::Status refused = WhyNot(path);
      EXPECT_TRUE(absl::IsDataLoss(refused)) << path << " " << attempt << ": " << refused;
    }
  }
  EXPECT_EQ(ReadAll(in_log + "/" + wal_name_), wal_);
  // Nothing was deleted either: with the file back, everything is.
  fs::copy(original() + "/CURRENT", in_log + "/CURRENT");
  EXPECT_EQ(Count(*Open(in_log).value()), kWritten);
}

TEST_F(DamagedStore, WithAnUnreadableRootFileItIsRefused) {
  for (const char* content : {"", "MANIFEST-999999\n", "nonsense"}) {
    const std::string path = CopyWith(wal_);
    WriteAll(path + "/CURRENT", content);
    EXPECT_FALSE(Open(path).ok()) << content;
    EXPECT_EQ(ReadAll(path + "/" + wal_name_), wal_);
  }
}

// Another program's database, with these column families besides the default one.
void MakeForeign(const std::string& path, const std::vector<std::string>& families, bool empty) {
  rocksdb::Options options;
  options.create_if_missing = true;
  rocksdb::DB* raw = nullptr;
  ASSERT_TRUE(rocksdb::DB::Open(options, path, &raw).ok());
  const std::unique_ptr<rocksdb::DB> db(raw);
  if (!empty) {
    ASSERT_TRUE(db->Put({}, "theirs", "1").ok());
  }
  for (const std::string& name : families) {
    rocksdb::ColumnFamilyHandle* family = nullptr;
    ASSERT_TRUE(db->CreateColumnFamily({}, name, &family).ok());
    ASSERT_TRUE(db->DestroyColumnFamilyHandle(family).ok());
  }
}

std::vector<std::string> FamiliesIn(const std::string& path) {
  std::vector<std::string> families;
  EXPECT_TRUE(rocksdb::DB::ListColumnFamilies({}, path, &families).ok());
  return families;
}

TEST(RocksDbStore, AnotherProgramsDatabaseIsRefusedAndLeftAsItWas) {
  const TempDirectory directory;
  MakeForeign(directory / "plain", {}, /*empty=*/false);
  MakeForeign(directory / "split", {"their family"}, /*empty=*/false);
  MakeForeign(directory / "hollow", {"their family"}, /*empty=*/true);
  for (const char* name : {"plain", "split", "hollow"}) {
    const auto families = FamiliesIn(directory / name);
    const absl::Status refused = WhyNot(directory / name);
    EXPECT_TRUE(absl::IsDataLoss(refused)) << name << ": " << refused;
    EXPECT_THAT(std::string(refused.message()), HasSubstr("holds other data"));
    EXPECT_EQ(FamiliesIn(directory / name), families);
  }
}

TEST(RocksDbStore, CutShortWhileItWasMadeItIsFinished) {
  const TempDirectory directory;
  MakeForeign(directory / "bare", {}, /*empty=*/true);
  MakeForeign(directory / "half", {"orders", "cells"}, /*empty=*/true);
  for (const char* name : {"bare", "half"}) {
    auto store = Open(directory / name);
    ASSERT_TRUE(store.ok()) << store.status();
    PutSynced(**store, 1, 3);
    EXPECT_THAT(FamiliesIn(directory / name),
                ::testing::UnorderedElementsAre("default", "orders", "cells", "index", "log"));
  }
}

TEST(RocksDbStore, APathThatCannotBeADirectoryIsUnavailable) {
  const TempDirectory directory;
  WriteAll(directory / "file", "");
  // Whatever the path is called: only a held lock is "in use".
  for (const char* path : {"file", "file/store", "file/lock/LOCK"}) {
    const absl::Status refused = WhyNot(directory / path);
    EXPECT_TRUE(absl::IsUnavailable(refused)) << path << ": " << refused;
  }
}

}  // namespace
}  // namespace plumblane
