#include "app/open_data.h"

#include <absl/strings/str_cat.h>
#include <spdlog/spdlog.h>

#include <filesystem>
#include <utility>

#include "app/daemon.h"
#include "app/disk_watch.h"
#include "engine/joined_snapshot.h"
#include "engine/partitions.h"
#include "engine/records.h"
#include "storage/bytes.h"
#include "storage/keys.h"

namespace plumblane {
namespace {

constexpr char kWhatNow[] =
    "Nothing was changed. Put the missing files back, restore a backup (plumblaned --restore), or "
    "see "
    "what is left and what that would cost with plumblaned --recover";

// Of what is there already. Error NOT_FOUND: nothing is.
absl::StatusOr<StoreFacts> ReadFacts(const std::string& path) {
  const auto store = ReadRocksDbStore(path, /*small_spaces_only=*/true);
  if (!store.ok()) return store.status();
  return FactsOf(*(*store)->TakeSnapshot());
}

absl::Status CheckAgainstAnchor(const std::string& path, const std::optional<Anchor>& anchor) {
  const auto facts = ReadFacts(path);
  if (absl::IsNotFound(facts.status())) {
    if (!anchor || anchor->sequence == 0) return absl::OkStatus();
    return absl::DataLossError(absl::StrCat("receipts were given up to log entry ",
                                            anchor->sequence, ", but there is no store at ", path,
                                            ". ", kWhatNow));
  }
  if (!facts.ok()) return facts.status();
  const auto missing = EntriesMissing(anchor, *facts);
  if (!missing.ok()) return missing.status();
  if (*missing == 0) return absl::OkStatus();
  return absl::DataLossError(absl::StrCat(
      "receipts were given up to log entry ", anchor->sequence, ", but the log of ", path,
      " ends at ", facts->last_sequence, ": the end of it is missing. ", kWhatNow));
}

}  // namespace

std::string StorePathOf(const Settings& settings) { return settings.data_directory + "/store"; }

std::string AnchorPathOf(const Settings& settings) {
  return settings.anchor.empty() ? settings.data_directory + "/anchor" : settings.anchor;
}

absl::Status MakeDataDirectory(const std::string& path) {
  std::error_code error;
  const bool existed = std::filesystem::exists(path, error);
  std::filesystem::create_directories(path, error);
  if (error || !std::filesystem::is_directory(path)) {
    return absl::UnavailableError(absl::StrCat("cannot use ", path, " as data directory",
                                               error ? ": " + error.message() : ""));
  }
  if (!existed) std::filesystem::permissions(path, std::filesystem::perms::owner_all, error);
  return absl::OkStatus();
}

int ExitCodeFor(const absl::Status& status) {
  const bool needs_a_person =
      absl::IsDataLoss(status) || absl::IsInternal(status) || absl::IsUnimplemented(status);
  return needs_a_person ? kExitDataDamaged : kExitTryAgain;
}

absl::StatusOr<StoreFacts> FactsOf(const Snapshot& snapshot) {
  StoreFacts facts;
  const auto id = StoreId(snapshot);
  if (!id.ok()) return id.status();
  facts.store_id = *id;
  const auto log_id = snapshot.Get(Space::kMeta, kLogIdKey);
  if (!log_id.ok()) return log_id.status();
  facts.has_log = !*log_id;
  const auto partitions = PartitionsIn(snapshot);
  if (!partitions.ok()) return partitions.status();
  const std::string first = *partitions > 1 ? PartitionPrefix(0) : "";
  const auto record = snapshot.Get(Space::kMeta, first + std::string(kFormatKey));
  if (!record.ok()) return record.status();
  if (*record) {
    const auto format = DecodeFormat(**record);
    if (!format.ok()) return format.status();
    facts.format_version = format->version;
  }
  if (facts.format_version > kFormatVersion) {
    return absl::UnimplementedError(
        absl::StrCat("the data has format version ", facts.format_version,
                     "; this plumblaned reads versions 1 to ", kFormatVersion,
                     " only. Nothing was changed; use a newer plumblaned"));
  }
  std::string last;
  const absl::Status scanned = snapshot.Scan(Space::kLog, "", "", [&](auto key, auto value) {
    facts.last_sequence = ByteReader(key).Big(8);
    last = value;
    return true;
  });
  if (!scanned.ok()) return scanned;
  if (facts.last_sequence == 0) return facts;
  const auto entry = DecodeLogEntry(last);
  if (!entry.ok()) return entry.status();
  facts.last_received = entry->receive_time;
  return facts;
}

absl::StatusOr<uint64_t> EntriesMissing(const std::optional<Anchor>& anchor,
                                        const StoreFacts& facts) {
  if (!anchor) return 0;
  if (!facts.store_id.empty() && anchor->store_id != facts.store_id) {
    return absl::DataLossError(absl::StrCat("the anchor is that of another store (",
                                            anchor->store_id, ", not ", facts.store_id, "). ",
                                            kWhatNow));
  }
  return anchor->sequence > facts.last_sequence ? anchor->sequence - facts.last_sequence : 0;
}

namespace {

// The library aborts when it cannot write what opening takes: at most its log, as tables.
absl::Status CheckRoomToOpen(const Settings& settings) {
  int64_t needed = int64_t{1} << 20;
  std::error_code error;
  for (const auto& file : std::filesystem::directory_iterator(StorePathOf(settings), error)) {
    if (file.path().extension() == ".log") needed += static_cast<int64_t>(file.file_size(error));
  }
  const int64_t free = FreeBytesAt(settings.data_directory);
  if (free < 0 || free >= needed) return absl::OkStatus();
  return absl::ResourceExhaustedError(
      absl::StrCat("opening the data may take ", needed, " bytes on the disk of ",
                   settings.data_directory, " and ", free, " are free: make room there"));
}

}  // namespace

absl::StatusOr<OpenedData> OpenData(const Settings& settings,
                                    std::function<void(const absl::Status&)> failed) {
  const std::string path = StorePathOf(settings), anchor_path = AnchorPathOf(settings);
  const auto anchor = ReadAnchor(anchor_path);
  if (!anchor.ok()) return anchor.status();
  if (absl::Status status = CheckAgainstAnchor(path, *anchor); !status.ok()) return status;
  if (absl::Status status = CheckRoomToOpen(settings); !status.ok()) return status;
  auto store = OpenRocksDbStore({.path = path,
                                 .block_cache_bytes = settings.block_cache_mib << 20,
                                 .write_buffer_bytes = settings.write_buffer_mib << 20,
                                 .failed = std::move(failed)});
  if (!store.ok()) return store.status();
  const auto id = EnsureStoreId(**store);
  if (!id.ok()) return id.status();
  const auto facts = FactsOf(*(*store)->TakeSnapshot());
  if (!facts.ok()) return facts.status();
  if (facts->format_version > 0 && facts->format_version < kFormatVersion) {
    const std::string directory =
        absl::StrCat(settings.data_directory, "/backup-of-format-", facts->format_version);
    // Data that was on its way when the daemon was ended takes no earlier copy's place.
    const auto copy = (*store)->BackUp(directory, /*keep=*/0, "", [] { return false; });
    if (!copy.ok()) return copy.status();
    spdlog::info("the data of format version {} was copied to {}", facts->format_version,
                 directory);
  }
  OpenedData opened{*std::move(store), {*id, kFormatVersion, facts->last_sequence}};
  if (!*anchor && facts->last_sequence > 0) {
    spdlog::warn("there was no anchor at {}: whether the end of the log is missing was not checked",
                 anchor_path);
  }
  if (*anchor == opened.anchor) return opened;
  if (absl::Status status = WriteAnchor(anchor_path, opened.anchor); !status.ok()) return status;
  return opened;
}

}  // namespace plumblane
