#include "simulation/oracle.h"

#include <absl/strings/escaping.h>
#include <absl/strings/str_cat.h>

#include <algorithm>

#include "engine/applier.h"
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

std::string Oracle::Check(const View& view, const Store& store, const FoldRules& rules,
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
  if (std::string wrong = CatchUp(sequence, rules, entries); !wrong.empty()) return wrong;
  if (std::string wrong = CompareStates(store); !wrong.empty()) return wrong;
  const auto difference = FindDifference(view.snapshot(), view.catalog(), rules);
  if (!difference.ok()) return difference.status().ToString();
  if (!difference->empty()) return *difference;
  return CompareEvents(store);
}

std::string Oracle::CatchUp(uint64_t sequence, const FoldRules& rules,
                            const std::map<uint64_t, std::string>& entries) {
  if (rules != rules_ || sequence < calm_catalog_.log_sequence) {
    Batch all;
    for (const Batch::Change& one : EverythingIn(calm_).changes) all.Delete(one.space, one.key);
    if (absl::Status status = calm_.Write(all, true); !status.ok()) return status.ToString();
    calm_catalog_ = {};
    rules_ = rules;
  }
  while (calm_catalog_.log_sequence < sequence) {
    const uint64_t next = calm_catalog_.log_sequence + 1;
    const auto bytes = entries.find(next);
    if (bytes == entries.end()) return absl::StrCat("entry ", next, " was never written");
    const auto entry = DecodeLogEntry(bytes->second);
    if (!entry.ok()) return entry.status().ToString();
    const auto applied = Apply(*calm_.TakeSnapshot(), calm_catalog_, rules_, next, *entry);
    if (!applied.ok()) return applied.status().ToString();
    if (absl::Status status = calm_.Write(applied->batch, true); !status.ok()) {
      return status.ToString();
    }
    calm_catalog_ = applied->catalog;
  }
  return "";
}

std::string Oracle::CompareStates(const Store& store) const {
  const auto is = Comparable(store), expected = Comparable(calm_);
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

std::string Oracle::CompareEvents(const Store& store) const {
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
  for (const EventName& name : kept_) {
    if (!found.contains(name)) return absl::StrCat("acknowledged and lost: ", InWords(name));
  }
  return "";
}

}  // namespace plumblane::test
