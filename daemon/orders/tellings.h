// The events of an order as a set: what a new one does to it, and what goes when a send is taken
// back.
//
// An event is told once or often: by sends, which can be taken back, or outside any, for good; with
// a revision, the time of the export it came from, or without.
//
// Known or new:
//  - Without a revision an event is known by (part, source, event_id). Told again with the same
//    content it is a repeat, with another a conflict, and the first stays.
//  - With revisions (part, source, event_id) may have one content under each: told again under
//    another revision with the same content it is a repeat, and is kept once; with another content
//    it is kept as well. Two contents under one revision are a conflict, as is an id once with and
//    once without a revision.
//  - A retraction is an event like any other, also by its own revision; it names an id, and so all
//    contents under it.
// Which events are in effect is the fold's affair: of one source and part those of the latest
// revision, however they arrived.
//
// What is kept, so that a record stays small however often an export is sent again:
//  - What more than kMaxSends sends have told is told for good: no taking back removes it.
//  - Of one source and part at most kMaxRevisions revisions, the latest; when there are more, the
//    oldest of these is for good, all of it, however it was told.
//  - Nothing below the latest revision of which anything is for good: it cannot come back into
//    effect. If such an event arrives it is a repeat that changes nothing.
// All of this depends on the set of tellings alone, not on the order in which they arrive, save for
// conflicts and full records.
//
// Taking a send back leaves what the other tellings make: what was told by that send alone is gone,
// as if never told, and can be told again. What counts is then exactly what had counted without
// that send, unless as many sends are taken back as a limit above says; then the last one stays.
// What was refused because of it (a conflict, a full record) was said to its sender, who must send
// it again.
//
// Pure and thread-safe.
#pragma once

#include <cstdint>
#include <vector>

#include "orders/event.h"

namespace plumblane {

inline constexpr size_t kMaxSends = 4;
inline constexpr size_t kMaxRevisions = 4;

// An order record is read and written whole, so it is kept small.
inline constexpr size_t kMaxEventsPerOrder = 1000;

// (part, source, event_id) is the same.
bool IsSameId(const Event& a, const Event& b);

enum class Told : uint8_t {
  kNew,
  kAgain,     // known, but not by this send or under this revision: only the tellings changed
  kKnown,     // nothing changed
  kConflict,  // nothing changed
  kFull,      // there are kMaxEventsPerOrder: nothing changed
};

// Adds an event to the events of its order, which stay sorted by Earlier(). REQUIRES: `event` has
// at most one telling, under its own revision.
Told Tell(std::vector<Event>& events, const Event& event);

struct TakenBack {
  int64_t gone = 0;     // events that only the send had told
  int64_t staying = 0;  // that others told as well
};
TakenBack TakeBack(std::vector<Event>& events, int64_t send);

// The sends that can be taken back, ascending, each once.
std::vector<int64_t> SendsOf(const std::vector<Event>& events);

}  // namespace plumblane
