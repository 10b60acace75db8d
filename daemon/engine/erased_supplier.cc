#include "engine/erased_supplier.h"

#include <algorithm>
#include <map>
#include <memory>
#include <set>
#include <utility>
#include <variant>

#include "engine/records.h"
#include "storage/keys.h"
#include "storage/order_codec.h"

namespace plumblane {
namespace {

constexpr int64_t kAskedEvery = 1000;  // orders

bool Names(const Assignment& given, const std::string& supplier) {
  return given.pick.supplier == supplier || given.instead_of == supplier ||
         given.reason.find(supplier) != std::string::npos ||
         std::any_of(given.candidates.begin(), given.candidates.end(),
                     [&](const AssignmentCandidate& one) {
                       return one.pair.supplier == supplier ||
                              one.excluded.find(supplier) != std::string::npos;
                     });
}

// REQUIRES: another supplier's.
void TakeOut(const std::string& supplier, Assignment& given) {
  std::erase_if(given.candidates,
                [&](const AssignmentCandidate& one) { return one.pair.supplier == supplier; });
  for (AssignmentCandidate& one : given.candidates) {
    if (one.excluded.find(supplier) != std::string::npos) one.excluded = "excluded";
  }
  if (given.instead_of == supplier) given.instead_of.clear();
  if (given.reason.find(supplier) != std::string::npos) given.reason.clear();
}

// How many rows of the load are the supplier's; they go.
int64_t TakeOut(const std::string& supplier, AgreementLoad& load) {
  const auto count = [](size_t rows) { return static_cast<int64_t>(rows); };
  if (auto* quotes = std::get_if<std::vector<Quote>>(&load)) {
    return count(
        std::erase_if(*quotes, [&](const Quote& one) { return one.key.supplier == supplier; }));
  }
  if (auto* terms = std::get_if<std::vector<Terms>>(&load)) {
    return count(std::erase_if(*terms, [&](const Terms& one) { return one.supplier == supplier; }));
  }
  if (auto* items = std::get_if<std::vector<Item>>(&load)) {
    // What else the row says of the item stays.
    int64_t rows = 0;
    for (Item& one : *items) {
      if (one.supplier != supplier) continue;
      one.supplier.clear();
      one.supplier_item.clear();
      ++rows;
    }
    return rows;
  }
  const auto* pause = std::get_if<Pause>(&load);
  if (pause == nullptr || pause->supplier != supplier) return 0;
  load = std::vector<Terms>();
  return 1;
}

bool IsEmpty(const AgreementLoad& load) {
  const auto* quotes = std::get_if<std::vector<Quote>>(&load);
  const auto* terms = std::get_if<std::vector<Terms>>(&load);
  return (quotes != nullptr && quotes->empty()) || (terms != nullptr && terms->empty());
}

absl::Status EachLoad(const Snapshot& snapshot,
                      const std::function<void(std::string_view, ReceivedLoad)>& each) {
  absl::Status bad;
  bad.Update(snapshot.Scan(Space::kMeta, kAgreementPrefix, "", [&](auto key, auto value) {
    auto received = DecodeAgreement(value);
    bad.Update(received.status());
    if (received.ok()) each(key, *std::move(received));
    return bad.ok();
  }));
  return bad;
}

absl::Status EraseAgreed(const Snapshot& snapshot, const std::string& supplier,
                         const LogEntry& entry, Catalog& catalog, Batch& batch) {
  auto agreements = std::make_shared<Agreements>();
  const absl::Status read = EachLoad(snapshot, [&](std::string_view key, ReceivedLoad received) {
    if (TakeOut(supplier, received.load) > 0) {
      if (IsEmpty(received.load)) {
        batch.Delete(Space::kMeta, std::string(key));
        return;
      }
      batch.Put(Space::kMeta, std::string(key),
                EncodeAgreement(received.receive_time, received.load));
    }
    agreements->Take(received.load, received.receive_time);
  });
  if (!read.ok()) return read;
  for (const AgreementLoad& load : entry.content.agreements) {
    agreements->Take(load, entry.receive_time);
  }
  catalog.agreements = std::move(agreements);
  return absl::OkStatus();
}

// What the batch has under keys of a kind, the last of each.
std::map<std::string, std::optional<std::string>> ChangedIn(const Batch& batch, Space space,
                                                            std::string_view prefix) {
  std::map<std::string, std::optional<std::string>> changed;
  for (const Batch::Change& one : batch.changes) {
    if (one.space == space && one.key.starts_with(prefix)) changed[one.key] = one.value;
  }
  return changed;
}

absl::Status EraseAssigned(const Snapshot& snapshot, const ErasedSupplier& erased, Catalog& catalog,
                           Batch& batch) {
  const auto changed = ChangedIn(batch, Space::kIndex, kAssignmentPrefix);
  auto open = std::make_shared<OpenAssignments>(*catalog.assignments);
  absl::Status bad;
  for (const OrderKey& order : std::set<OrderKey>(erased.assigned.begin(), erased.assigned.end())) {
    bad.Update(snapshot.Scan(Space::kIndex, AssignmentPrefix(order), "", [&](auto key, auto value) {
      std::string latest(value);
      const auto change = changed.find(std::string(key));
      if (change != changed.end()) {
        if (!change->second) return true;
        latest = *change->second;
      }
      auto stored = DecodeAssignment(latest);
      bad.Update(stored.status());
      if (!stored.ok()) return false;
      Assignment& given = stored->assignment;
      if (!Names(given, erased.supplier)) return true;
      if (given.pick.supplier == erased.supplier) {
        batch.Delete(Space::kIndex, std::string(key));
        batch.Delete(Space::kIndex, AssignedKey(given.time, order, given.part));
        open->by_part.erase({order, given.part});
      } else {
        TakeOut(erased.supplier, given);
        batch.Put(Space::kIndex, std::string(key), EncodeAssignment(*stored));
      }
      return true;
    }));
  }
  catalog.assignments = std::move(open);
  return bad;
}

absl::Status EraseAlerts(const Snapshot& snapshot, const std::string& supplier, Catalog& catalog,
                         Batch& batch) {
  auto alerts = std::make_shared<AlertsTold>(*catalog.alerts);
  std::set<std::string> ids;
  for (const auto& [id, alert] : catalog.alerts->by_id) {
    if (alert.key.supplier == supplier) ids.insert(id);
  }
  for (const std::string& id : ids) alerts->by_id.erase(id);
  std::erase_if(alerts->by_key, [&](const auto& one) { return one.first.supplier == supplier; });
  const auto changed = ChangedIn(batch, Space::kMeta, kNoticePrefix);
  const auto read = EachAlertNotice(snapshot, 0, [&](int64_t cursor, const AlertNotice& notice) {
    if (notice.key.supplier == supplier || ids.contains(notice.alert_id)) {
      batch.Put(Space::kMeta, NoticeKey(cursor), "");
    }
    return true;
  });
  if (!read.ok()) return read.status();
  for (const auto& [key, value] : changed) {
    const auto notice = DecodeAlertNotice(*value);
    if (!notice.ok()) return notice.status();
    if (notice->key.supplier == supplier || ids.contains(notice->alert_id)) {
      batch.Put(Space::kMeta, key, "");
    }
  }
  catalog.alerts = std::move(alerts);
  return absl::OkStatus();
}

}  // namespace

bool SupplierTraces::empty() const {
  return orders == 0 && assignments == 0 && agreed_rows == 0 && alerts == 0 && purged_parts == 0;
}

absl::StatusOr<std::vector<OrderKey>> SomeOrdersNaming(const Snapshot& snapshot,
                                                       const std::string& supplier, size_t limit,
                                                       const std::function<bool()>& give_up,
                                                       std::string& place) {
  std::vector<OrderKey> orders;
  const std::string from = std::exchange(place, "");
  int64_t read = 0;
  absl::Status bad;
  bad.Update(snapshot.Scan(Space::kOrders, "", from, [&](auto key, auto value) {
    if (key == from) return true;
    if (++read % kAskedEvery == 0 && give_up()) {
      bad = absl::CancelledError("cut short");
      return false;
    }
    const auto events = DecodeOrder(value);
    bad.Update(events.status());
    if (!events.ok()) return false;
    if (std::any_of(events->begin(), events->end(),
                    [&](const Event& event) { return event.supplier == supplier; })) {
      orders.push_back(ParseOrderRecordKey(key));
      if (orders.size() == limit) place = key;
    }
    return orders.size() < limit;
  }));
  if (!bad.ok()) return bad;
  return orders;
}

absl::StatusOr<std::vector<OrderKey>> SomeAssignedNaming(const Snapshot& snapshot,
                                                         const std::string& supplier, size_t limit,
                                                         std::string& place) {
  std::vector<OrderKey> orders;
  const std::string from = std::exchange(place, "");
  absl::Status bad;
  bad.Update(snapshot.Scan(Space::kIndex, kAssignmentPrefix, from, [&](auto key, auto value) {
    if (key == from) return true;
    const auto stored = DecodeAssignment(value);
    bad.Update(stored.status());
    if (!stored.ok()) return false;
    if (Names(stored->assignment, supplier)) {
      orders.push_back(stored->assignment.order);
      if (orders.size() == limit) place = key;
    }
    return orders.size() < limit;
  }));
  if (!bad.ok()) return bad;
  return orders;
}

absl::StatusOr<SupplierTraces> TracesOf(const Snapshot& snapshot, const Catalog& catalog,
                                        const FoldRules& rules, const std::string& supplier,
                                        const std::function<bool()>& give_up) {
  SupplierTraces traces;
  std::string place;
  do {
    const auto orders = SomeOrdersNaming(snapshot, supplier, 1000, give_up, place);
    if (!orders.ok()) return orders.status();
    for (const OrderKey& order : *orders) {
      const auto record = snapshot.Get(Space::kOrders, OrderRecordKey(order));
      if (!record.ok()) return record.status();
      const auto events = DecodeOrder(**record);
      if (!events.ok()) return events.status();
      const OrderState state = Fold(order, *events, rules, *catalog.excuses);
      ++traces.orders;
      traces.shared_orders += std::any_of(
          state.parts.begin(), state.parts.end(),
          [&](const PartState& part) { return part.counts() && part.supplier != supplier; });
    }
  } while (!place.empty());
  do {
    const auto orders = SomeAssignedNaming(snapshot, supplier, 1000, place);
    if (!orders.ok()) return orders.status();
    traces.assignments += static_cast<int64_t>(orders->size());
  } while (!place.empty());
  absl::Status bad = EachLoad(snapshot, [&](std::string_view, ReceivedLoad received) {
    traces.agreed_rows += TakeOut(supplier, received.load);
  });
  for (const auto& [id, alert] : catalog.alerts->by_id) {
    traces.alerts += alert.key.supplier == supplier ? 1 : 0;
  }
  bad.Update(snapshot.Scan(Space::kIndex, kGonePairPrefix, "", [&](auto key, auto value) {
    const auto pair = ParseGonePairKey(key);
    const auto parts = DecodeCount(value);
    bad.Update(pair.status());
    bad.Update(parts.status());
    if (bad.ok() && pair->supplier == supplier) traces.purged_parts += *parts;
    return bad.ok();
  }));
  if (!bad.ok()) return bad;
  return traces;
}

absl::Status EraseSupplier(const Snapshot& snapshot, const ErasedSupplier& erased,
                           const LogEntry& entry, Catalog& catalog, Changes& changes,
                           Batch& batch) {
  absl::Status status = EraseAssigned(snapshot, erased, catalog, batch);
  if (!status.ok() || !erased.rest) return status;
  status.Update(EraseAgreed(snapshot, erased.supplier, entry, catalog, batch));
  status.Update(EraseAlerts(snapshot, erased.supplier, catalog, batch));
  status.Update(changes.EraseGone(snapshot, erased.supplier));
  batch.Delete(Space::kIndex, SupplierKey(erased.supplier));
  return status;
}

}  // namespace plumblane
