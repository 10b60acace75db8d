// Events as a client would send them, and an engine to send them to.
#pragma once

#include <gtest/gtest.h>
#include <plumblane/v1/event.pb.h>

#include <future>
#include <string>
#include <utility>

#include "base/zones.h"
#include "engine/engine.h"
#include "service/read_event.h"
#include "storage/memory_store.h"
#include "support/fixed_clock.h"
#include "support/order_builder.h"

namespace plumblane::test {

inline void Stamp(const std::string& time, google::protobuf::Timestamp* out) {
  const int64_t millis = At(time).millis;
  out->set_seconds(millis / kMillisPerSecond);
  out->set_nanos(static_cast<int32_t>(millis % kMillisPerSecond) * 1'000'000);
}

// The least that every event must have.
inline v1::Event Sent(v1::EventType type, const std::string& event_id = "e1",
                      const std::string& order_id = "1042") {
  v1::Event event;
  event.set_event_id(event_id);
  event.set_order_id(order_id);
  event.set_type(type);
  Stamp("2026-03-05T14:00", event.mutable_event_time());
  return event;
}

inline v1::Event SentPaid(const std::string& event_id = "e1",
                          const std::string& order_id = "1042") {
  v1::Event event = Sent(v1::EVENT_TYPE_PAID, event_id, order_id);
  event.set_supplier("lotus");
  event.set_origin("VN");
  event.set_destination("DE");
  return event;
}

inline const Zones& SystemZones() {
  static const Zones zones = Zones::Load().value();
  return zones;
}

// What is taken of an event; one that is rejected fails the test.
inline OrderEvent MustRead(const v1::Event& sent, Instant received,
                           const Zones& zones = SystemZones()) {
  OrderEvent read;
  if (const auto rejection = ReadEvent(sent, zones, received, read)) {
    ADD_FAILURE() << rejection->code << " " << rejection->field << ": " << rejection->message;
  }
  return read;
}

// An engine on a store of its own or a given one, running from the start.
class RunningEngine {
 public:
  explicit RunningEngine(const EngineOptions& options = {}) : RunningEngine(nullptr, options) {}
  explicit RunningEngine(Store* store, const EngineOptions& options = {})
      : log_(store ? *store : own_store_),
        engine_(store ? *store : own_store_, log_, clock_, options) {
    const absl::Status started = engine_.Start();
    EXPECT_TRUE(started.ok()) << started;
  }

  // Waits for the receipt.
  Receipt Submit(Submission submission) {
    std::promise<Receipt> receipt;
    EXPECT_TRUE(engine_.Submit(std::move(submission),
                               [&](const Receipt& answer) { receipt.set_value(answer); }));
    return receipt.get_future().get();
  }
  Receipt Submit(const OrderBuilder& order) {
    Submission submission;
    for (const Event& event : order.events()) submission.events.push_back({order.key(), event});
    return Submit(std::move(submission));
  }
  void Forgive(const Excuse& excuse) {
    EXPECT_TRUE(Submit(Submission{{}, {}, {excuse}}).status.ok());
  }

  Engine& operator*() { return engine_; }
  Engine* operator->() { return &engine_; }
  FixedClock& clock() { return clock_; }

 private:
  MemoryStore own_store_;
  FixedClock clock_{At("2026-06-01T12:00")};
  StoreLog log_;
  Engine engine_;
};

}  // namespace plumblane::test
