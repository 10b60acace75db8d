// The work whose instructions are counted by instructions.py, once:
//
//   fold     2,000 orders of five events, each folded
//   score    a pair of 400 orders, one a day, scored with the priors of its own cells
//   again    the same once more, with what the first score has kept
//   intake   24 batches of up to 500 events: read, checked, encoded and applied, about 4 batches an
//            entry; without store and network
//
// Usage: guarded_work fold|score|again|intake
#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <functional>
#include <map>
#include <memory>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "base/zones.h"
#include "bench/load.h"
#include "engine/applier.h"
#include "scoring/score.h"
#include "service/fill_event.h"
#include "service/read_event.h"
#include "storage/memory_store.h"

// What is counted begins and ends here.
extern "C" [[gnu::noipa]] void CountedWork(const std::function<void()>& work) { work(); }

namespace {

using namespace plumblane;  // NOLINT: a program of one file

constexpr int kOrders = 2'000;
constexpr size_t kEntryEvents = 2'000;
constexpr Instant kNow{1'800'000'000'000};

void Require(bool holds) {
  if (holds) return;
  std::fprintf(stderr, "the work could not be done\n");
  std::exit(1);
}

void ReadInto(const v1::EventBatch& batch, const Zones& zones, std::vector<OrderEvent>& events) {
  for (const v1::Event& sent : batch.events()) {
    OrderEvent& taken = events.emplace_back();
    Require(!ReadEvent(sent, zones, kNow, taken));
    FillFromAgreements(sent, Agreements(), zones, taken.event);
  }
}

void Fold(const Zones& zones) {
  std::vector<OrderEvent> events;
  for (const auto& stream : bench::MakeLoad(0, kOrders)) {
    for (const v1::EventBatch& batch : stream) ReadInto(batch, zones, events);
  }
  std::map<OrderKey, std::map<std::string, Event>> orders;
  for (OrderEvent& one : events) {
    orders[one.order].try_emplace(one.event.event_id, std::move(one.event));
  }
  std::vector<std::pair<OrderKey, std::vector<Event>>> sorted;
  for (auto& [order, by_id] : orders) {
    auto& own = sorted.emplace_back(order, std::vector<Event>()).second;
    for (auto& [id, event] : by_id) own.push_back(std::move(event));
    std::sort(own.begin(), own.end(), Earlier);
  }
  size_t entries = 0;
  CountedWork([&] {
    for (const auto& [order, own] : sorted) {
      entries += plumblane::Fold(order, own, FoldRules{}, ExcuseBook()).parts[0].entries.size();
    }
  });
  Require(entries > 0);
}

void Score(bool again) {
  constexpr int kDays = 400;
  constexpr Day kFirst{20'000};
  Cells cells;
  for (int day = 0; day < kDays; ++day) {
    std::vector<Event> events(3);
    events[0].supplier = "supplier-1";
    events[0].origin = "VN";
    events[0].destination = "DE";
    events[0].promise = StartOf(kFirst + day + 10);
    events[1].type = EventType::kShipped;
    events[2].type = EventType::kDelivered;
    for (int i = 0; i < 3; ++i) {
      auto& event = events[static_cast<size_t>(i)];
      event.event_id = std::to_string(i);
      event.time = StartOf(kFirst + day + i * (1 + day % 7));
    }
    const OrderState state =
        plumblane::Fold({"shop", std::to_string(day)}, events, FoldRules{}, ExcuseBook());
    for (const Entry& entry : state.parts[0].entries) cells.Add(state.parts[0].pair(), entry, 1);
  }
  MeasureSet own, sum;
  for (const auto& [key, cell] : cells.map()) {
    (key.pair == Pair{} ? sum : own)[key.measure].push_back({key.day, cell});
  }
  const Instant now = StartOf(kFirst + kDays);
  const Moment moment{now, now, DayOf(now)};
  const ScoreRules rules{.half_life_days = 45};
  ScoreEstimate score;
  const auto answer = [&] {
    const Priors priors = PooledPriors(sum[Measure::kOnTime], sum[Measure::kDefect], moment, rules,
                                       Scope::kCounted, sum.kept.get());
    score = ScoreOf(own, Scope::kCounted, priors, moment, rules);
  };
  if (again) {
    own.kept = std::make_shared<KeptSpans>();
    sum.kept = std::make_shared<KeptSpans>();
    answer();
  }
  CountedWork(answer);
  Require(score.late_prior.has_value());
}

void Intake(const Zones& zones) {
  std::vector<std::string> messages;
  const auto load = bench::MakeLoad(0, kOrders);
  for (size_t i = 0; i < load[0].size(); ++i) {
    for (const auto& stream : load) {
      if (i < stream.size()) messages.push_back(stream[i].SerializeAsString());
    }
  }
  MemoryStore store;
  Catalog catalog;
  WritersMemory memory(8 << 20);
  std::vector<OrderEvent> events;
  for (size_t i = 0; i < messages.size(); ++i) {
    CountedWork([&] {
      v1::EventBatch batch;
      Require(batch.ParseFromString(messages[i]));
      ReadInto(batch, zones, events);
    });
    if (events.size() < kEntryEvents && i + 1 < messages.size()) continue;
    const auto snapshot = store.TakeSnapshot();
    Applied applied;
    CountedWork([&] {
      Submission content;
      content.events = std::exchange(events, {});
      const std::string bytes = EncodeLogEntry(kNow, content);
      auto done = Apply(*snapshot, catalog, FoldRules{}, catalog.log_sequence + 1,
                        {kNow, std::move(content)}, memory);
      Require(done.ok() && !bytes.empty());
      applied = *std::move(done);
    });
    Require(store.Write(applied.batch, /*sync=*/false).ok());
    catalog = applied.catalog;
  }
  Require(catalog.event_count == 5 * kOrders);
}

}  // namespace

int main(int argc, char** argv) {
  const std::string_view work = argc == 2 ? argv[1] : "";
  if (work == "score" || work == "again") {
    Score(work == "again");
    return 0;
  }
  const auto zones = Zones::Load();
  if (!zones.ok() || (work != "fold" && work != "intake")) return 2;
  if (work == "fold") {
    Fold(*zones);
  } else {
    Intake(*zones);
  }
  return 0;
}
