// Events: what happened to an order, as it is kept.
//
// The numbers of the enums are part of the bytes on disk: never renumber, only append.
#pragma once

#include <compare>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/ids.h"
#include "base/money.h"
#include "base/time.h"

namespace plumblane {

enum class EventType : uint8_t {
  kPaid = 1,     // you placed and paid the order with the supplier
  kShipped = 2,  // first carrier scan, not the label
  kDelivered = 3,
  kDisputed = 4,  // you put a claim to the supplier
  kAnswered = 5,
  kRefunded = 6,  // money back, by the supplier or by the shop
  kCancelled = 7,
  kRetracted = 8,  // takes an earlier event of the same order and source back
};

enum class Reason : uint8_t {
  kNone = 0,
  kLate = 1,
  kNotReceived = 2,
  kDamaged = 3,
  kQuality = 4,
  kWrongItem = 5,
  kMissingPart = 6,
  kCounterfeit = 7,
  kUnsafe = 8,
  kLost = 9,
  kWrongAddress = 10,
  kRefused = 11,
  kCustoms = 12,
  kChangedMind = 13,
  kOutOfStock = 14,
  kOther = 15,
};

// The words of the event vocabulary ("paid", "wrong_item"); "" for kNone. Reading an unknown word
// gives none.
std::string_view NameOf(EventType type);
std::string_view NameOf(Reason reason);
std::optional<EventType> EventTypeNamed(std::string_view name);
std::optional<Reason> ReasonNamed(std::string_view name);

// One time that an event was told.
struct Telling {
  Instant revision;  // under which revision; {0} for an event without
  int64_t send = 0;  // by which send; 0 = outside any, or for good (orders/tellings.h)
  bool operator==(const Telling&) const = default;
};

struct Event {
  // What is asked of an event to tell whether it is known stands first, next to each other: an
  // entry's events fill no cache of a processor together.
  std::vector<Telling> tellings;    // latest revision first; empty = outside any send
  std::optional<Instant> revision;  // when the export that says this was made; the latest of all
  // Identity: (order, source, event_id) and a hash of what was sent, its revision aside.
  uint64_t content_hash = 0;
  int part = 1;  // 1..kMaxPart
  EventType type = EventType::kPaid;
  Reason reason = Reason::kNone;
  bool promise_implied = false;  // the promise came from a quote or terms, not from the sender
  bool refund_by_shop = false;   // refunded: by the shop, not by the supplier
  std::string event_id;
  std::string source;
  Instant time;  // when it happened; of `retracted` without effect

  // Facts; "" or absent = not stated by this event.
  std::string supplier, origin, destination, service;
  std::optional<Instant> promise;   // the moment by which the order is to arrive
  std::optional<int> promise_days;  // as sent, when the sender gave days
  std::string item;
  std::string supplier_item;  // what was sent, where intake made it `item`: the supplier's code
  std::optional<int64_t> units;
  std::optional<Money> cost, sale, claim, refund;
  std::optional<Money> quoted;  // `paid`: the landed price of the quote valid then, by intake
  int replaces = 0;             // the part this one replaces; 0 = none, always below `part`
  std::string tracking;
  std::string retracts;  // retracted: the event_id taken back

  bool operator==(const Event&) const = default;
};

// The order in which events are kept and searched: by (time, source, event_id), then by content.
bool Earlier(const Event& a, const Event& b);

// What the sender gave as a bare date; the event holds the moment it stands for.
struct SentDates {
  std::optional<Day> time, promise;
};

// Stable hash of everything the sender said (identity included; content_hash, revision and tellings
// excluded): of a date where a date was given, of the days where the promise was given in days.
uint64_t ContentHash(const OrderKey& order, const Event& event, const SentDates& dates = {});

}  // namespace plumblane
