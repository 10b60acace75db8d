#include "storage/rocksdb/rocksdb_store.h"

#include <absl/strings/str_cat.h>
#include <rocksdb/db.h>
#include <rocksdb/write_batch.h>

#include <atomic>

#include <filesystem>

#include "storage/rocksdb/rocksdb_options.h"

namespace plumblane {
namespace {

rocksdb::Slice ToSlice(std::string_view text) { return {text.data(), text.size()}; }

absl::Status ToStatus(const rocksdb::Status& status) {
  if (status.ok()) return absl::OkStatus();
  const std::string text = status.ToString();
  return status.IsCorruption() ? absl::DataLossError(text) : absl::UnavailableError(text);
}

// The open database and its column families, kept alive by every snapshot.
struct Database {
  std::unique_ptr<rocksdb::DB> db;
  std::vector<rocksdb::ColumnFamilyHandle*> families;
  std::atomic<bool> write_failed = false;

  rocksdb::ColumnFamilyHandle* Of(Space space) const {
    return families[static_cast<size_t>(space)];
  }
  ~Database() {
    // After a failed write this library version can abort while it closes. Nothing needs closing:
    // what was synced is safe, and the next start reads it anew.
    if (write_failed) {
      static_cast<void>(db.release());
      return;
    }
    for (auto* family : families) db->DestroyColumnFamilyHandle(family);
    if (db) db->Close();
  }
};

class RocksDbSnapshot final : public Snapshot {
 public:
  explicit RocksDbSnapshot(std::shared_ptr<const Database> database)
      : database_(std::move(database)), snapshot_(database_->db->GetSnapshot()) {
    read_.snapshot = snapshot_;
    read_.verify_checksums = true;
  }
  ~RocksDbSnapshot() override { database_->db->ReleaseSnapshot(snapshot_); }
  RocksDbSnapshot(const RocksDbSnapshot&) = delete;
  RocksDbSnapshot& operator=(const RocksDbSnapshot&) = delete;

  absl::StatusOr<std::optional<std::string>> Get(Space space, std::string_view key) const override {
    std::string value;
    const rocksdb::Status status =
        database_->db->Get(read_, database_->Of(space), ToSlice(key), &value);
    if (status.IsNotFound()) return std::nullopt;
    if (!status.ok()) return ToStatus(status);
    return std::optional(std::move(value));
  }

  absl::StatusOr<std::vector<std::optional<std::string>>> GetAll(
      Space space, const std::vector<std::string>& keys) const override {
    std::vector<rocksdb::Slice> slices(keys.begin(), keys.end());
    std::vector<rocksdb::PinnableSlice> found(keys.size());
    std::vector<rocksdb::Status> statuses(keys.size());
    database_->db->MultiGet(read_, database_->Of(space), keys.size(), slices.data(), found.data(),
                            statuses.data());
    std::vector<std::optional<std::string>> values(keys.size());
    for (size_t i = 0; i < keys.size(); ++i) {
      if (statuses[i].IsNotFound()) continue;
      if (!statuses[i].ok()) return ToStatus(statuses[i]);
      values[i] = found[i].ToString();
    }
    return values;
  }

  absl::Status Scan(Space space, std::string_view prefix, std::string_view from,
                    const Each& each) const override {
    rocksdb::ReadOptions read = read_;
    // A whole space is read once; what is in memory for other questions stays there.
    read.fill_cache = !prefix.empty() || !from.empty();
    const std::unique_ptr<rocksdb::Iterator> it(
        database_->db->NewIterator(read, database_->Of(space)));
    for (it->Seek(ToSlice(std::max(prefix, from))); it->Valid(); it->Next()) {
      const std::string_view key(it->key().data(), it->key().size());
      if (!key.starts_with(prefix)) break;
      if (!each(key, {it->value().data(), it->value().size()})) break;
    }
    return ToStatus(it->status());
  }

 private:
  const std::shared_ptr<const Database> database_;
  const rocksdb::Snapshot* const snapshot_;
  rocksdb::ReadOptions read_;
};

class RocksDbStore final : public Store {
 public:
  explicit RocksDbStore(std::shared_ptr<Database> database) : database_(std::move(database)) {}

  std::shared_ptr<const Snapshot> TakeSnapshot() const override {
    return std::make_shared<RocksDbSnapshot>(database_);
  }

  absl::Status Write(const Batch& batch, bool sync) override {
    rocksdb::WriteBatch writes;
    for (const Batch::Change& change : batch.changes) {
      auto* family = database_->Of(change.space);
      const rocksdb::Status status = change.value ? writes.Put(family, change.key, *change.value)
                                                  : writes.Delete(family, change.key);
      if (!status.ok()) return ToStatus(status);
    }
    const rocksdb::Status written = database_->db->Write(WriteOptionsFor(sync), &writes);
    if (!written.ok()) database_->write_failed = true;
    return ToStatus(written);
  }

 private:
  const std::shared_ptr<Database> database_;
};

// By another process, or by this one. There is no code of its own for it.
bool IsHeldLock(const rocksdb::Status& status) {
  const std::string text = status.ToString();
  return status.IsIOError() && (text.find("While lock file") != std::string::npos ||
                                text.find("lock hold by current process") != std::string::npos);
}

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

// Whether a store may be opened or made at `path`. Opening would add our families to a database of
// another program that has the default one only.
absl::Status CheckIsOurs(const std::string& path) {
  if (HasLostItsRoot(path)) {
    return absl::DataLossError(path + " has data but no file CURRENT; restore it from a backup");
  }
  std::vector<std::string> families;
  if (!rocksdb::DB::ListColumnFamilies({}, path, &families).ok()) return absl::OkStatus();
  if (families.size() >= static_cast<size_t>(kSpaceCount)) return absl::OkStatus();
  // Either another program's or one of ours whose making was cut short; that holds nothing.
  rocksdb::DB* raw = nullptr;
  const rocksdb::Status status =
      rocksdb::DB::OpenForReadOnly(rocksdb::Options(DbOptionsFor(), {}), path, &raw);
  const std::unique_ptr<rocksdb::DB> db(raw);
  if (status.IsInvalidArgument()) return absl::DataLossError(path + " holds other data");
  if (!status.ok()) return ToStatus(status);
  const std::unique_ptr<rocksdb::Iterator> it(db->NewIterator({}));
  it->SeekToFirst();
  if (!it->status().ok()) return ToStatus(it->status());
  return it->Valid() ? absl::DataLossError(path + " holds other data") : absl::OkStatus();
}

}  // namespace

absl::StatusOr<std::unique_ptr<Store>> OpenRocksDbStore(const RocksDbStoreOptions& options) {
  // The library's own choice cuts a small cache into so many parts that large blocks fit into none.
  constexpr int kShardBits = 3;
  const auto cache =
      rocksdb::NewLRUCache(static_cast<size_t>(options.block_cache_bytes), kShardBits);
  std::vector<rocksdb::ColumnFamilyDescriptor> families;
  families.reserve(kSpaceCount);
  for (int i = 0; i < kSpaceCount; ++i) {
    families.emplace_back(std::string(kSpaceNames[i]),
                          FamilyOptionsFor(options, static_cast<Space>(i), cache));
  }
  if (absl::Status status = CheckIsOurs(options.path); !status.ok()) return status;
  auto database = std::make_shared<Database>();
  rocksdb::DB* db = nullptr;
  const rocksdb::Status status =
      rocksdb::DB::Open(DbOptionsFor(), options.path, families, &database->families, &db);
  database->db.reset(db);
  if (!status.ok()) {
    const std::string text = status.ToString();
    if (IsHeldLock(status)) {
      return absl::FailedPreconditionError(
          absl::StrCat(options.path, " is in use by another daemon (", text, ")"));
    }
    // Unknown column families are reported as an invalid argument: not a directory of ours.
    if (status.IsInvalidArgument()) {
      return absl::DataLossError(absl::StrCat(options.path, " holds other data: ", text));
    }
    return ToStatus(status);
  }
  return std::make_unique<RocksDbStore>(std::move(database));
}

}  // namespace plumblane
