// A small language for tests: an order's events in one line each.
//
//   OrderBuilder order;
//   order.Paid("2026-03-01T10:00").Promised("2026-03-10").Shipped("2026-03-03");
//
// Times are "2026-03-01" (start of the UTC day), "2026-03-01T10:00" or with seconds. Ids count up;
// the source is "test" unless From() changes it.
#pragma once

#include <absl/strings/str_cat.h>

#include <algorithm>
#include <cstdlib>
#include <iostream>
#include <string>
#include <vector>

#include "base/time.h"
#include "orders/event.h"
#include "orders/fold.h"

namespace plumblane::test {

inline Instant At(std::string text) {
  if (text.size() == 10) text += "T00:00";
  if (text.size() == 16) text += ":00";
  const auto time = ParseInstant(text + "Z");
  if (!time.ok()) {
    std::cerr << "bad time in a test: " << text << "\n";
    std::abort();
  }
  return *time;
}

inline Day On(const std::string& text) { return DayOf(At(text)); }

class OrderBuilder {
 public:
  explicit OrderBuilder(OrderKey key = {"default", "1"}) : key_(std::move(key)) {}

  // The usual start: paid by supplier "S" on VN-DE.
  OrderBuilder& Paid(const std::string& time) {
    Event& event = Add(EventType::kPaid, time);
    event.supplier = "S";
    event.origin = "VN";
    event.destination = "DE";
    return Rehash();
  }
  // On the last event: a promise, to the last millisecond of a bare date.
  OrderBuilder& Promised(const std::string& time) {
    last().promise = time.size() == 10 ? EndOf(On(time)) - 1 : At(time);
    return Rehash();
  }
  OrderBuilder& Shipped(const std::string& time) { return Plain(EventType::kShipped, time); }
  OrderBuilder& Delivered(const std::string& time) { return Plain(EventType::kDelivered, time); }
  OrderBuilder& Answered(const std::string& time) { return Plain(EventType::kAnswered, time); }
  OrderBuilder& Disputed(const std::string& time, Reason reason = Reason::kNone) {
    return Because(EventType::kDisputed, time, reason);
  }
  OrderBuilder& Refunded(const std::string& time, Reason reason = Reason::kNone,
                         bool by_shop = false) {
    Because(EventType::kRefunded, time, reason);
    last().refund_by_shop = by_shop;
    return Rehash();
  }
  OrderBuilder& Cancelled(const std::string& time, Reason reason = Reason::kNone) {
    return Because(EventType::kCancelled, time, reason);
  }
  OrderBuilder& Retracted(const std::string& time, const std::string& event_id) {
    Plain(EventType::kRetracted, time);
    last().retracts = event_id;
    return Rehash();
  }
  // Changes the last event freely.
  template <typename Change>
  OrderBuilder& With(const Change& change) {
    change(last());
    return Rehash();
  }
  OrderBuilder& From(std::string source) {
    source_ = std::move(source);
    return *this;
  }
  OrderBuilder& Part(int part) {
    part_ = part;
    return *this;
  }

  const OrderKey& key() const { return key_; }
  const std::vector<Event>& events() const { return events_; }  // as added
  std::string last_id() const { return events_.back().event_id; }

  std::vector<Event> Sorted() const {
    std::vector<Event> sorted = events_;
    std::sort(sorted.begin(), sorted.end(), Earlier);
    return sorted;
  }
  OrderState Fold(const FoldRules& rules = {}, const ExcuseBook& excuses = {}) const {
    return plumblane::Fold(key_, Sorted(), rules, excuses);
  }

 private:
  Event& last() { return events_.back(); }
  OrderBuilder& Rehash() {
    last().content_hash = ContentHash(key_, last());
    return *this;
  }
  Event& Add(EventType type, const std::string& time) {
    Event event;
    event.source = source_;
    event.event_id = absl::StrCat("e", ++count_);
    event.part = part_;
    event.type = type;
    event.time = At(time);
    events_.push_back(std::move(event));
    Rehash();
    return last();
  }
  OrderBuilder& Plain(EventType type, const std::string& time) {
    Add(type, time);
    return *this;
  }
  OrderBuilder& Because(EventType type, const std::string& time, Reason reason) {
    Add(type, time).reason = reason;
    return Rehash();
  }

  OrderKey key_;
  std::string source_ = "test";
  int part_ = 1;
  int count_ = 0;
  std::vector<Event> events_;
};

}  // namespace plumblane::test
