// Orders of a small fleet day by day, from a seed, with a worsening that is put in.
#pragma once

#include <absl/strings/str_cat.h>

#include <algorithm>
#include <map>
#include <random>
#include <set>
#include <string>
#include <vector>

#include "engine/submission.h"
#include "orders/event.h"

namespace plumblane::test {

// Three suppliers, three lanes, some three orders a day each; promised ten days ahead, late one in
// twelve unless worsened.
class AlertHistory {
 public:
  AlertHistory(uint64_t seed, Day start) : seed_(seed), start_(start) {}

  // Of orders promised for these days two in five are late.
  void Worsen(std::string supplier, Day from, Day to) {
    worse_ = std::move(supplier);
    from_ = from;
    to_ = to;
  }

  // What happened on the day: payments and deliveries. Days ascending from the start.
  std::vector<OrderEvent> EventsOn(Day day) {
    while (next_ <= day - start_) MakeDay(start_ + next_++);
    return by_day_[day];
  }
  std::vector<OrderEvent> AllEvents(int days) {
    std::vector<OrderEvent> all;
    for (int i = 0; i < days; ++i) {
      const std::vector<OrderEvent> some = EventsOn(start_ + i);
      all.insert(all.end(), some.begin(), some.end());
    }
    return all;
  }

  // The supplier's late orders promised for these days, of those made so far.
  std::set<OrderKey> LateOrders(const std::string& supplier, Day from, Day to) const {
    std::set<OrderKey> orders;
    for (const Late& late : late_) {
      const bool is_asked = late.supplier == supplier && from <= late.promised;
      if (is_asked && late.promised <= to) orders.insert(late.order);
    }
    return orders;
  }

  // Corrections: a delivery in time, known after all, for the supplier's late or open orders
  // promised for these days.
  std::vector<OrderEvent> DeliveredOnTimeAfterAll(const std::string& supplier, Day from, Day to) {
    std::vector<OrderEvent> corrections;
    for (const Late& late : late_) {
      if (late.supplier != supplier || late.promised < from || to < late.promised) continue;
      Event event = Of(EventType::kDelivered, "corrected", StartOf(late.promised));
      corrections.push_back(Keyed(late.order, std::move(event)));
    }
    return corrections;
  }

 private:
  struct Late {
    OrderKey order;
    std::string supplier;
    Day promised;
  };

  static Event Of(EventType type, std::string id, Instant time) {
    Event event;
    event.source = "test";
    event.event_id = std::move(id);
    event.type = type;
    event.time = time;
    return event;
  }
  static OrderEvent Keyed(const OrderKey& order, Event event) {
    event.content_hash = ContentHash(order, event);
    return {order, std::move(event)};
  }
  void MakeDay(Day day) {
    std::mt19937_64 random(seed_ * 1'000'003 + static_cast<uint64_t>(day.number));
    const auto below = [&](int n) { return static_cast<int>(random() % static_cast<uint64_t>(n)); };
    for (const char* supplier : {"amber", "copper", "lotus"}) {
      const int orders = 1 + below(5);
      for (int i = 0; i < orders; ++i) {
        const OrderKey key{"harbour", absl::StrCat(supplier, day.number, "-", i)};
        const char* origin = std::string_view(supplier) == "amber" ? "PL" : "VN";
        Event paid = Of(EventType::kPaid, "paid", StartOf(day) + below(80'000'000));
        paid.supplier = supplier;
        paid.origin = origin;
        paid.destination = below(3) == 0 ? "SE" : "DE";
        const Day promised = day + 10;
        paid.promise = EndOf(promised) - 1;
        by_day_[day].push_back(Keyed(key, std::move(paid)));
        const bool worse = supplier == worse_ && from_ <= promised && promised < to_;
        const bool late = below(1000) < (worse ? 400 : 83);
        const Day delivered = late ? promised + 1 + below(6) : promised - below(4);
        by_day_[delivered].push_back(Keyed(
            key, Of(EventType::kDelivered, "delivered", StartOf(delivered) + below(80'000'000))));
        if (late) late_.push_back({key, supplier, promised});
      }
    }
  }

  uint64_t seed_;
  Day start_;
  int next_ = 0;
  std::string worse_;
  Day from_, to_;
  std::map<Day, std::vector<OrderEvent>> by_day_;
  std::vector<Late> late_;
};

}  // namespace plumblane::test
