#include "storage/rocksdb/rocksdb_backup.h"

#include <absl/strings/str_cat.h>
#include <rocksdb/utilities/backup_engine.h>

#include <filesystem>
#include <memory>
#include <vector>

namespace plumblane {
namespace {

rocksdb::BackupEngineOptions OptionsFor(const std::string& directory) {
  rocksdb::BackupEngineOptions options(directory);
  options.sync = true;
  // A copy of a store that was restored must not be mixed up with one from before.
  options.share_table_files = true;
  options.share_files_with_checksum = true;
  return options;
}

Backup FromInfo(const rocksdb::BackupInfo& info, size_t kept) {
  return {.number = info.backup_id,
          .bytes = static_cast<int64_t>(info.size),
          .note = info.app_metadata,
          .unix_seconds = info.timestamp,
          .kept = static_cast<int>(kept)};
}

absl::Status Named(const std::string& what, const rocksdb::Status& status) {
  const absl::Status plain = ToStatus(status);
  return absl::Status(plain.code(), absl::StrCat(what, ": ", std::string(plain.message())));
}

}  // namespace

absl::StatusOr<Backup> MakeBackup(const Database& database, const std::string& directory, int keep,
                                  const std::string& note, const std::function<bool()>& give_up) {
  rocksdb::BackupEngine* raw = nullptr;
  rocksdb::Status status =
      rocksdb::BackupEngine::Open(rocksdb::Env::Default(), OptionsFor(directory), &raw);
  const std::unique_ptr<rocksdb::BackupEngine> engine(raw);
  if (!status.ok()) return Named(directory, status);
  rocksdb::CreateBackupOptions options;
  options.flush_before_backup = true;  // what is in files already is shared between copies
  options.progress_callback = [&] {
    if (give_up()) engine->StopBackup();
  };
  rocksdb::BackupID number = 0;
  status = engine->CreateNewBackupWithMetadata(options, database.db.get(), note, &number);
  if (status.IsIncomplete() && give_up()) return absl::CancelledError("given up");
  // Making a copy passes over some damage; reading it back does not.
  if (status.ok()) status = engine->VerifyBackup(number, /*verify_with_checksum=*/true);
  if (!status.ok()) return Named(directory, status);
  if (keep > 0) status = engine->PurgeOldBackups(static_cast<uint32_t>(keep));
  if (!status.ok()) return Named(directory, status);
  std::vector<rocksdb::BackupInfo> all;
  engine->GetBackupInfo(&all);
  for (const rocksdb::BackupInfo& info : all) {
    if (info.backup_id == number) return FromInfo(info, all.size());
  }
  return absl::DataLossError(absl::StrCat(directory, ": the copy is not there"));
}

absl::StatusOr<Backup> RestoreBackup(const std::string& directory, int64_t number,
                                     const std::string& path) {
  std::error_code error;
  if (!std::filesystem::is_directory(directory, error)) {
    return absl::NotFoundError(absl::StrCat("there is no backup at ", directory));
  }
  rocksdb::BackupEngineReadOnly* raw = nullptr;
  rocksdb::Status status =
      rocksdb::BackupEngineReadOnly::Open(rocksdb::Env::Default(), OptionsFor(directory), &raw);
  const std::unique_ptr<rocksdb::BackupEngineReadOnly> engine(raw);
  if (!status.ok()) return Named(directory, status);
  std::vector<rocksdb::BackupInfo> all;
  engine->GetBackupInfo(&all);
  std::vector<rocksdb::BackupID> corrupt;
  engine->GetCorruptedBackups(&corrupt);
  const auto is_wanted = [&](rocksdb::BackupID id) { return number == 0 || id == number; };
  // The latest is the one that is meant, damaged or not.
  rocksdb::BackupID latest = 0, latest_corrupt = 0;
  const rocksdb::BackupInfo* found = nullptr;
  for (const rocksdb::BackupInfo& info : all) {
    if (is_wanted(info.backup_id) && info.backup_id > latest) {
      latest = info.backup_id;
      found = &info;
    }
  }
  for (const rocksdb::BackupID id : corrupt) {
    if (is_wanted(id)) latest_corrupt = std::max(latest_corrupt, id);
  }
  if (latest_corrupt > latest) {
    return absl::DataLossError(
        absl::StrCat("copy ", latest_corrupt, " in ", directory, " is damaged"));
  }
  if (found == nullptr) {
    return absl::NotFoundError(number == 0
                                   ? absl::StrCat("there is no copy in ", directory)
                                   : absl::StrCat("there is no copy ", number, " in ", directory));
  }
  status = engine->VerifyBackup(latest, /*verify_with_checksum=*/true);
  if (!status.ok()) {
    return absl::DataLossError(
        absl::StrCat("copy ", latest, " in ", directory, " is damaged: ", status.ToString()));
  }
  status = engine->RestoreDBFromBackup(latest, path, path);
  if (!status.ok()) return Named(path, status);
  return FromInfo(*found, all.size());
}

}  // namespace plumblane
