#include "app/offline.h"

#include <absl/strings/str_cat.h>

#include <filesystem>
#include <optional>

#include "app/daemon.h"
#include "app/open_data.h"
#include "base/time.h"
#include "engine/joined_snapshot.h"
#include "engine/records.h"
#include "engine/verify.h"

namespace plumblane {
namespace {

namespace fs = std::filesystem;

int Fail(const absl::Status& status, std::ostream& out) {
  out << std::string(status.message()) << "\n";
  return ExitCodeFor(status);
}

// A directory that is gone unless it is wanted.
class Unfinished {
 public:
  explicit Unfinished(std::string path) : path_(std::move(path)) {
    std::error_code error;
    fs::remove_all(path_, error);  // left by one that was killed
  }
  ~Unfinished() {
    std::error_code error;
    if (!path_.empty()) fs::remove_all(path_, error);
  }
  Unfinished(const Unfinished&) = delete;
  Unfinished& operator=(const Unfinished&) = delete;
  const std::string& path() const { return path_; }
  absl::Status MoveTo(const std::string& place) {
    std::error_code error;
    fs::rename(path_, place, error);
    if (error) return absl::UnavailableError(absl::StrCat(place, ": ", error.message()));
    path_.clear();
    return absl::OkStatus();
  }

 private:
  std::string path_;
};

absl::StatusOr<Verified> VerifyStore(const StoreFacts& facts, const DiskStore& store) {
  const absl::Status files = store.CheckFiles([] { return false; });
  if (absl::IsDataLoss(files)) return Verified{.difference = std::string(files.message())};
  if (!files.ok()) return files;
  const auto whole = WholeOf(store.TakeSnapshot());
  if (!whole.ok()) return whole.status();
  return Verify(
      **whole, [](const VerifyProgress&) { return true; }, facts.has_log);
}

// What an older version kept is counted otherwise.
int Tell(const StoreFacts& facts, const DiskStore& store, std::ostream& out) {
  if (facts.format_version < kFormatVersion) {
    out << "not verified: the data has format version " << facts.format_version
        << "; the first start takes it to " << kFormatVersion << "\n";
    return kExitStopped;
  }
  const auto verified = VerifyStore(facts, store);
  if (!verified.ok()) return Fail(verified.status(), out);
  if (!verified->difference.empty()) {
    out << "first difference: " << verified->difference << "\n";
    return kExitDataDamaged;
  }
  out << "verified: " << verified->order_count << " orders, " << verified->event_count
      << " events, log entry " << verified->log_sequence
      << (verified->from_log() ? "; applied again from the log"
                               : "; counted again from the orders, as the log is trimmed")
      << "\n";
  return kExitStopped;
}

// What the store holds against what was acknowledged.
struct Reckoned {
  StoreFacts facts;
  uint64_t missing = 0;
};
absl::StatusOr<Reckoned> Reckon(const DiskStore& store, const std::optional<Anchor>& anchor,
                                std::ostream& out) {
  Reckoned reckoned;
  auto facts = FactsOf(*store.TakeSnapshot());
  if (!facts.ok()) return facts.status();
  const auto missing = EntriesMissing(anchor, *facts);
  if (!missing.ok()) return missing.status();
  reckoned = {*std::move(facts), *missing};
  if (!reckoned.facts.has_log) {
    out << "its log is one that several daemons share, and not here\n";
    return reckoned;
  }
  out << "it holds the log up to entry " << reckoned.facts.last_sequence;
  if (reckoned.facts.last_received) {
    out << ", received " << FormatInstant(*reckoned.facts.last_received);
  }
  out << "\n";
  if (!anchor) {
    out << "there is no anchor, so it cannot be told whether acknowledged entries are missing\n";
  } else if (reckoned.missing == 0) {
    out << "receipts were given up to entry " << anchor->sequence
        << " (as of the second before the stop): none of them is missing\n";
  } else {
    out << "receipts were given up to entry " << anchor->sequence << ": " << reckoned.missing
        << " are missing, all received after the one above. Sending the files of that time again "
           "brings their events back; repeats change nothing\n";
  }
  return reckoned;
}

bool Accepts(const AcceptedLoss& accepted, const Reckoned& reckoned, std::ostream& out) {
  if (reckoned.missing <= accepted.entries) return true;
  out << "nothing was made; to go on without them say --accept-loss " << reckoned.missing << "\n";
  return false;
}

// Puts the store and its anchor in their places. Killed in between there is an anchor without a
// store, and doing it all again is right.
absl::Status Finish(Unfinished& store, const StoreFacts& facts, const std::string& store_path,
                    const std::string& anchor_path) {
  absl::Status status =
      WriteAnchor(anchor_path, {facts.store_id, facts.format_version, facts.last_sequence});
  if (status.ok()) status = store.MoveTo(store_path);
  return status;
}

}  // namespace

int VerifyData(const Settings& settings, std::ostream& out) {
  const auto store = ReadRocksDbStore(StorePathOf(settings));
  if (!store.ok()) return Fail(store.status(), out);
  const auto anchor = ReadAnchor(AnchorPathOf(settings));
  if (!anchor.ok()) return Fail(anchor.status(), out);
  const auto reckoned = Reckon(**store, *anchor, out);
  if (!reckoned.ok()) return Fail(reckoned.status(), out);
  const int code = Tell(reckoned->facts, **store, out);
  return code == kExitStopped && reckoned->missing > 0 ? kExitDataDamaged : code;
}

int RestoreData(const Settings& settings, const std::string& backup, int64_t number,
                AcceptedLoss accepted, std::ostream& out) {
  std::error_code error;
  const std::string path = StorePathOf(settings), anchor_path = AnchorPathOf(settings);
  if (fs::exists(path, error)) {
    out << path << " is there already; move it away first, nothing was changed\n";
    return kExitTryAgain;
  }
  const auto anchor = ReadAnchor(anchor_path);
  if (!anchor.ok()) return Fail(anchor.status(), out);
  if (absl::Status made = MakeDataDirectory(settings.data_directory); !made.ok()) {
    return Fail(made, out);
  }
  Unfinished unfinished(path + ".restoring");
  const auto restored = RestoreBackup(backup, number, unfinished.path());
  if (!restored.ok()) return Fail(restored.status(), out);
  out << "copy " << restored->number << " of " << backup << ", made "
      << FormatInstant(Instant{restored->unix_seconds * 1000}) << "\n";
  StoreFacts facts;
  {
    const auto store = ReadRocksDbStore(unfinished.path());
    if (!store.ok()) return Fail(store.status(), out);
    const auto reckoned = Reckon(**store, *anchor, out);
    if (!reckoned.ok()) return Fail(reckoned.status(), out);
    if (!Accepts(accepted, *reckoned, out)) return kExitDataDamaged;
    facts = reckoned->facts;
    if (const int code = Tell(facts, **store, out); code != kExitStopped) return code;
  }
  if (absl::Status status = Finish(unfinished, facts, path, anchor_path); !status.ok()) {
    return Fail(status, out);
  }
  out << "restored into " << settings.data_directory << "\n";
  return kExitStopped;
}

int RecoverData(const Settings& settings, const std::string& copy, AcceptedLoss accepted,
                std::ostream& out) {
  std::error_code error;
  if (fs::exists(copy, error)) {
    out << copy << " is there already; name a directory that is to be made\n";
    return kExitTryAgain;
  }
  const std::string path = StorePathOf(settings);
  if (!fs::is_directory(path, error)) {
    out << "there is no store at " << path << "\n";
    return kExitTryAgain;
  }
  const auto anchor = ReadAnchor(AnchorPathOf(settings));
  if (!anchor.ok() && !absl::IsDataLoss(anchor.status())) return Fail(anchor.status(), out);
  const std::optional<Anchor> known = anchor.ok() ? *anchor : std::nullopt;
  // Looks whether it is in use, and says how it is damaged.
  if (const auto store = ReadRocksDbStore(path, /*small_spaces_only=*/true);
      absl::IsFailedPrecondition(store.status())) {
    return Fail(store.status(), out);
  } else if (!store.ok()) {
    out << "damage: " << std::string(store.status().message()) << "\n";
  }
  Unfinished unfinished(copy + ".recovering");
  const std::string store_path = unfinished.path() + "/store";
  if (absl::Status made = MakeDataDirectory(unfinished.path()); !made.ok()) return Fail(made, out);
  fs::copy(path, store_path, error);
  if (error) return Fail(absl::UnavailableError(store_path + ": " + error.message()), out);
  if (absl::Status cut = CutOffDamage(store_path); !cut.ok()) return Fail(cut, out);
  StoreFacts facts;
  {
    const auto store = ReadRocksDbStore(store_path);
    if (!store.ok()) return Fail(store.status(), out);
    const auto reckoned = Reckon(**store, known, out);
    if (!reckoned.ok()) return Fail(reckoned.status(), out);
    if (!Accepts(accepted, *reckoned, out)) return kExitDataDamaged;
    facts = reckoned->facts;
    if (const int code = Tell(facts, **store, out); code != kExitStopped) return code;
  }
  absl::Status status = WriteAnchor(unfinished.path() + "/anchor",
                                    {facts.store_id, facts.format_version, facts.last_sequence});
  if (status.ok()) status = unfinished.MoveTo(copy);
  if (!status.ok()) return Fail(status, out);
  out << "recovered into " << copy << "; start plumblaned with --data " << copy << "\n";
  return kExitStopped;
}

}  // namespace plumblane
