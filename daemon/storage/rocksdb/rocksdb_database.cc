#include "storage/rocksdb/rocksdb_database.h"

#include <absl/strings/str_cat.h>

#include <algorithm>
#include <filesystem>
#include <mutex>
#include <utility>

#include "storage/prefix_end.h"

namespace plumblane {
namespace {

rocksdb::Slice ToSlice(std::string_view text) { return {text.data(), text.size()}; }

std::string_view ToView(const rocksdb::Slice& slice) { return {slice.data(), slice.size()}; }

// Goes through what begins with `prefix` from where `it` is.
absl::Status ScanFrom(rocksdb::Iterator& it, std::string_view prefix, const Snapshot::Each& each) {
  for (; it.Valid(); it.Next()) {
    const std::string_view key = ToView(it.key());
    if (!key.starts_with(prefix) || !each(key, ToView(it.value()))) break;
  }
  return ToStatus(it.status());
}

// Scans in turn with one iterator. To make one and to seek in every table takes a hundred
// microseconds where there are many. Going on to the next prefix step by step instead of seeking
// gained nothing (of 100,000 pairs, two measures of ten read: 32 steps at most were dearer).
class IteratorScanner {
 public:
  explicit IteratorScanner(std::unique_ptr<rocksdb::Iterator> it) : it_(std::move(it)) {}

  absl::Status Scan(std::string_view prefix, std::string_view from, const Snapshot::Each& each) {
    const std::string_view target = std::max(prefix, from);
    if (!IsAt(target)) it_->Seek(ToSlice(target));
    // From beyond what begins so, nothing was passed that it could go on behind.
    last_ = target.starts_with(prefix) ? prefix : "";
    return ScanFrom(*it_, prefix, each);
  }

 private:
  // Whether the last scan ended at the first key that is not below `target`.
  bool IsAt(std::string_view target) const {
    if (!it_->Valid() || target <= last_ || target.starts_with(last_)) return false;
    return ToView(it_->key()) >= target;
  }

  const std::unique_ptr<rocksdb::Iterator> it_;
  std::string last_;  // prefix; "" = none
};

class RocksDbSnapshot final : public Snapshot {
 public:
  explicit RocksDbSnapshot(std::shared_ptr<const Database> database)
      : database_(std::move(database)),
        snapshot_(database_->db->GetSnapshot()),
        read_(ReadOptionsFor(snapshot_)) {}
  ~RocksDbSnapshot() override {
    if (snapshot_ != nullptr) database_->db->ReleaseSnapshot(snapshot_);
  }
  RocksDbSnapshot(const RocksDbSnapshot&) = delete;
  RocksDbSnapshot& operator=(const RocksDbSnapshot&) = delete;

  absl::StatusOr<std::optional<std::string>> Get(Space space, std::string_view key) const override {
    CountNothing();
    std::string value;
    const rocksdb::Status status =
        database_->db->Get(read_, database_->Of(space), ToSlice(key), &value);
    if (status.IsNotFound()) return std::nullopt;
    if (!status.ok()) return ToStatus(status);
    return std::optional(std::move(value));
  }

  absl::StatusOr<std::vector<std::optional<std::string>>> GetAll(
      Space space, const std::vector<std::string>& keys) const override {
    CountNothing();
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
    CountNothing();
    rocksdb::ReadOptions read = read_;
    // A whole space is read once; what is in memory for other questions stays there.
    read.fill_cache = !prefix.empty() || !from.empty();
    // Else all that is newer than the snapshot is gone through up to the next key that is not.
    const std::string end = EndOfPrefix(std::string(prefix));
    const rocksdb::Slice bound = ToSlice(end);
    if (!end.empty()) read.iterate_upper_bound = &bound;
    const std::unique_ptr<rocksdb::Iterator> it(
        database_->db->NewIterator(read, database_->Of(space)));
    it->Seek(ToSlice(std::max(prefix, from)));
    return ScanFrom(*it, prefix, each);
  }

  Scanner ScannerOf(Space space) const override {
    CountNothing();
    auto scanner = std::make_shared<IteratorScanner>(std::unique_ptr<rocksdb::Iterator>(
        database_->db->NewIterator(read_, database_->Of(space))));
    return [scanner](std::string_view prefix, std::string_view from, const Each& each) {
      return scanner->Scan(prefix, from, each);
    };
  }

 private:
  const std::shared_ptr<const Database> database_;
  const rocksdb::Snapshot* const snapshot_;
  const rocksdb::ReadOptions read_;
};

// By another process, or by this one. There is no code of its own for it.
bool IsHeldLock(const rocksdb::Status& status) {
  const std::string text = status.ToString();
  return status.IsIOError() && (text.find("While lock file") != std::string::npos ||
                                text.find("lock hold by current process") != std::string::npos);
}

}  // namespace

namespace {

// For good, and where who looks for leaks finds it.
void LeaveOpen(Database& database) {
  struct LeftOpen {
    rocksdb::DB* db;
    std::vector<rocksdb::ColumnFamilyHandle*> families;
  };
  static std::mutex mutex;
  static auto& left_open = *new std::vector<LeftOpen>;
  const std::lock_guard lock(mutex);
  left_open.push_back({database.db.release(), std::move(database.families)});
}

}  // namespace

Database::~Database() {
  // After a failed write this library version can abort while it closes. Nothing needs closing:
  // what was synced is safe, and the next start reads it anew.
  if (!failure->why().ok()) {
    LeaveOpen(*this);
    return;
  }
  for (auto* family : families) {
    if (family != nullptr) db->DestroyColumnFamilyHandle(family);
  }
  if (db) db->Close();
}

std::shared_ptr<const Snapshot> SnapshotOf(std::shared_ptr<const Database> database) {
  return std::make_shared<RocksDbSnapshot>(std::move(database));
}

std::vector<rocksdb::ColumnFamilyDescriptor> FamiliesFor(const RocksDbStoreOptions& options,
                                                         const std::vector<Space>& spaces) {
  // The library would choose up to 64 parts: of a small cache a large index block fills one.
  constexpr int kShardBits = 3;
  const auto cache =
      rocksdb::NewLRUCache(static_cast<size_t>(options.block_cache_bytes), kShardBits);
  std::vector<rocksdb::ColumnFamilyDescriptor> families;
  families.reserve(spaces.size());
  for (const Space space : spaces) {
    families.emplace_back(std::string(kSpaceNames[static_cast<size_t>(space)]),
                          FamilyOptionsFor(options, space, cache));
  }
  return families;
}

std::vector<Space> AllSpaces() {
  std::vector<Space> spaces;
  for (int i = 0; i < kSpaceCount; ++i) spaces.push_back(static_cast<Space>(i));
  return spaces;
}

absl::Status WhyNotOpened(const std::string& path, const rocksdb::Status& status) {
  const std::string text = status.ToString();
  if (IsHeldLock(status)) {
    return absl::FailedPreconditionError(
        absl::StrCat(path, " is in use by another daemon (", text, ")"));
  }
  // Unknown column families are reported as an invalid argument: not a directory of ours.
  if (status.IsInvalidArgument()) {
    return absl::DataLossError(absl::StrCat(path, " holds other data: ", text));
  }
  // A file that others name is gone.
  std::error_code error;
  if (status.IsPathNotFound() && std::filesystem::exists(path + "/CURRENT", error)) {
    return absl::DataLossError(text);
  }
  return ToStatus(status);
}

}  // namespace plumblane
