#include "engine/catalog.h"

#include <algorithm>

#include "engine/records.h"
#include "storage/keys.h"

namespace plumblane {

void SourceWord::Add(const SourceWord& other) {
  sends_deliveries = sends_deliveries || other.sends_deliveries;
  complete_through = std::max(complete_through, other.complete_through);
  last_event = std::max(last_event, other.last_event);
}

void PairDirectory::Insert(const Pair& pair) {
  by_supplier.insert(pair);
  by_destination[pair.lane.destination].emplace(pair.lane, pair.supplier);
}

void PairDirectory::Erase(const Pair& pair) {
  by_supplier.erase(pair);
  const auto it = by_destination.find(pair.lane.destination);
  it->second.erase({pair.lane, pair.supplier});
  if (it->second.empty()) by_destination.erase(it);
}

std::optional<Instant> Catalog::NewsHorizon() const {
  std::optional<Instant> horizon;
  for (const auto& [name, source] : sources) {
    if (!source.limits_news() || !source.complete_through) continue;
    if (!horizon || *source.complete_through < *horizon) horizon = source.complete_through;
  }
  return horizon;
}

absl::StatusOr<Catalog> LoadCatalog(const Snapshot& snapshot) {
  Catalog catalog;
  const auto progress = snapshot.Get(Space::kMeta, kProgressKey);
  if (!progress.ok()) return progress.status();
  if (*progress) {
    if (absl::Status status = DecodeProgress(**progress, catalog); !status.ok()) return status;
  }

  absl::Status bad;
  absl::Status scanned = snapshot.Scan(Space::kMeta, kSourcePrefix, "", [&](auto key, auto value) {
    auto source = DecodeSource(value);
    bad = source.status();
    if (source.ok()) catalog.sources[std::string(key.substr(kSourcePrefix.size()))] = *source;
    return bad.ok();
  });
  bad.Update(scanned);
  if (!bad.ok()) return bad;

  auto excuses = std::make_shared<ExcuseBook>();
  scanned = snapshot.Scan(Space::kMeta, kExcusePrefix, "", [&](auto, auto value) {
    auto excuse = DecodeExcuse(value);
    bad = excuse.status();
    if (excuse.ok()) excuses->Put(*excuse);
    return bad.ok();
  });
  bad.Update(scanned);
  if (!bad.ok()) return bad;
  catalog.excuses = std::move(excuses);

  auto pairs = std::make_shared<PairDirectory>();
  scanned = snapshot.Scan(Space::kIndex, kPairPrefix, "", [&](auto key, auto) {
    auto pair = ParsePairKey(key);
    bad = pair.status();
    if (pair.ok()) pairs->Insert(*pair);
    return bad.ok();
  });
  bad.Update(scanned);
  if (!bad.ok()) return bad;
  catalog.pairs = std::move(pairs);

  auto agreements = std::make_shared<Agreements>();
  scanned = snapshot.Scan(Space::kMeta, kAgreementPrefix, "", [&](auto, auto value) {
    auto received = DecodeAgreement(value);
    bad = received.status();
    if (received.ok()) agreements->Take(received->load, received->receive_time);
    return bad.ok();
  });
  bad.Update(scanned);
  if (!bad.ok()) return bad;
  catalog.agreements = std::move(agreements);

  auto assignments = std::make_shared<OpenAssignments>();
  scanned = snapshot.Scan(Space::kIndex, kAssignmentPrefix, "", [&](auto, auto value) {
    const auto stored = DecodeAssignment(value);
    bad = stored.status();
    if (stored.ok() && stored->state == AssignmentState::kOpen) {
      const Assignment& open = stored->assignment;
      assignments->by_part[{open.order, open.part}] = {open.pick.supplier, open.time};
    }
    return bad.ok();
  });
  bad.Update(scanned);
  if (!bad.ok()) return bad;
  catalog.assignments = std::move(assignments);

  auto alerts = std::make_shared<AlertsTold>();
  const auto last = EachAlertNotice(snapshot, 0, [&](int64_t, const AlertNotice& notice) {
    alerts->Take(notice);
    return true;
  });
  if (!last.ok()) return last.status();
  alerts->last_cursor = *last;
  catalog.alerts = std::move(alerts);

  scanned = snapshot.Scan(Space::kMeta, kDeliveredPrefix, "", [&](auto key, auto value) {
    const auto cursor = DecodeCount(value);
    bad = cursor.status();
    if (cursor.ok()) catalog.delivered[std::string(key.substr(kDeliveredPrefix.size()))] = *cursor;
    return bad.ok();
  });
  bad.Update(scanned);
  if (!bad.ok()) return bad;
  return catalog;
}

}  // namespace plumblane
