// What must hold after every crash: nothing acknowledged is lost, nothing counts twice, nothing is
// there that nobody sent, and all state is what the log makes from its first entry on.
#pragma once

#include <map>
#include <memory>
#include <set>
#include <string>
#include <tuple>

#include "engine/engine.h"
#include "storage/memory_store.h"

namespace plumblane::test {

// An event as its sender knows it.
using EventName = std::tuple<OrderKey, std::string, std::string>;  // source, event id
inline EventName NameOf(const OrderEvent& event) {
  return {event.order, event.event.source, event.event.event_id};
}

class Oracle {
 public:
  // A sender hands it in; what it carries may be there from now on.
  void Sent(const OrderEvent& event) { sent_[NameOf(event)] = event.event.content_hash; }
  // Orders are counted by these rules from now on, those of entries up to `sequence` anew.
  void RulesChange(uint64_t sequence, const FoldRules& rules);
  // It may leave from now on.
  void MayLeave(const OrderKey& order) { may_leave_.insert(order); }
  // The words to say when the answer to it breaks a promise, else "".
  std::string Answered(const OrderEvent& event, EventFate::Kind fate, uint64_t sequence);
  void AnsweredAt(uint64_t sequence) { last_answered_ = std::max(last_answered_, sequence); }

  // After a start that succeeded: what is wrong, in words, else "". `entries` is all that the log
  // ever held, those that a crash took included.
  std::string Check(const View& view, const Store& store,
                    const std::map<uint64_t, std::string>& entries);

  size_t kept_events() const { return kept_.size(); }

 private:
  absl::Status CatchUp(uint64_t sequence, const std::map<uint64_t, std::string>& entries);
  absl::Status TakeRules();
  std::string CompareStates(const Store& store) const;
  std::string CompareEvents(const Store& store);

  std::map<EventName, uint64_t> sent_;  // content
  std::set<EventName> kept_;            // acknowledged outside any send: can never go
  std::set<OrderKey> may_leave_, left_;
  uint64_t last_answered_ = 0;
  // The state of a daemon that was never disturbed.
  std::map<uint64_t, FoldRules> new_rules_;  // by the last entry before them
  FoldRules rules_;
  std::unique_ptr<MemoryStore> calm_ = std::make_unique<MemoryStore>();
  Catalog calm_catalog_;
};

}  // namespace plumblane::test
