#include "orders/tellings.h"

#include <algorithm>
#include <functional>
#include <set>
#include <tuple>

namespace plumblane {
namespace {

bool IsOfFeed(const Event& event, const Event& of) {
  return event.revision && event.source == of.source && event.part == of.part;
}

// With the telling that an empty list stands for.
std::vector<Telling> TellingsOf(const Event& event) {
  if (!event.tellings.empty()) return event.tellings;
  return {{event.revision.value_or(Instant{0}), 0}};
}

bool IsBefore(const Telling& a, const Telling& b) {
  return std::tie(b.revision, a.send) < std::tie(a.revision, b.send);
}

// REQUIRES: not empty, sorted.
void Put(std::vector<Telling> tellings, Event& event) {
  if (event.revision) event.revision = tellings.front().revision;
  const bool once_for_good = tellings.size() == 1 && tellings.front().send == 0;
  event.tellings = once_for_good ? std::vector<Telling>() : std::move(tellings);
}

// Makes all that was told under `revision` one telling for good.
void MakeForGood(std::vector<Telling>& tellings, Instant revision) {
  const auto of_it = [&](const Telling& telling) { return telling.revision == revision; };
  const auto first = std::find_if(tellings.begin(), tellings.end(), of_it);
  if (first == tellings.end()) return;
  first->send = 0;
  tellings.erase(std::remove_if(first + 1, tellings.end(), of_it), tellings.end());
}

// False: it is told already.
bool Add(const Telling& telling, Event& event) {
  std::vector<Telling> tellings = TellingsOf(event);
  const auto is_of_it = [&](const Telling& one) { return one.revision == telling.revision; };
  const auto first = std::find_if(tellings.begin(), tellings.end(), is_of_it);
  if (first != tellings.end() && first->send == 0) return false;
  const auto at = std::lower_bound(tellings.begin(), tellings.end(), telling, IsBefore);
  if (at != tellings.end() && *at == telling) return false;
  tellings.insert(at, telling);
  const auto sends = std::count_if(tellings.begin(), tellings.end(), is_of_it);
  if (telling.send == 0 || static_cast<size_t>(sends) > kMaxSends) {
    MakeForGood(tellings, telling.revision);
  }
  Put(std::move(tellings), event);
  return true;
}

// The latest revision of the feed of which anything is for good, below which nothing counts again.
std::optional<Instant> Floor(const std::vector<Event>& events, const Event& of) {
  std::optional<Instant> floor;
  std::set<Instant, std::greater<>> revisions;
  for (const Event& event : events) {
    if (!IsOfFeed(event, of)) continue;
    for (const Telling& telling : TellingsOf(event)) {
      revisions.insert(telling.revision);
      if (telling.send == 0) floor = std::max(floor, {telling.revision});
    }
  }
  if (revisions.size() > kMaxRevisions) {
    floor = std::max(floor, {*std::next(revisions.begin(), kMaxRevisions - 1)});
  }
  return floor;
}

// Whether the event is still told.
bool DropBelow(Instant floor, Event& event) {
  std::vector<Telling> tellings = TellingsOf(event);
  std::erase_if(tellings, [&](const Telling& telling) { return telling.revision < floor; });
  if (tellings.empty()) return false;
  MakeForGood(tellings, floor);
  Put(std::move(tellings), event);
  return true;
}

void DropBelow(Instant floor, const Event& of, std::vector<Event>& events) {
  std::vector<Event> kept;
  for (Event& event : events) {
    if (!IsOfFeed(event, of) || DropBelow(floor, event)) kept.push_back(std::move(event));
  }
  events = std::move(kept);
}

}  // namespace

bool IsSameId(const Event& a, const Event& b) {
  return a.event_id == b.event_id && a.source == b.source && a.part == b.part;
}

Told Tell(std::vector<Event>& events, const Event& event) {
  const Telling telling = event.tellings.empty() ? Telling{event.revision.value_or(Instant{0}), 0}
                                                 : event.tellings.front();
  Event* known = nullptr;
  for (Event& other : events) {
    if (!IsSameId(other, event)) continue;
    if (other.revision.has_value() != event.revision.has_value()) return Told::kConflict;
    if (other.content_hash == event.content_hash) {
      known = &other;
      continue;
    }
    for (const Telling& one : TellingsOf(other)) {
      if (one.revision == telling.revision) return Told::kConflict;
    }
  }
  if (event.revision) {
    const std::optional<Instant> floor = Floor(events, event);
    if (floor && *event.revision < *floor) return Told::kKnown;
  }
  if (known != nullptr) {
    if (!Add(telling, *known)) return Told::kKnown;
  } else {
    if (events.size() >= kMaxEventsPerOrder) return Told::kFull;
    const auto at = std::upper_bound(events.begin(), events.end(), event, Earlier);
    Event& kept = *events.insert(at, event);
    if (telling.send == 0) kept.tellings.clear();
  }
  Told told = known != nullptr ? Told::kAgain : Told::kNew;
  if (event.revision) {
    if (const std::optional<Instant> floor = Floor(events, event)) {
      DropBelow(*floor, event, events);
      if (*event.revision < *floor) told = Told::kAgain;  // all it did was to raise the floor
    }
  }
  return told;
}

TakenBack TakeBack(std::vector<Event>& events, int64_t send) {
  TakenBack taken;
  std::vector<Event> kept;
  for (Event& event : events) {
    std::vector<Telling> tellings = event.tellings;
    if (std::erase_if(tellings, [send](const Telling& one) { return one.send == send; }) > 0) {
      ++(tellings.empty() ? taken.gone : taken.staying);
      if (tellings.empty()) continue;
      Put(std::move(tellings), event);
    }
    kept.push_back(std::move(event));
  }
  events = std::move(kept);
  return taken;
}

std::vector<int64_t> SendsOf(const std::vector<Event>& events) {
  std::set<int64_t> sends;
  for (const Event& event : events) {
    for (const Telling& telling : event.tellings) sends.insert(telling.send);
  }
  sends.erase(0);
  return {sends.begin(), sends.end()};
}

}  // namespace plumblane
