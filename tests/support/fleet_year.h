// A fleet of lanes for a year in control, then some of them worse, through an engine with the
// event-time clock: what alerts come, and when.
#pragma once

#include <absl/strings/str_cat.h>

#include <algorithm>
#include <cstdlib>
#include <future>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "alerting/cusum.h"
#include "alerting/draws.h"
#include "engine/alert_teller.h"
#include "engine/engine.h"
#include "eventlog/event_log.h"
#include "storage/memory_store.h"
#include "support/fixed_clock.h"

namespace plumblane::test {

// Late rates from Beta(4, 36); one lane in ten is slow, 20 to 45 orders a year, the others have 200
// to 1,000. Every third lane has a supplier of its own, the others share one by six. An order is
// promised in ten days and comes from five days before to six days after that. By promised day: 90
// days until all is known that can be, a year in control, then the odds of being late trebled on
// every fifth lane.
class FleetYear {
 public:
  static constexpr Day kStart{20'000};
  static constexpr int kPromiseDays = 10;
  static constexpr int kRunIn = 90, kYear = 364, kWorse = 182;
  static constexpr Day kFirst = kStart + kRunIn;  // of the year
  static constexpr Day kChange = kFirst + kYear;  // of what is worse
  static constexpr Day kEnd = kChange + kWorse;

  struct Lane {
    Pair pair;
    double yearly = 0, rate = 0;
    bool worsens = false;
    std::map<Day, int64_t> due;  // orders
  };

  FleetYear(uint64_t seed, int lanes) : seed_(seed) {
    for (int i = 0; i < lanes; ++i) {
      Draws draws(seed, static_cast<uint64_t>(i));
      Lane& lane = lanes_.emplace_back();
      const bool own = i % 3 == 0;
      lane.pair.supplier = own ? absl::StrCat("own", i) : absl::StrCat("shared", i / 9);
      lane.pair.lane = {absl::StrCat("O", i), absl::StrCat("D", i % 20), ""};
      lane.rate = draws.Beta(4, 36);
      lane.yearly = i % 10 == 9 ? 20 + 25 * draws.Unit() : 200 + 800 * draws.Unit();
      lane.worsens = i % 5 == 0;
    }
  }

  // Submits it a quarter at a time, with a step of the teller after each: what is told in the end
  // does not depend on that.
  void Run(Engine& engine) {
    AlertTeller teller(engine);
    constexpr int kChunk = 91;
    for (Day day = kStart; day < kEnd; day = day + kChunk) {
      Submission submission;
      for (Day one = day; one < day + kChunk; one = one + 1) MakeDay(one);
      for (Day one = day; one < day + kChunk; one = one + 1) {
        std::vector<OrderEvent>& events = by_day_[one];
        std::move(events.begin(), events.end(), std::back_inserter(submission.events));
        by_day_.erase(one);
      }
      std::promise<absl::Status> done;
      const bool taken = engine.Submit(
          std::move(submission), [&](const Receipt& receipt) { done.set_value(receipt.status); });
      if (!taken || !done.get_future().get().ok() || !teller.Step().ok()) std::abort();
    }
    told_ = engine.Look().catalog().alerts;
  }

  const std::vector<Lane>& lanes() const { return lanes_; }
  const AlertsTold& told() const { return *told_; }

  // Those of the year in control.
  std::vector<const ToldAlert*> FalseAlarms() const {
    std::vector<const ToldAlert*> alarms;
    for (const auto& [id, alert] : told_->by_id) {
      if (!alert.unfounded && kFirst <= alert.facts.opened && alert.facts.opened < kChange) {
        alarms.push_back(&alert);
      }
    }
    return alarms;
  }

  struct Heard {
    const Lane* lane = nullptr;
    const ToldAlert* alert = nullptr;  // null: not within kWorse days
    int64_t orders = 0;                // due since the change, until it was raised
    int days() const { return alert->facts.opened - kChange + 1; }
  };
  // What became of the lanes that got worse, but those of which an alert was open anyway.
  std::vector<Heard> Worsened() const {
    std::vector<Heard> all;
    for (const Lane& lane : lanes_) {
      if (!lane.worsens) continue;
      const WatchKey key{"", lane.pair.lane.origin, lane.pair.lane.destination,
                         AlertMeasure::kOnTime};
      Heard heard{&lane};
      bool was_open = false;
      if (const auto ids = told_->by_key.find(key); ids != told_->by_key.end()) {
        for (const std::string& id : ids->second) {
          const ToldAlert& alert = told_->by_id.at(id);
          if (alert.unfounded) continue;
          const AlertFacts& facts = alert.facts;
          was_open =
              was_open || (facts.opened < kChange && !(facts.closed && *facts.closed < kChange));
          const bool is_first = heard.alert == nullptr || facts.opened < heard.alert->facts.opened;
          if (facts.opened >= kChange && is_first) heard.alert = &alert;
        }
      }
      if (was_open) continue;
      const Day last = heard.alert != nullptr ? heard.alert->facts.opened : kEnd;
      for (auto day = lane.due.lower_bound(kChange); day != lane.due.end() && day->first <= last;
           ++day) {
        heard.orders += day->second;
      }
      all.push_back(heard);
    }
    return all;
  }

 private:
  // The orders paid on the day.
  void MakeDay(Day day) {
    const Day due = day + kPromiseDays;
    for (size_t i = 0; i < lanes_.size(); ++i) {
      Lane& lane = lanes_[i];
      Draws draws(seed_ + 1'000'003 * static_cast<uint64_t>(day.number), i);
      const int64_t orders = draws.Count(lane.yearly / 364);
      if (orders > 0) lane.due[due] = orders;
      const bool is_worse = lane.worsens && due >= kChange;
      const double rate = is_worse ? WorsenedRate(lane.rate, 3) : lane.rate;
      for (int64_t n = 0; n < orders; ++n) {
        const OrderKey key{"harbour", absl::StrCat(i, "-", day.number, "-", n)};
        Event paid = Of(EventType::kPaid, day);
        paid.supplier = lane.pair.supplier;
        paid.origin = lane.pair.lane.origin;
        paid.destination = lane.pair.lane.destination;
        paid.promise = EndOf(due) - 1;
        Put(day, key, std::move(paid));
        const int spread = static_cast<int>(6 * draws.Unit());
        const Day arrival = draws.Hit(rate) ? due + 1 + spread : due - spread;
        Put(arrival, key, Of(EventType::kDelivered, arrival));
      }
    }
  }

  static Event Of(EventType type, Day day) {
    Event event;
    event.source = "test";
    event.event_id = type == EventType::kPaid ? "paid" : "delivered";
    event.type = type;
    event.time = StartOf(day) + kMillisPerDay / 2;
    return event;
  }
  void Put(Day day, const OrderKey& key, Event event) {
    event.content_hash = ContentHash(key, event);
    by_day_[day].push_back({key, std::move(event)});
  }

  uint64_t seed_;
  std::vector<Lane> lanes_;
  std::map<Day, std::vector<OrderEvent>> by_day_;
  std::shared_ptr<const AlertsTold> told_;
};

// An engine in memory whose now is the latest event.
class EventTimeEngine {
 public:
  EventTimeEngine() : log_(store_), clock_(StartOf(FleetYear::kEnd + 1000)) {
    EngineOptions options;
    options.clock_mode = ClockMode::kEvents;
    options.queue_events = options.entry_events = size_t{1} << 24;
    engine_ = std::make_unique<Engine>(store_, log_, clock_, options);
    if (!engine_->Start().ok()) std::abort();
  }
  Engine& operator*() { return *engine_; }

 private:
  MemoryStore store_;
  StoreLog log_;
  FixedClock clock_;
  std::unique_ptr<Engine> engine_;
};

template <typename T>
T MedianOf(std::vector<T> values) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

}  // namespace plumblane::test
