// Sends: what was sent when, and taking a whole send back.
//
// A send begins, gets the next number, tells events and how far its sources are complete, and ends.
// It is a record of its own; each event that it tells carries its number (orders/tellings.h), and
// an index leads from it to the orders it touched.
//
// Taking back goes in steps of kOrdersAStep orders, one log entry each, so that no entry is large;
// from the first on the send takes no more events. Who asks goes on until it is done; a daemon that
// stopped midway finishes at its next start. Afterwards orders, cells and indexes, and what is
// known of sources, are what they would be without the send, as far as orders/tellings.h says. What
// stays: the clock of event time, when a supplier was last heard of, whether a source was retired,
// and alerts that were told. Sending the same again is a new send, and counts.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>

#include <cstdint>
#include <functional>
#include <map>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "engine/catalog.h"
#include "engine/submission.h"
#include "orders/fold.h"
#include "orders/tellings.h"
#include "storage/store.h"

namespace plumblane {

inline constexpr size_t kOrdersAStep = 5000;

// On disk: never renumber.
enum class SendState : uint8_t {
  kUnderway = 0,  // or broken off
  kFinished = 1,
  kBeingTakenBack = 2,
  kTakenBack = 3,
};

struct Send {
  int64_t number = 0;
  Instant begun;
  SendBegun from;
  SendState state = SendState::kUnderway;
  // Of its events, by what became of them; rejected by its own count.
  int64_t accepted = 0, repeated = 0, conflicts = 0, rejected = 0;
  std::optional<Instant> first_event, last_event;  // event times; retractions aside
  uint64_t first_sequence = 0, last_sequence = 0;  // log entries with its events; 0 = none
  std::optional<Instant> finished, taken_back;     // when
  TakenBack events_taken_back;                     // so far
  std::map<std::string, SourceWord> sources;       // what it said of them

  bool takes_events() const { return state <= SendState::kFinished; }
};

// The sends that one log entry is about, while it is applied.
class SendLedger {
 public:
  // Reads those that the events name, `told`, and what else is in `content`.
  absl::Status Load(const Snapshot& snapshot, std::set<int64_t> told, const Submission& content);
  bool empty() const { return sends_.empty(); }

  // Its number: the one after `last` unless it has one, and then it may have begun already. `last`
  // is the highest afterwards.
  int64_t Begin(const SendBegun& from, Instant time, int64_t& last);
  // False for an unknown send and one that was taken back; 0 is no send and always takes.
  bool Takes(int64_t send) const;
  // REQUIRES: Takes(), as all below.
  void Note(const Event& event, EventFate::Kind fate, uint64_t sequence);
  void NoteNews(const SourceNews& news);
  void Finish(const SendFinished& finished, Instant time);

  // One step of taking it back: the orders to take it out of, none when it cannot be taken back.
  // When they are the last, `done` says so.
  struct Step {
    std::vector<OrderKey> orders;
    bool done = false;
  };
  absl::StatusOr<Step> TakeBack(const Snapshot& snapshot, int64_t send, Instant time);
  void NoteTakenBack(int64_t send, const TakenBack& taken);
  // Recounts the sources of a send that is taken back from what is left of them; those of which
  // nothing is left go.
  absl::Status Recount(const Snapshot& snapshot, int64_t send, Catalog& catalog) const;

  // REQUIRES: it is loaded.
  const Send& Get(int64_t send) const { return sends_.at(send); }

  void AppendTo(Batch& batch) const;

 private:
  Send* Find(int64_t send);

  std::map<int64_t, Send> sends_;
};

// The send of a new event; 0 = none.
int64_t SendOf(const Event& event);

// Adds to what is known of a source.
void Hear(const SourceWord& word, bool by_send, Source& source);

absl::StatusOr<std::optional<Send>> ReadSend(const Snapshot& snapshot, int64_t send);
// Those before `before`, latest first, until `each` returns false.
absl::Status EachSend(const Snapshot& snapshot, int64_t before,
                      const std::function<bool(const Send&)>& each);
// Orders that it told something of, until `each` returns false.
absl::Status EachOrderOf(const Snapshot& snapshot, int64_t send,
                         const std::function<bool(const OrderKey&)>& each);

// The index of an order's sends, from what they were to those of what is told of it now.
void IndexSends(const OrderKey& order, const std::vector<int64_t>& before,
                const std::vector<Event>& after, Batch& batch);

// What taking a send back would do.
struct TakeBackEffect {
  struct OfSupplier {  // differences in order parts, of all its lanes
    int64_t orders = 0, delivered = 0, late = 0, defects = 0;
    bool operator==(const OfSupplier&) const = default;
  };
  int64_t orders = 0;  // that it told something of
  TakenBack events;
  int64_t parts_gone = 0;                       // of which nothing else is known
  std::map<std::string, OfSupplier> suppliers;  // those for which something changes
};

// Reads and folds every order of the send: seconds for hundreds of thousands. Error besides those
// of the store: CANCELLED once `give_up`, asked now and then, says so.
absl::StatusOr<TakeBackEffect> EffectOfTakingBack(const Snapshot& snapshot, const Catalog& catalog,
                                                  const FoldRules& rules, int64_t send,
                                                  const std::function<bool()>& give_up = {});

}  // namespace plumblane
