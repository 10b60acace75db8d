#include "simulation/oracle.h"

#include <absl/strings/escaping.h>
#include <absl/strings/str_cat.h>

#include <algorithm>

#include "engine/applier.h"
#include "engine/leaving.h"
#include "simulation/disk.h"
#include "storage/keys.h"
#include "storage/order_codec.h"

namespace plumblane::test {
namespace {

std::string InWords(const EventName& name) {
  const auto& [order, source, id] = name;
  return absl::StrCat("event ", source, "/", id, " of order ", order.shop, "/", order.order_id);
}

// What is compared byte for byte: all but the log, of which the daemon keeps the end only, and the
// format, which says how rules came about.
std::map<std::string, std::string> Comparable(const Store& store) {
  std::map<std::string, std::string> all;
  for (Batch::Change& one : EverythingIn(store).changes) {
    if (one.space == Space::kLog || one.key == kFormatKey) continue;
    all[absl::StrCat(std::string(kSpaceNames[static_cast<int>(one.space)]), " ", one.key)] =
        *std::move(one.value);
  }
  return all;
}

std::string Readable(const std::string& key) { return absl::CHexEscape(key); }

}  // namespace

std::string Oracle::Answered(const OrderEvent& event, EventFate::Kind fate, uint64_t sequence) {
  AnsweredAt(sequence);
  const EventName name = NameOf(event);
  using Kind = EventFate::Kind;
  const bool counted_now =
      fate == Kind::kAccepted || fate == Kind::kContradiction || fate == Kind::kWaiting;
  if (fate == Kind::kNotKept && !may_leave_.contains(event.order)) {
    return absl::StrCat(InWords(name), " was refused, but nobody let its order go");
  }
  if (counted_now && left_.contains(event.order)) {
    return absl::StrCat(InWords(name), " counts again, though its order has left");
  }
  // Of several revisions older ones go.
  if (event.event.revision) return "";
  if (counted_now && kept_.contains(name)) {
    return absl::StrCat(InWords(name), " was acknowledged before and now counted again");
  }
  if (event.event.tellings.empty() && (counted_now || fate == Kind::kDuplicate)) {
    kept_.insert(name);
  }
  return "";
}

std::string Oracle::Check(const View& view, const Store& store,
                          const std::map<uint64_t, std::string>& entries) {
  const uint64_t sequence = view.catalog().log_sequence;
  if (sequence < last_answered_) {
    return absl::StrCat("entry ", last_answered_, " was acknowledged, the state ends at ",
                        sequence);
  }
  for (const Batch::Change& one : EverythingIn(store).changes) {
    if (one.space != Space::kLog) continue;
    const auto same = std::find_if(entries.begin(), entries.end(), [&](const auto& entry) {
      return LogKey(entry.first) == one.key && entry.second == *one.value;
    });
    if (same == entries.end()) return "the log holds an entry that was never written to it";
  }
  if (absl::Status status = CatchUp(sequence, entries); !status.ok()) return status.ToString();
  if (std::string wrong = CompareStates(store); !wrong.empty()) return wrong;
  const auto difference = FindDifference(view.snapshot(), view.catalog(), rules_);
  if (!difference.ok()) return difference.status().ToString();
  if (!difference->empty()) return *difference;
  return CompareEvents(store);
}

void Oracle::RulesChange(uint64_t sequence, const FoldRules& rules) {
  // A crash may have taken back what was applied since, though not what was logged.
  new_rules_[sequence] = rules;
  rules_ = {};
  calm_ = std::make_unique<MemoryStore>();
  calm_catalog_ = {};
}

absl::Status Oracle::CatchUp(uint64_t sequence, const std::map<uint64_t, std::string>& entries) {
  while (calm_catalog_.log_sequence < sequence) {
    const uint64_t next = calm_catalog_.log_sequence + 1;
    const auto bytes = entries.find(next);
    if (bytes == entries.end()) {
      return absl::InternalError(absl::StrCat("entry ", next, " was never written"));
    }
    const auto entry = DecodeLogEntry(bytes->second);
    if (!entry.ok()) return entry.status();
    if (absl::Status status = TakeRules(); !status.ok()) return status;
    const auto applied = Apply(*calm_->TakeSnapshot(), calm_catalog_, rules_, next, *entry);
    if (!applied.ok()) return applied.status();
    if (absl::Status status = calm_->Write(applied->batch, true); !status.ok()) return status;
    calm_catalog_ = applied->catalog;
  }
  return TakeRules();
}

absl::Status Oracle::TakeRules() {
  const auto next = new_rules_.find(calm_catalog_.log_sequence);
  if (next == new_rules_.end() || next->second == rules_) return absl::OkStatus();
  Format format{kFormatVersion, rules_, next->second, {}};
  const auto batch = RefoldSome(*calm_->TakeSnapshot(), calm_catalog_, SIZE_MAX, format);
  if (!batch.ok()) return batch.status();
  rules_ = next->second;
  return calm_->Write(*batch, true);
}

std::string Oracle::CompareStates(const Store& store) const {
  const auto is = Comparable(store), expected = Comparable(*calm_);
  for (const auto& [key, value] : expected) {
    const auto found = is.find(key);
    if (found == is.end())
      return absl::StrCat("missing, by the log from its start: ", Readable(key));
    if (found->second != value) {
      return absl::StrCat("not what the log makes from its start: ", Readable(key));
    }
  }
  for (const auto& [key, value] : is) {
    if (!expected.contains(key)) return absl::StrCat("nothing in the log makes ", Readable(key));
  }
  return "";
}

std::string Oracle::CompareEvents(const Store& store) {
  std::map<EventName, int> found;
  for (const Batch::Change& one : EverythingIn(store).changes) {
    if (one.space != Space::kOrders) continue;
    const auto events = DecodeOrder(*one.value);
    if (!events.ok()) return events.status().ToString();
    const OrderKey order = ParseOrderRecordKey(one.key);
    for (const Event& event : *events) {
      const EventName name = NameOf({order, event});
      const auto sent = sent_.find(name);
      if (sent == sent_.end() || sent->second != event.content_hash) {
        return absl::StrCat("nobody sent ", InWords(name));
      }
      if (++found[name] > 1) return absl::StrCat(InWords(name), " is there twice");
    }
  }
  for (const OrderKey& order : may_leave_) {
    const auto since = NotKeptSince(*store.TakeSnapshot(), order);
    if (!since.ok()) return since.status().ToString();
    if (*since) left_.insert(order);
  }
  for (const auto& [name, count] : found) {
    if (left_.contains(std::get<0>(name))) return absl::StrCat("has left: ", InWords(name));
  }
  for (const EventName& name : kept_) {
    if (!found.contains(name) && !left_.contains(std::get<0>(name)))
      return absl::StrCat("acknowledged and lost: ", InWords(name));
  }
  return "";
}

}  // namespace plumblane::test
