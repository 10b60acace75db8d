#include "engine/assignment_changes.h"

#include <memory>

#include "engine/assignments.h"
#include "engine/records.h"
#include "storage/keys.h"

namespace plumblane {
namespace {

using Changed = std::map<Payments::Part, StoredAssignment>;

absl::StatusOr<std::optional<StoredAssignment>> Read(const Snapshot& snapshot,
                                                     const Payments::Part& part) {
  const auto record = snapshot.Get(Space::kIndex, AssignmentKey(part.first, part.second));
  if (!record.ok()) return record.status();
  if (!*record) return std::nullopt;
  auto stored = DecodeAssignment(**record);
  if (!stored.ok()) return stored.status();
  return *std::move(stored);
}

void Keep(const Changed& changed, Catalog& catalog, Batch& batch) {
  if (changed.empty()) return;
  auto open = std::make_shared<OpenAssignments>(*catalog.assignments);
  for (const auto& [part, stored] : changed) {
    batch.Put(Space::kIndex, AssignmentKey(part.first, part.second), EncodeAssignment(stored));
    if (stored.state == AssignmentState::kOpen) {
      open->by_part[part] = {stored.assignment.pick.supplier, stored.assignment.time};
    } else {
      open->by_part.erase(part);
    }
  }
  catalog.assignments = std::move(open);
}

}  // namespace

void Payments::Note(const OrderKey& order, const OrderState& before, const OrderState& after) {
  for (const OrderState* state : {&before, &after}) {  // a part goes when its sends do
    for (const PartState& part : state->parts) {
      const std::string* was = PaidTo(before, part.part);
      const std::string* is = PaidTo(after, part.part);
      const bool same = was == nullptr || is == nullptr ? was == is : *was == *is;
      if (same && !keeps_unchanged_) continue;
      Payment& payment = payments_[{order, part.part}];
      if (was) payment.before = *was;
      if (is) payment.after = *is;
    }
  }
}

absl::Status ChangeAssignments(const Snapshot& snapshot, const Payments& payments,
                               const std::vector<Assignment>& given, Catalog& catalog,
                               Batch& batch) {
  const OpenAssignments& open = *catalog.assignments;
  Changed changed;
  for (const auto& [part, payment] : payments.all()) {
    if (payment.before == payment.after) continue;
    // What is not paid and was assigned is open, so most parts need not be looked up.
    if (!payment.before && !open.by_part.contains(part)) continue;
    auto stored = Read(snapshot, part);
    if (!stored.ok()) return stored.status();
    if (!*stored) continue;
    (*stored)->state = StateOf((*stored)->assignment, payment.after);
    changed[part] = **std::move(stored);
  }
  for (const Assignment& assignment : given) {
    const Payments::Part part{assignment.order, assignment.part};
    if (changed.contains(part)) continue;
    const auto stored = Read(snapshot, part);
    if (!stored.ok()) return stored.status();
    if (*stored) continue;
    const auto payment = payments.all().find(part);
    changed[part] = {assignment,
                     StateOf(assignment, payment == payments.all().end() ? std::nullopt
                                                                         : payment->second.after)};
    batch.Put(Space::kIndex, AssignedKey(assignment.time, part.first, part.second), "");
  }
  Keep(changed, catalog, batch);
  return absl::OkStatus();
}

}  // namespace plumblane
