#include "storage/rocksdb/rocksdb_store.h"

#include <absl/strings/str_cat.h>
#include <rocksdb/db.h>
#include <rocksdb/env.h>
#include <rocksdb/metadata.h>
#include <rocksdb/sst_file_reader.h>
#include <rocksdb/write_batch.h>
#include <rocksdb/write_buffer_manager.h>

#include <algorithm>
#include <filesystem>
#include <mutex>
#include <utility>

#include "storage/rocksdb/rocksdb_backup.h"
#include "storage/rocksdb/rocksdb_database.h"
#include "storage/rocksdb/rocksdb_options.h"

namespace plumblane {
namespace {

// Of a write batch besides keys and values, at most.
constexpr size_t kBytesOfBatch = 12, kBytesOfChange = 12;

class RocksDbStore final : public DiskStore {
 public:
  explicit RocksDbStore(std::shared_ptr<Database> database) : database_(std::move(database)) {
    const rocksdb::DBOptions options = database_->db->GetDBOptions();
    write_buffer_bytes_ = options.db_write_buffer_size;
    in_memory_ = options.write_buffer_manager;
  }

  std::shared_ptr<const Snapshot> TakeSnapshot() const override { return SnapshotOf(database_); }

  absl::Status Write(const Batch& batch, bool sync) override {
    // Also after a failure in the background, whether or not the library would go on.
    if (absl::Status failed = database_->failure->why(); !failed.ok()) return failed;
    CountNothing();
    // A large entry is tens of megabytes, which would be moved as they grow.
    size_t bytes = kBytesOfBatch;
    for (const Batch::Change& change : batch.changes) {
      bytes += kBytesOfChange + change.key.size() + (change.value ? change.value->size() : 0);
    }
    rocksdb::WriteBatch writes(bytes);
    for (const Batch::Change& change : batch.changes) {
      auto* family = database_->Of(change.space);
      const rocksdb::Status status = change.value ? writes.Put(family, change.key, *change.value)
                                                  : writes.Delete(family, change.key);
      if (!status.ok()) return ToStatus(status);
    }
    absl::Status written = ToStatus(database_->db->Write(WriteOptionsFor(sync), &writes));
    if (written.ok() && HasFilledMemory()) written = WriteTables();
    if (!written.ok()) database_->failure->Note(written);
    return written;
  }

  absl::Status CheckFiles(const std::function<bool()>& give_up) const override {
    std::vector<rocksdb::LiveFileMetaData> files;
    database_->db->GetLiveFilesMetaData(&files);
    for (const rocksdb::LiveFileMetaData& file : files) {
      if (give_up()) return absl::CancelledError("given up");
      rocksdb::SstFileReader reader(rocksdb::Options(database_->db->GetDBOptions(), {}));
      rocksdb::Status status = reader.Open(file.db_path + file.name);
      if (status.ok()) status = reader.VerifyChecksum(ReadOptionsFor(nullptr));
      // Meanwhile merged into others.
      if (!status.ok() && !IsLive(file.name)) continue;
      if (!status.ok()) return absl::DataLossError(file.name.substr(1) + ": " + status.ToString());
    }
    return absl::OkStatus();
  }

  absl::StatusOr<Backup> BackUp(const std::string& directory, int keep, const std::string& note,
                                const std::function<bool()>& give_up) override {
    return MakeBackup(*database_, directory, keep, note, give_up);
  }

 private:
  bool HasFilledMemory() const {
    return in_memory_->mutable_memtable_memory_usage() >= write_buffer_bytes_;
  }

  // Of all that is in memory, in the background. First the log is synced, by a write, as only that
  // leaves nothing of it to sync: where the library's threads and the next write both sync it and
  // one fails, this version aborts.
  absl::Status WriteTables() {
    const std::lock_guard lock(writing_tables_);
    if (!HasFilledMemory()) return absl::OkStatus();  // another has written them
    rocksdb::DB& db = *database_->db;
    rocksdb::WriteBatch nothing;
    const rocksdb::Status synced = db.Write(WriteOptionsFor(/*sync=*/true), &nothing);
    if (!synced.ok()) return ToStatus(synced);
    rocksdb::FlushOptions flush;
    flush.wait = false;
    flush.allow_write_stall = true;
    return ToStatus(db.Flush(flush, database_->families));
  }

  bool IsLive(const std::string& name) const {
    std::vector<rocksdb::LiveFileMetaData> files;
    database_->db->GetLiveFilesMetaData(&files);
    return std::any_of(files.begin(), files.end(),
                       [&](const auto& file) { return file.name == name; });
  }

  const std::shared_ptr<Database> database_;
  size_t write_buffer_bytes_;
  std::shared_ptr<const rocksdb::WriteBufferManager> in_memory_;
  std::mutex writing_tables_;
};

// The file that opening starts from is gone while others are there. Opening would make a new, empty
// store and delete the rest.
bool HasLostItsRoot(const std::string& path) {
  namespace fs = std::filesystem;
  std::error_code error;
  if (fs::exists(path + "/CURRENT", error)) return false;
  for (fs::directory_iterator file(path, error), end; !error && file != end;
       file.increment(error)) {
    const fs::path kind = file->path().extension();
    if (kind == ".sst" || kind == ".log") return true;
  }
  return false;
}

absl::Status LostRoot(const std::string& path) {
  return absl::DataLossError(path + " has data but no file CURRENT; restore it from a backup");
}

// Whether a store may be opened or made at `path`. Opening would add our families to a database of
// another program that has the default one only.
absl::Status CheckIsOurs(const std::string& path) {
  if (HasLostItsRoot(path)) {
    return LostRoot(path);
  }
  std::vector<std::string> families;
  if (!rocksdb::DB::ListColumnFamilies({}, path, &families).ok()) return absl::OkStatus();
  if (families.size() >= static_cast<size_t>(kSpaceCount)) return absl::OkStatus();
  // Either another program's or one of ours whose making was cut short; that holds nothing.
  rocksdb::DB* raw = nullptr;
  const rocksdb::Status status = rocksdb::DB::OpenForReadOnly(
      rocksdb::Options(DbOptionsFor({.path = path}, std::make_shared<Failure>(nullptr)), {}), path,
      &raw);
  const std::unique_ptr<rocksdb::DB> db(raw);
  if (status.IsInvalidArgument()) return absl::DataLossError(path + " holds other data");
  if (!status.ok()) return ToStatus(status);
  const std::unique_ptr<rocksdb::Iterator> it(db->NewIterator({}));
  it->SeekToFirst();
  if (!it->status().ok()) return ToStatus(it->status());
  return it->Valid() ? absl::DataLossError(path + " holds other data") : absl::OkStatus();
}

absl::StatusOr<std::unique_ptr<DiskStore>> Open(const RocksDbStoreOptions& options,
                                                rocksdb::WALRecoveryMode mode) {
  if (absl::Status status = CheckIsOurs(options.path); !status.ok()) return status;
  auto database = std::make_shared<Database>();
  database->failure = std::make_shared<Failure>(options.failed);
  rocksdb::DBOptions db_options = DbOptionsFor(options, database->failure);
  db_options.wal_recovery_mode = mode;
  // Who merges tables gives way to who answers, as the writer does.
  for (const auto pool : {rocksdb::Env::LOW, rocksdb::Env::HIGH}) {
    db_options.env->LowerThreadPoolCPUPriority(pool, rocksdb::CpuPriority::kLow);
  }
  CountNothing();
  rocksdb::DB* db = nullptr;
  const rocksdb::Status status = rocksdb::DB::Open(
      db_options, options.path, FamiliesFor(options, AllSpaces()), &database->families, &db);
  database->db.reset(db);
  if (!status.ok()) return WhyNotOpened(options.path, status);
  return std::make_unique<RocksDbStore>(std::move(database));
}

}  // namespace

absl::StatusOr<std::unique_ptr<DiskStore>> OpenRocksDbStore(const RocksDbStoreOptions& options) {
  return Open(options, DbOptionsFor(options, nullptr).wal_recovery_mode);
}

absl::Status CutOffDamage(const std::string& path) {
  return Open({.path = path}, rocksdb::WALRecoveryMode::kPointInTimeRecovery).status();
}

absl::StatusOr<std::unique_ptr<DiskStore>> ReadRocksDbStore(const std::string& path,
                                                            bool small_spaces_only) {
  if (HasLostItsRoot(path)) return LostRoot(path);
  std::error_code error;
  if (!std::filesystem::exists(path + "/CURRENT", error)) {
    return absl::NotFoundError("there is no store at " + path);
  }
  // Opening to read takes no lock, and could take files that another is changing for damaged ones.
  rocksdb::FileLock* lock = nullptr;
  const rocksdb::Status locked = rocksdb::Env::Default()->LockFile(path + "/LOCK", &lock);
  if (!locked.ok()) return WhyNotOpened(path, locked);
  const std::vector<Space> spaces =
      small_spaces_only ? std::vector{Space::kMeta, Space::kLog} : AllSpaces();
  auto database = std::make_shared<Database>();
  database->failure = std::make_shared<Failure>(nullptr);
  std::vector<rocksdb::ColumnFamilyHandle*> opened;
  rocksdb::DB* db = nullptr;
  rocksdb::DBOptions options = DbOptionsFor({.path = path}, database->failure);
  options.create_if_missing = options.create_missing_column_families = false;
  const rocksdb::Status status = rocksdb::DB::OpenForReadOnly(
      options, path, FamiliesFor({.path = path}, spaces), &opened, &db);
  database->db.reset(db);
  rocksdb::Env::Default()->UnlockFile(lock);
  if (!status.ok()) return WhyNotOpened(path, status);
  database->families.resize(kSpaceCount, nullptr);
  for (size_t i = 0; i < spaces.size(); ++i) {
    database->families[static_cast<size_t>(spaces[i])] = opened[i];
  }
  return std::make_unique<RocksDbStore>(std::move(database));
}

}  // namespace plumblane
