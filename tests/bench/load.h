// What senders send in the benchmarks of intake: orders of five events, interleaved, 10 % repeats.
#pragma once

#include <plumblane/v1/intake.pb.h>

#include <algorithm>
#include <cstdint>
#include <random>
#include <string>
#include <utility>
#include <vector>

namespace plumblane::bench {

using v1::Event;
using v1::EventBatch;

inline constexpr int kStreams = 8, kBatch = 500;
inline constexpr int kOrdersARound = 40'000, kSuppliers = 20;
inline constexpr int64_t kStart = 1'767'225'600;  // 2026-01-01

// The events of so many orders, by stream; each order stays on its stream, its events spread out.
inline std::vector<std::vector<EventBatch>> MakeLoad(int round, int orders = kOrdersARound) {
  std::mt19937_64 random(static_cast<uint64_t>(round) + 1);
  std::vector<std::vector<Event>> events(kStreams);
  for (int i = 0; i < orders; ++i) {
    const int number = round * orders + i;
    const auto paid = kStart + static_cast<int64_t>(random() % (270 * 86'400));
    auto& stream = events[static_cast<size_t>(number % kStreams)];
    const auto add = [&](v1::EventType type, int64_t time) {
      Event& event = stream.emplace_back();
      event.set_order_id("order-" + std::to_string(number));
      event.set_event_id(std::to_string(number) + "-" + std::to_string(type));
      event.set_source("load");
      event.set_type(type);
      event.mutable_event_time()->set_seconds(time);
      return &event;
    };
    Event* first = add(v1::EVENT_TYPE_PAID, paid);
    first->set_supplier("supplier-" + std::to_string(random() % kSuppliers));
    first->set_origin(random() % 2 ? "VN" : "TR");
    first->set_destination(random() % 2 ? "DE" : "SE");
    first->set_promise_days(10);
    first->mutable_cost()->set_minor_units(1375);
    first->mutable_cost()->set_currency_code("EUR");
    add(v1::EVENT_TYPE_SHIPPED, paid + 86'400)->set_tracking("T" + std::to_string(number));
    const auto delivered = paid + 86'400 * static_cast<int64_t>(4 + random() % 8);
    add(v1::EVENT_TYPE_DELIVERED, delivered);
    add(v1::EVENT_TYPE_DISPUTED, delivered + 86'400);
    add(v1::EVENT_TYPE_ANSWERED, delivered + 2 * 86'400);
  }
  std::vector<std::vector<EventBatch>> batches(kStreams);
  for (int s = 0; s < kStreams; ++s) {
    auto& stream = events[static_cast<size_t>(s)];
    const size_t unique = stream.size();
    for (size_t i = 0; i < unique / 10; ++i) stream.push_back(stream[random() % unique]);
    // Interleaved within a window of some hundred orders, as days of a shop are.
    for (size_t i = 0; i < stream.size(); ++i) {
      std::swap(stream[i], stream[std::min(stream.size() - 1, i + random() % 1000)]);
    }
    for (size_t at = 0; at < stream.size(); at += kBatch) {
      EventBatch& batch = batches[static_cast<size_t>(s)].emplace_back();
      batch.set_batch_number(static_cast<int64_t>(at));
      for (size_t i = at; i < std::min(stream.size(), at + kBatch); ++i) {
        *batch.add_events() = stream[i];
      }
    }
  }
  return batches;
}

}  // namespace plumblane::bench
