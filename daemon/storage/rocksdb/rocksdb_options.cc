#include "storage/rocksdb/rocksdb_options.h"

#include <rocksdb/cache.h>
#include <rocksdb/filter_policy.h>
#include <rocksdb/listener.h>
#include <rocksdb/perf_level.h>
#include <rocksdb/slice_transform.h>
#include <rocksdb/table.h>
#include <rocksdb/utilities/table_properties_collectors.h>
#include <rocksdb/write_buffer_manager.h>

namespace plumblane {
namespace {

// After a failed write nothing may go on by itself: whether the write is there is known only when
// the store is opened again, and this library version can abort while it recovers on its own.
class NoAutoRecovery final : public rocksdb::EventListener {
 public:
  explicit NoAutoRecovery(std::shared_ptr<Failure> failure) : failure_(std::move(failure)) {}

  void OnErrorRecoveryBegin(rocksdb::BackgroundErrorReason /*reason*/, rocksdb::Status /*error*/,
                            bool* auto_recovery) override {
    *auto_recovery = false;
  }
  void OnBackgroundError(rocksdb::BackgroundErrorReason /*reason*/,
                         rocksdb::Status* error) override {
    failure_->Note(ToStatus(*error));
  }

 private:
  const std::shared_ptr<Failure> failure_;
};

}  // namespace

void CountNothing() {
  [[maybe_unused]] static thread_local const bool once = [] {
    rocksdb::SetPerfLevel(rocksdb::PerfLevel::kDisable);
    return true;
  }();
}

absl::Status ToStatus(const rocksdb::Status& status) {
  if (status.ok()) return absl::OkStatus();
  const std::string text = status.ToString();
  if (status.IsCorruption()) return absl::DataLossError(text);
  if (status.IsNoSpace()) return absl::ResourceExhaustedError(text);
  return absl::UnavailableError(text);
}

rocksdb::DBOptions DbOptionsFor(const RocksDbStoreOptions& options,
                                const std::shared_ptr<Failure>& failure) {
  rocksdb::DBOptions db;
  if (options.env != nullptr) db.env = options.env;
  db.create_if_missing = true;
  db.create_missing_column_families = true;
  // The default mode drops acknowledged writes silently when a log record is damaged. This one
  // forgives a torn last record, which was never acknowledged, and refuses to open otherwise.
  db.wal_recovery_mode = rocksdb::WALRecoveryMode::kTolerateCorruptedTailRecords;
  // Stale records of a recycled file cannot be told from damage in that mode.
  db.recycle_log_file_num = 0;
  // A buffered log can be dropped on a failed flush.
  db.manual_wal_flush = false;
  // Reports missing files falsely in this version when a log is synced in between, which backups
  // do. What it would find, a log file that is gone, the anchor finds too (eventlog/anchor.h).
  db.track_and_verify_wals_in_manifest = false;
  // Would skip the log on opening.
  db.best_efforts_recovery = false;
  // Any failed write stops all writes; damage is reported, not passed on.
  db.paranoid_checks = true;
  db.flush_verify_memtable_count = true;
  db.verify_sst_unique_id_in_manifest = true;
  // Each would let readers see part of a batch or reorder batches.
  db.unordered_write = false;
  db.two_write_queues = false;
  db.allow_2pc = false;
  // There is one writer; hints of where to insert (FamilyOptionsFor) work without it only.
  db.allow_concurrent_memtable_write = false;
  // The log covers what is not flushed, so this is not needed while the log is whole. Where its end
  // is lost, spaces flushed at different moments would disagree without a trace; so they are
  // flushed together, and what is left is the state of one moment, which the anchor can judge.
  db.atomic_flush = true;
  // A failed flush would be tried again by itself.
  db.max_bgerror_resume_count = 0;
  db.listeners.push_back(std::make_shared<NoAutoRecovery>(failure));
  // Tells how much is in memory and decides nothing: the store writes tables by itself
  // (RocksDbStore::WriteTables), long before the library would.
  db.write_buffer_manager = std::make_shared<rocksdb::WriteBufferManager>(size_t{1} << 40);
  // Beside a manager of one's own this says but how much room a log file takes beforehand, which
  // otherwise goes by the size of what a space may hold in memory.
  db.db_write_buffer_size = static_cast<size_t>(options.write_buffer_bytes);
  db.use_fsync = false;  // fdatasync is as safe here
  // One writes tables, two merge them, so that no space waits for the long merge of another.
  db.max_background_jobs = 3;
  db.max_open_files = 512;
  db.keep_log_file_num = 4;
  db.info_log_level = rocksdb::InfoLogLevel::WARN_LEVEL;
  return db;
}

rocksdb::ColumnFamilyOptions FamilyOptionsFor(const RocksDbStoreOptions& options, Space space,
                                              const std::shared_ptr<rocksdb::Cache>& cache) {
  rocksdb::BlockBasedTableOptions table;
  table.block_cache = cache;
  table.filter_policy.reset(rocksdb::NewBloomFilterPolicy(10));
  table.cache_index_and_filter_blocks = true;
  table.pin_l0_filter_and_index_blocks_in_cache = true;
  // Of a large file those parts of index and filter are in memory that are in use. Parts of which a
  // table just flushed has one or two, as each of those tables is asked for every key.
  table.index_type = rocksdb::BlockBasedTableOptions::kTwoLevelIndexSearch;
  table.partition_filters = true;
  table.metadata_block_size = 32 << 10;

  rocksdb::ColumnFamilyOptions family;
  family.table_factory.reset(rocksdb::NewBlockBasedTableFactory(table));
  family.write_buffer_size = 4 * static_cast<size_t>(options.write_buffer_bytes);
  // Each space takes a block at once: small ones, so that most of the buffer is for records.
  family.arena_block_size = static_cast<size_t>(options.write_buffer_bytes) / 64;
  // More than two risks a known wrong-order flush in this version.
  family.max_write_buffer_number = 2;
  family.force_consistency_checks = true;
  // Batches come sorted within a space: each key is looked for from where the last one went.
  family.memtable_insert_with_hint_prefix_extractor.reset(rocksdb::NewCappedPrefixTransform(0));
  family.compression = rocksdb::kLZ4Compression;
  family.level_compaction_dynamic_level_bytes = true;
  // What is flushed at a time is little, as the buffer is of all spaces. Much of it is merged at
  // once, so that the level below is rewritten less often; writes wait for that much later.
  family.level0_file_num_compaction_trigger = 16;
  family.level0_slowdown_writes_trigger = 40;
  family.level0_stop_writes_trigger = 60;
  if (space == Space::kIndex) {
    // Small records that come all over the keys: level by level all of them would be rewritten for
    // every few files flushed, which grows with what is stored (DEVELOPERS.md, growth).
    family.compaction_style = rocksdb::kCompactionStyleUniversal;
    family.compaction_options_universal.max_size_amplification_percent = 100;
  }
  if (space == Space::kOrders || space == Space::kCells) {
    // Most of what is looked for and not kept by the writer is new, or was last changed long ago.
    family.memtable_prefix_bloom_size_ratio = 0.007;
    family.memtable_whole_key_filtering = true;
  }
  if (space == Space::kOrders) {
    // Orders go by the thousand when they are old. Tables that say much of that are merged soon,
    // down to where the records are, so that the disk is free of them.
    family.table_properties_collector_factories.push_back(
        rocksdb::NewCompactOnDeletionCollectorFactory(128, SIZE_MAX, /*deletion_ratio=*/0.3));
  }
  // The log is written once and trimmed soon; the rest is rewritten often.
  if (space == Space::kLog) family.compression = rocksdb::kNoCompression;
  return family;
}

rocksdb::ReadOptions ReadOptionsFor(const rocksdb::Snapshot* snapshot) {
  rocksdb::ReadOptions read;
  read.snapshot = snapshot;
  read.verify_checksums = true;  // also of what compaction wrote a moment ago
  return read;
}

rocksdb::WriteOptions WriteOptionsFor(bool sync) {
  rocksdb::WriteOptions write;
  write.sync = sync;
  write.disableWAL = false;
  write.protection_bytes_per_key = 8;  // catches memory corruption on the way to disk
  return write;
}

}  // namespace plumblane
