// Random streams of order events, lawful and unlawful alike, from a seed.
#pragma once

#include <random>
#include <string>
#include <vector>

#include "base/time.h"
#include "orders/event.h"

namespace plumblane::test {

struct KeyedEvent {
  OrderKey order;
  Event event;
};

class RandomOrders {
 public:
  explicit RandomOrders(uint64_t seed) : random_(seed) {}

  // `orders` orders of up to a dozen events each, few suppliers and lanes so that cells are shared.
  // Retractions, revisions, replacements, wrong order of times and differing facts all occur.
  std::vector<KeyedEvent> Make(int orders) {
    std::vector<KeyedEvent> events;
    for (int i = 0; i < orders; ++i) MakeOrder(i, events);
    return events;
  }

  int Below(int n) { return static_cast<int>(random_() % static_cast<uint64_t>(n)); }
  std::mt19937_64& generator() { return random_; }

 private:
  bool Chance(int percent) { return Below(100) < percent; }
  template <size_t N>
  std::string Pick(const char* const (&words)[N]) {
    return words[Below(static_cast<int>(N))];
  }

  void MakeOrder(int number, std::vector<KeyedEvent>& out) {
    const OrderKey key{Pick({"harbour", "meadow"}), std::to_string(number / 2)};
    std::vector<std::string> ids;
    const int count = 1 + Below(12);
    for (int i = 0; i < count; ++i) {
      Event event;
      event.source = Pick({"a", "b"});
      event.event_id = std::to_string(number) + "." + std::to_string(i);
      event.part = Chance(85) ? 1 : 2;
      event.type = static_cast<EventType>(1 + Below(i == 0 ? 1 : 8));
      event.time = {20'000 * kMillisPerDay + (Below(60 * 24) * 3'600'000LL) + Below(2) * 1000};
      if (event.type == EventType::kPaid || Chance(10)) AddFacts(event);
      if (event.type == EventType::kDisputed || event.type == EventType::kRefunded ||
          event.type == EventType::kCancelled) {
        event.reason = static_cast<Reason>(Below(16));
        event.refund_by_shop = event.type == EventType::kRefunded && Chance(30);
        if (event.type == EventType::kRefunded) event.refund = Money{1 + Below(5000), "EUR"};
        if (event.type == EventType::kDisputed) event.claim = Money{1 + Below(5000), "USD"};
      }
      if (event.type == EventType::kShipped && Chance(70))
        event.tracking = "T" + std::to_string(number);
      if (event.type == EventType::kRetracted) {
        event.retracts =
            ids.empty() || Chance(20) ? "unseen" : ids[Below(static_cast<int>(ids.size()))];
      }
      if (Chance(10)) event.revision = Instant{20'000 * kMillisPerDay + Below(3) * kMillisPerDay};
      event.content_hash = ContentHash(key, event);
      ids.push_back(event.event_id);
      out.push_back({key, std::move(event)});
    }
  }

  void AddFacts(Event& event) {
    if (Chance(95)) event.supplier = Pick({"lotus", "copper", "amber"});
    if (Chance(95)) event.origin = Pick({"VN", "TR"});
    if (Chance(95)) event.destination = Pick({"DE", "SE"});
    if (Chance(30)) event.service = "express";
    if (Chance(80)) event.promise = event.time + Below(20) * kMillisPerDay - kMillisPerDay;
    event.promise_implied = event.promise && Chance(20);
    if (Chance(70)) event.cost = Money{1 + Below(9000), "EUR"};
    // No draw of its own, so that a seed still gives the history it gave before there were quotes.
    if (event.cost && event.cost->minor_units % 3 == 0) {
      const int64_t cents = event.cost->minor_units;
      event.quoted = Money{cents - cents % 7, cents % 5 == 0 ? "USD" : "EUR"};
    }
    if (event.part == 2 && Chance(50)) event.replaces = 1;
  }

  std::mt19937_64 random_;
};

}  // namespace plumblane::test
