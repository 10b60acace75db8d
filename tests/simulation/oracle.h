// What must hold after every crash: nothing acknowledged is lost, nothing counts twice, nothing is
// there that nobody sent, and all state is what the log makes from its first entry on.
#pragma once

#include <map>
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
  // The words to say when the answer to it breaks a promise, else "".
  std::string Answered(const OrderEvent& event, EventFate::Kind fate, uint64_t sequence);
  void AnsweredAt(uint64_t sequence) { last_answered_ = std::max(last_answered_, sequence); }

  // After a start that succeeded: what is wrong, in words, else "". `entries` is all that the log
  // ever held, those that a crash took included.
  std::string Check(const View& view, const Store& store, const FoldRules& rules,
                    const std::map<uint64_t, std::string>& entries);

  size_t kept_events() const { return kept_.size(); }

 private:
  std::string CatchUp(uint64_t sequence, const FoldRules& rules,
                      const std::map<uint64_t, std::string>& entries);
  std::string CompareStates(const Store& store) const;
  std::string CompareEvents(const Store& store) const;

  std::map<EventName, uint64_t> sent_;  // content
  std::set<EventName> kept_;            // acknowledged outside any send: can never go
  uint64_t last_answered_ = 0;
  // The state of a daemon that was never disturbed.
  FoldRules rules_;
  MemoryStore calm_;
  Catalog calm_catalog_;
};

}  // namespace plumblane::test
