// Hex for golden bytes, and events that use every field.
#pragma once

#include <absl/strings/escaping.h>

#include <algorithm>
#include <cstdint>
#include <random>
#include <string>
#include <string_view>

#include "orders/event.h"

namespace plumblane::test {

inline std::string Hex(std::string_view bytes) {
  return absl::BytesToHexString(absl::string_view(bytes.data(), bytes.size()));
}

// Hex as it is written for people, with blanks between the fields, without these.
inline std::string Packed(std::string_view spaced) {
  std::string packed;
  for (const char c : spaced) {
    if (c != ' ') packed.push_back(c);
  }
  return packed;
}

// One event that states everything an event can state.
inline Event FullEvent() {
  Event event;
  event.source = "feed";
  event.event_id = "e-1";
  event.content_hash = 0x0123456789abcdef;
  event.part = 2;
  event.type = EventType::kRefunded;
  event.time = {1'772'719'200'000};
  event.supplier = "lotus";
  event.origin = "VN";
  event.destination = "DEHAM";
  event.service = "express";
  event.promise = Instant{1'773'529'199'999};
  event.promise_implied = true;
  event.promise_days = 9;
  event.item = "lamp";
  event.supplier_item = "LT-1";
  event.units = 1'000'000;
  event.cost = Money{1375, "EUR"};
  event.sale = Money{2999, "USD"};
  event.quoted = Money{1358, "EUR"};
  event.reason = Reason::kOutOfStock;
  event.claim = Money{10'000'000'000, "JPY"};
  event.refund = Money{-250, "EUR"};
  event.refund_by_shop = true;
  event.replaces = 1;
  event.tracking = "TRK1";
  event.retracts = "e-0";
  event.revision = Instant{1'772'755'200'000};
  return event;
}

// Events in which each field is there or not by chance, with extreme values among them.
class RandomEvents {
 public:
  explicit RandomEvents(uint64_t seed) : random_(seed) {}

  Event One() {
    Event event;
    event.source = Text(64);
    event.event_id = Text(128);
    event.content_hash = random_();
    event.part = 1 + Below(kMaxPart);
    event.type = static_cast<EventType>(1 + Below(8));
    event.time = Time();
    for (std::string* text :
         {&event.supplier, &event.origin, &event.destination, &event.service, &event.item,
          &event.supplier_item, &event.tracking, &event.retracts}) {
      if (Below(2)) *text = Text(20);
    }
    if (Below(2)) event.promise = Time();
    event.promise_implied = Below(2);
    if (Below(2)) event.promise_days = Below(366);
    if (Below(2)) event.units = Below(2) ? 1 : 1'000'000;
    for (std::optional<Money>* sum :
         {&event.cost, &event.sale, &event.claim, &event.refund, &event.quoted}) {
      if (Below(2)) *sum = Money{Below(3) ? Below(100'000) - 50'000 : kMaxMinorUnits, "EUR"};
    }
    event.reason = static_cast<Reason>(Below(16));
    event.refund_by_shop = Below(2);
    event.replaces = Below(event.part);
    if (Below(2)) event.revision = Time();
    for (int count = Below(3); count > 0; --count) {
      Telling& telling = event.tellings.emplace_back();
      telling.send = Below(1'000'000);
      if (event.revision) {
        telling.revision = std::max(kEarliestInstant, *event.revision - Below(1000));
      }
    }
    return event;
  }
  int Below(int n) { return static_cast<int>(random_() % static_cast<uint64_t>(n)); }

 private:
  Instant Time() {
    switch (Below(6)) {
      case 0:
        return kEarliestInstant;
      case 1:
        return kLatestInstant;
      default:
        return {20'000 * kMillisPerDay + Below(1'000'000'000)};
    }
  }
  std::string Text(int longest) {
    std::string text(static_cast<size_t>(1 + Below(longest)), 'x');
    for (char& c : text) c = static_cast<char>('a' + Below(26));
    return text;
  }

  std::mt19937_64 random_;
};

}  // namespace plumblane::test
