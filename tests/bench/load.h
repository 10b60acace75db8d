// What senders send in the benchmarks of intake: orders of five events over some two weeks, each
// event on its day, so that the events of many orders are interleaved; one event in ten comes late,
// by up to a week, and one in ten is sent twice.
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

// The events of so many orders, by stream; each order stays on its stream. A round is of a month,
// the next of the month after, nine months in turn.
inline std::vector<std::vector<EventBatch>> MakeLoad(int round, int orders = kOrdersARound) {
  constexpr int64_t kDay = 86'400, kMonth = 30 * kDay;
  std::mt19937_64 random(static_cast<uint64_t>(round) + 1);
  struct Sent {
    int64_t at;
    Event event;
  };
  std::vector<std::vector<Sent>> streams(kStreams);
  for (int i = 0; i < orders; ++i) {
    const int64_t number = int64_t{round} * orders + i;
    const auto paid = kStart + round % 9 * kMonth + static_cast<int64_t>(random() % kMonth);
    auto& stream = streams[static_cast<size_t>(number % kStreams)];
    const auto add = [&](v1::EventType type, int64_t time) {
      const auto late = random() % 10 == 0 ? static_cast<int64_t>(random() % (7 * kDay)) : 0;
      Event& event = stream.emplace_back(Sent{time + late, {}}).event;
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
    add(v1::EVENT_TYPE_SHIPPED, paid + kDay)->set_tracking("T" + std::to_string(number));
    const auto delivered = paid + kDay * static_cast<int64_t>(4 + random() % 8);
    add(v1::EVENT_TYPE_DELIVERED, delivered);
    add(v1::EVENT_TYPE_DISPUTED, delivered + kDay);
    add(v1::EVENT_TYPE_ANSWERED, delivered + 2 * kDay);
  }
  std::vector<std::vector<EventBatch>> batches(kStreams);
  for (size_t s = 0; s < streams.size(); ++s) {
    auto& stream = streams[s];
    const size_t unique = stream.size();
    for (size_t i = 0; i < unique / 10; ++i) {
      Sent again = stream[random() % unique];
      again.at += static_cast<int64_t>(random() % (7 * kDay));
      stream.push_back(std::move(again));
    }
    std::stable_sort(stream.begin(), stream.end(),
                     [](const Sent& a, const Sent& b) { return a.at < b.at; });
    for (size_t at = 0; at < stream.size(); at += kBatch) {
      EventBatch& batch = batches[s].emplace_back();
      batch.set_batch_number(static_cast<int64_t>(at));
      for (size_t i = at; i < std::min(stream.size(), at + kBatch); ++i) {
        *batch.add_events() = std::move(stream[i].event);
      }
    }
  }
  return batches;
}

}  // namespace plumblane::bench
