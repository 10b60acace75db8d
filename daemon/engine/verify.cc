#include "engine/verify.h"

#include <absl/strings/escaping.h>
#include <absl/strings/str_cat.h>

#include <algorithm>
#include <memory>
#include <utility>
#include <vector>

#include "engine/applier.h"
#include "engine/records.h"
#include "eventlog/log_key.h"
#include "storage/bytes.h"
#include "storage/keys.h"
#include "storage/memory_store.h"

namespace plumblane {
namespace {

using TellProgress = std::function<bool(const VerifyProgress&)>;

// Not made by applying entries.
bool IsOfTheStore(Space space, std::string_view key) {
  return space == Space::kMeta && (key == kFormatKey || key == kStoreIdKey);
}

// The first difference between what the log makes and what is stored.
absl::StatusOr<std::string> CompareAll(const Snapshot& snapshot, const SpaceMaps& replayed) {
  std::string difference;
  const auto say = [&](Space space, std::string_view key, std::string_view what) {
    difference = absl::StrCat(std::string(kSpaceNames[static_cast<size_t>(space)]), " record ",
                              absl::CHexEscape(absl::string_view(key.data(), key.size())), " ",
                              std::string(what));
  };
  for (const Space space : {Space::kOrders, Space::kCells, Space::kIndex, Space::kMeta}) {
    const SpaceMap& made = replayed[static_cast<size_t>(space)];
    auto expected = made.begin();
    const absl::Status scanned = snapshot.Scan(space, "", "", [&](auto key, auto value) {
      if (IsOfTheStore(space, key)) return true;
      if (expected == made.end() || key < expected->first) {
        say(space, key, "is stored but the log does not make it");
      } else if (key > expected->first) {
        say(space, expected->first, "is missing");
      } else if (value != expected->second) {
        say(space, key, "differs from what the log makes");
      } else {
        ++expected;
      }
      return difference.empty();
    });
    if (!scanned.ok()) return scanned;
    if (difference.empty() && expected != made.end()) say(space, expected->first, "is missing");
    if (!difference.empty()) break;
  }
  return difference;
}

class Verification {
 public:
  Verification(const Snapshot& snapshot, const TellProgress& tell, bool has_log)
      : snapshot_(snapshot), tell_(tell), has_log_(has_log) {}

  absl::Status Run() {
    const auto record = snapshot_.Get(Space::kMeta, kFormatKey);
    if (!record.ok()) return record.status();
    if (!*record) return absl::DataLossError("the record of the format version is missing");
    const auto format = DecodeFormat(**record);
    if (!format.ok()) return format.status();
    auto catalog = LoadCatalog(snapshot_);
    if (!catalog.ok()) return catalog.status();
    catalog_ = *std::move(catalog);
    found_.log_sequence = catalog_.log_sequence;
    found_.order_count = catalog_.order_count;
    found_.event_count = catalog_.event_count;
    if (!has_log_) found_.first_kept_sequence = catalog_.log_sequence + 1;
    const absl::Status log = has_log_ ? ReadLog(format->rules) : absl::OkStatus();
    if (!log.ok()) return log;
    if (!found_.difference.empty()) return absl::OkStatus();
    auto difference = FindDifference(snapshot_, catalog_, format->rules, [this](int64_t orders) {
      return tell_({VerifyProgress::Step::kOrders, orders, catalog_.order_count});
    });
    if (!difference.ok()) return difference.status();
    if (difference->empty() && replays_) {
      if (!tell_({VerifyProgress::Step::kCompare, catalog_.order_count, catalog_.order_count})) {
        return absl::CancelledError("given up");
      }
      difference = CompareAll(snapshot_, *replayed_);
      if (!difference.ok()) return difference.status();
    }
    found_.difference = *std::move(difference);
    return absl::OkStatus();
  }

  Verified found_;

 private:
  // Checks what the log holds, and applies it where it is all there.
  absl::Status ReadLog(const FoldRules& rules) {
    const auto elsewhere = snapshot_.Get(Space::kMeta, kLogElsewhereKey);
    if (!elsewhere.ok()) return elsewhere.status();
    if (*elsewhere) {
      found_.first_kept_sequence = catalog_.log_sequence + 1;
      return absl::OkStatus();
    }
    uint64_t next = 0;
    absl::Status bad;
    Catalog replayed;
    WritersMemory nothing(0);
    const MapsSnapshot state(replayed_);
    const absl::Status scanned = snapshot_.Scan(Space::kLog, "", "", [&](auto key, auto value) {
      const uint64_t sequence = ByteReader(key).Big(8);
      if (next == 0) {
        found_.first_kept_sequence = next = sequence;
        replays_ = sequence == 1;
      }
      if (sequence != next) {
        found_.difference = absl::StrCat("log entry ", next, " is missing");
        return false;
      }
      ++next;
      const auto entry = DecodeLogEntry(value);
      bad = entry.status();
      if (!bad.ok()) return false;
      // The last may not be applied yet.
      if (!replays_ || sequence > catalog_.log_sequence) return true;
      auto applied = Apply(state, replayed, rules, sequence, *entry, nothing);
      bad = applied.status();
      if (!bad.ok()) return false;
      WriteInto(*replayed_, applied->batch);
      replayed = std::move(applied->catalog);
      if (!tell_({VerifyProgress::Step::kLog, replayed.order_count, catalog_.order_count})) {
        bad = absl::CancelledError("given up");
      }
      return bad.ok();
    });
    bad.Update(scanned);
    if (!bad.ok() || !found_.difference.empty()) return bad;
    if (next == 0) next = 1;
    if (next <= catalog_.log_sequence) {
      found_.difference = absl::StrCat("the log ends at ", next - 1, " but the state has applied ",
                                       catalog_.log_sequence, " entries");
    } else if (found_.first_kept_sequence > catalog_.log_sequence + 1) {
      found_.difference =
          absl::StrCat("the state has applied ", catalog_.log_sequence,
                       " entries but the log starts at ", found_.first_kept_sequence);
    }
    return absl::OkStatus();
  }

  const Snapshot& snapshot_;
  const TellProgress& tell_;
  const bool has_log_;
  Catalog catalog_;
  // What applying the log makes.
  const std::shared_ptr<SpaceMaps> replayed_ = std::make_shared<SpaceMaps>();
  bool replays_ = false;
};

}  // namespace

absl::StatusOr<Verified> Verify(const Snapshot& snapshot, const TellProgress& tell, bool has_log) {
  Verification verification(snapshot, tell, has_log);
  const absl::Status status = verification.Run();
  // A record that contradicts itself is what is looked for, a file that cannot be read is not.
  if (absl::IsDataLoss(status) || absl::IsInternal(status)) {
    verification.found_.difference = std::string(status.message());
  } else if (!status.ok()) {
    return status;
  }
  return std::move(verification.found_);
}

}  // namespace plumblane
