#include "engine/leaving.h"

#include <algorithm>
#include <memory>

#include "engine/records.h"
#include "orders/standing.h"
#include "storage/keys.h"

namespace plumblane {

std::optional<Instant> OverSince(const OrderState& state, const std::vector<Event>& events,
                                 const FoldRules& rules, int claim_window_days,
                                 const TermsBook& terms) {
  Instant end{INT64_MIN};
  Instant expected{INT64_MIN};
  for (const Event& event : events) {
    end = std::max(end, event.time);
    if (event.promise) expected = std::max(expected, *event.promise);
  }
  for (const PartState& part : state.parts) {
    int days = std::max(claim_window_days, rules.lost_after_days);
    const HeldTerms* held = terms.Find(part.supplier);
    if (held != nullptr) days = std::max(days, held->terms.claim_days.value_or(0));
    if (part.deadline) expected = std::max(expected, *part.deadline);
    if (expected.millis != INT64_MIN) end = std::max(end, expected + days * kMillisPerDay);
    if (!part.counts()) continue;
    switch (ClaimStandingOf(part)) {
      case ClaimStanding::kUnanswered:
      case ClaimStanding::kOwed:
        return std::nullopt;
      case ClaimStanding::kUnclaimed:
        end = std::max(end, EndOf(UnclaimedOf(part)->since + days));
        break;
      default:
        break;
    }
  }
  return end;
}

absl::StatusOr<std::optional<Day>> NotKeptSince(const Snapshot& snapshot, const OrderKey& order) {
  const auto mark = snapshot.Get(Space::kIndex, GoneKey(order));
  if (!mark.ok()) return mark.status();
  if (!*mark) return std::nullopt;
  const auto day = DecodeCount(**mark);
  if (!day.ok()) return day.status();
  return Day{static_cast<int32_t>(*day)};
}

Leaving::Leaving(const Submission& content)
    : erased_(content.erased.begin(), content.erased.end()) {
  for (const Purge& purge : content.purges) {
    for (const OrderKey& order : purge.orders) purged_.emplace(order, &purge);
  }
}

std::vector<OrderKey> Leaving::Orders() const {
  std::vector<OrderKey> orders(erased_.begin(), erased_.end());
  for (const auto& [order, purge] : purged_) orders.push_back(order);
  return orders;
}

bool Leaving::IsPurged(const OrderKey& order, const OrderState& state,
                       const std::vector<Event>& events, const FoldRules& rules,
                       const TermsBook& terms) const {
  const auto purge = purged_.find(order);
  if (purge == purged_.end() || events.empty()) return false;
  const auto over = OverSince(state, events, rules, purge->second->claim_window_days, terms);
  return over && *over < purge->second->before;
}

void Leaving::Note(const OrderKey& order) { left_.insert(order); }

absl::Status Leaving::AppendTo(const Snapshot& snapshot, Instant time, Catalog& catalog,
                               Batch& batch) const {
  for (const OrderKey& order : left_) {
    batch.Put(Space::kIndex, GoneKey(order), EncodeCount(DayOf(time).number));
    if (IsErased(order)) {
      ++catalog.erased_count;
    } else {
      ++catalog.purged_count;
      catalog.purged_before = std::max(catalog.purged_before, {purged_.at(order)->before});
    }
  }
  if (erased_.empty()) return absl::OkStatus();
  auto excuses = std::make_shared<ExcuseBook>(*catalog.excuses);
  for (const auto& [id, excuse] : catalog.excuses->all()) {
    const auto* one = std::get_if<ExcusedOrder>(&excuse.subject);
    if (one == nullptr || !IsErased(one->order)) continue;
    batch.Delete(Space::kMeta, ExcuseKey(id));
    excuses->Erase(id);
  }
  catalog.excuses = std::move(excuses);
  auto open = std::make_shared<OpenAssignments>(*catalog.assignments);
  absl::Status bad;
  for (const OrderKey& order : erased_) {
    bad.Update(snapshot.Scan(Space::kIndex, AssignmentPrefix(order), "", [&](auto key, auto value) {
      const auto stored = DecodeAssignment(value);
      bad.Update(stored.status());
      if (!stored.ok()) return false;
      const Assignment& given = stored->assignment;
      batch.Delete(Space::kIndex, std::string(key));
      batch.Delete(Space::kIndex, AssignedKey(given.time, order, given.part));
      open->by_part.erase({order, given.part});
      return true;
    }));
  }
  catalog.assignments = std::move(open);
  return bad;
}

}  // namespace plumblane
