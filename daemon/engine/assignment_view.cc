#include "engine/records.h"
#include "engine/view.h"
#include "storage/keys.h"

namespace plumblane {

absl::StatusOr<std::vector<StoredAssignment>> View::AssignmentsOf(const OrderKey& order) const {
  std::vector<StoredAssignment> found;
  absl::Status bad;
  const absl::Status scanned =
      snapshot_->Scan(Space::kIndex, AssignmentPrefix(order), "", [&](auto, auto value) {
        auto stored = DecodeAssignment(value);
        bad.Update(stored.status());
        if (stored.ok()) found.push_back(*std::move(stored));
        return bad.ok();
      });
  bad.Update(scanned);
  if (!bad.ok()) return bad;
  return found;
}

absl::Status View::EachAssignment(std::optional<Instant> from, std::optional<Instant> to,
                                  const std::function<bool(const StoredAssignment&)>& each) const {
  absl::Status bad;
  const std::string first = to ? AssignedKeyFrom(*to + -1) : std::string();
  const absl::Status scanned =
      snapshot_->Scan(Space::kIndex, kAssignedPrefix, first, [&](auto key, auto) {
        const auto assigned = ParseAssignedKey(key);
        bad.Update(assigned.status());
        if (!assigned.ok() || (from && assigned->time < *from)) return false;
        const auto record =
            snapshot_->Get(Space::kIndex, AssignmentKey(assigned->part.order, assigned->part.part));
        bad.Update(record.status());
        if (!record.ok()) return false;
        if (!*record) {
          bad.Update(absl::DataLossError("an assignment is listed and not stored"));
          return false;
        }
        const auto stored = DecodeAssignment(**record);
        bad.Update(stored.status());
        return stored.ok() && each(*stored);
      });
  bad.Update(scanned);
  return bad;
}

}  // namespace plumblane
