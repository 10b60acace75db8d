// Alerts through an engine: what is told in the end is what undisturbed watching of the final cells
// shows, in whatever order events came and however often the daemon was restarted.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <map>
#include <memory>

#include "engine/alert_reports.h"
#include "engine/applier.h"
#include "storage/memory_store.h"
#include "support/alert_daemon.h"
#include "support/alert_history.h"

namespace plumblane {
namespace {

using test::AlertHistory;
using test::Daemon;
using Kind = AlertNotice::Kind;
using ::testing::HasSubstr;
using ::testing::Not;

constexpr Day kStart{20'000};

// What holds in the end: the facts of alerts that were not taken back, by watch.
std::map<WatchKey, std::vector<AlertFacts>> Standing(const AlertsTold& told) {
  std::map<WatchKey, std::vector<AlertFacts>> standing;
  for (const auto& [id, alert] : told.by_id) {
    if (!alert.unfounded) standing[alert.key].push_back(alert.facts);
  }
  for (auto& [key, facts] : standing) {
    std::sort(facts.begin(), facts.end(),
              [](const AlertFacts& x, const AlertFacts& y) { return x.opened < y.opened; });
  }
  return standing;
}

std::map<WatchKey, std::vector<AlertFacts>> Undisturbed(const std::vector<OrderEvent>& events,
                                                        Day today) {
  MemoryStore store;
  Daemon daemon(store, today);
  daemon.Submit(events);
  daemon.Step(today);
  return Standing(*daemon.told());
}

TEST(Alerts, AWorseningIsToldOnceAndItsReturnToo) {
  AlertHistory history(1, kStart);
  history.Worsen("lotus", kStart + 150, kStart + 190);
  MemoryStore store;
  Daemon daemon(store, kStart);
  std::optional<Day> raised, returned;
  for (int day = 0; day < 320; ++day) {
    daemon.Submit(history.EventsOn(kStart + day));
    const int64_t before = daemon.told()->last_cursor;
    daemon.Step(kStart + day);
    daemon.Step(kStart + day);  // nothing is told twice
    if (daemon.told()->last_cursor == before) continue;
    for (const auto& [id, alert] : daemon.told()->by_id) {
      if (alert.key != WatchKey{"lotus", "", "", AlertMeasure::kOnTime}) continue;
      if (!raised) raised = kStart + day;
      if (!returned && !alert.is_open()) returned = kStart + day;
    }
  }
  ASSERT_TRUE(raised && returned);
  EXPECT_GT(*raised, kStart + 150);
  EXPECT_LT(*raised, kStart + 190);
  EXPECT_GT(*returned, kStart + 190);
  EXPECT_EQ(Standing(*daemon.told()), Undisturbed(history.AllEvents(320), kStart + 319));
}

TEST(Alerts, WhatStandsInTheEndDependsOnNeitherOrderNorRestarts) {
  int alerts = 0, revised = 0;
  for (uint64_t seed = 1; seed <= 6; ++seed) {
    AlertHistory history(seed, kStart);
    history.Worsen(seed % 2 == 0 ? "lotus" : "copper", kStart + 120, kStart + 200);
    const Day end = kStart + 239;
    std::vector<OrderEvent> events = history.AllEvents(240);
    const auto expected = Undisturbed(events, end);
    for (const auto& [key, facts] : expected) alerts += static_cast<int>(facts.size());

    std::mt19937_64 random(seed);
    MemoryStore store;
    auto daemon = std::make_unique<Daemon>(store, kStart);
    // Most events in time, one in ten weeks late.
    std::map<Day, std::vector<OrderEvent>> arriving;
    for (const OrderEvent& event : events) {
      const int late = random() % 10 == 0 ? static_cast<int>(random() % 40) : 0;
      arriving[std::min(end, DayOf(event.event.time) + late)].push_back(event);
    }
    for (auto& [day, some] : arriving) {
      std::shuffle(some.begin(), some.end(), random);
      daemon->Submit(some);
      if (random() % 3 == 0) daemon->Step(day);
      if (random() % 40 == 0) {
        daemon.reset();
        daemon = std::make_unique<Daemon>(store, day);
      }
    }
    daemon->Step(end);
    EXPECT_EQ(Standing(*daemon->told()), expected) << "seed " << seed;
    for (const auto& [id, alert] : daemon->told()->by_id) revised += !alert.revision.empty();
    daemon->Step(end);
    const int64_t cursor = daemon->told()->last_cursor;
    daemon.reset();
    daemon = std::make_unique<Daemon>(store, end);
    daemon->Step(end);
    EXPECT_EQ(daemon->told()->last_cursor, cursor) << "a restart alone tells nothing";
  }
  EXPECT_GT(alerts, 6);
  EXPECT_GT(revised, 0);
}

TEST(Alerts, ACorrectionRevisesWhatWasToldAndIsNeverSilent) {
  AlertHistory history(3, kStart);
  history.Worsen("lotus", kStart + 150, kStart + 400);
  MemoryStore store;
  Daemon daemon(store, kStart);
  Day today = kStart;
  const WatchKey lotus{"lotus", "", "", AlertMeasure::kOnTime};
  for (; !daemon.told()->by_key.contains(lotus); today = today + 1) {
    ASSERT_LT(today, kStart + 300);
    daemon.Submit(history.EventsOn(today));
    daemon.Step(today);
  }
  const std::string id = *daemon.told()->by_key.at(lotus).begin();
  const AlertFacts told = daemon.told()->by_id.at(id).facts;
  // The dates of delivery since the change were wrong: all were on time.
  daemon.Submit(history.DeliveredOnTimeAfterAll("lotus", told.changed, told.opened));
  daemon.Step(today);
  const ToldAlert& revised = daemon.told()->by_id.at(id);
  EXPECT_TRUE(revised.unfounded);
  EXPECT_THAT(revised.revision, HasSubstr("would not have been raised"));
  EXPECT_EQ(revised.facts, told) << "what a revision refers to is what was told";
}

TEST(Alerts, OrdersKnownOnlyLaterMoveTheOpeningAndItIsSaid) {
  AlertHistory history(3, kStart);
  history.Worsen("lotus", kStart + 150, kStart + 400);
  history.AllEvents(160);
  const auto withheld = history.LateOrders("lotus", kStart + 150, kStart + 157);
  ASSERT_GE(withheld.size(), 3u);
  MemoryStore store;
  Daemon daemon(store, kStart);
  std::vector<OrderEvent> later;
  Day today = kStart;
  const WatchKey lotus{"lotus", "", "", AlertMeasure::kOnTime};
  for (; !daemon.told()->by_key.contains(lotus); today = today + 1) {
    ASSERT_LT(today, kStart + 300);
    std::vector<OrderEvent> now;
    for (const OrderEvent& event : history.EventsOn(today)) {
      (withheld.contains(event.order) ? later : now).push_back(event);
    }
    daemon.Submit(now);
    daemon.Step(today);
  }
  today = today - 1;
  const std::string id = *daemon.told()->by_key.at(lotus).begin();
  const AlertFacts told = daemon.told()->by_id.at(id).facts;
  daemon.Submit(later);
  daemon.Step(today);
  const ToldAlert& revised = daemon.told()->by_id.at(id);
  EXPECT_LT(revised.facts.opened, told.opened);
  EXPECT_THAT(revised.revision, HasSubstr("raised for " + FormatDay(revised.facts.opened) +
                                          " instead of " + FormatDay(told.opened)));
  const auto expected = Undisturbed(history.AllEvents(today - kStart + 1), today);
  EXPECT_EQ(Standing(*daemon.told()), expected);
}

TEST(Alerts, AcknowledgedShelvedAndComingBack) {
  AlertHistory history(1, kStart);
  history.Worsen("lotus", kStart + 150, kStart + 400);
  MemoryStore store;
  auto daemon = std::make_unique<Daemon>(store, kStart + 180);
  daemon->Submit(history.AllEvents(180));
  daemon->Step(kStart + 180);
  ASSERT_FALSE(daemon->Open().empty());
  const std::string id = daemon->Open().front().first;
  daemon->Say(Kind::kAcknowledged, id, std::nullopt, "asked them");
  daemon->Say(Kind::kAcknowledged, id, std::nullopt, "asked them twice");
  EXPECT_EQ(daemon->told()->by_id.at(id).note, "asked them twice");
  daemon->Say(Kind::kShelved, id, kStart + 184);
  daemon->Step(kStart + 183);
  EXPECT_TRUE(daemon->told()->by_id.at(id).is_shelved(kStart + 183));
  daemon = nullptr;
  daemon = std::make_unique<Daemon>(store, kStart + 183);
  EXPECT_TRUE(daemon->told()->by_id.at(id).is_shelved(kStart + 183));
  const int64_t cursor = daemon->told()->last_cursor;
  daemon->Step(kStart + 184);
  EXPECT_FALSE(daemon->told()->by_id.at(id).shelved_until);
  EXPECT_FALSE(daemon->told()->by_id.at(id).acknowledged);
  EXPECT_GT(daemon->told()->last_cursor, cursor);
  // The clock jumps back: nothing is taken back, nothing told again.
  const AlertsTold before = *daemon->told();
  daemon->Step(kStart + 100);
  daemon = nullptr;
  daemon = std::make_unique<Daemon>(store, kStart + 100);
  daemon->Step(kStart + 100);
  EXPECT_EQ(*daemon->told(), before);
}

TEST(Alerts, WhatIsAcceptedIsTheNewNormal) {
  AlertHistory history(1, kStart);
  history.Worsen("lotus", kStart + 150, kStart + 500);
  MemoryStore store;
  Daemon daemon(store, kStart + 185);
  daemon.Submit(history.AllEvents(185));
  daemon.Step(kStart + 185);
  const WatchKey lotus{"lotus", "", "", AlertMeasure::kOnTime};
  ASSERT_TRUE(daemon.told()->by_key.contains(lotus));
  const std::string id = *daemon.told()->by_key.at(lotus).rbegin();
  ASSERT_TRUE(daemon.told()->by_id.at(id).is_open());
  const auto taken = daemon.engine().Look().alerts().LastTaken(lotus);
  daemon.Say(Kind::kAccepted, id, taken, "they ship from further away now");
  EXPECT_EQ(daemon.told()->by_id.at(id).facts.ending, Ending::kAccepted);
  double normal = 0;
  for (int day = 185; day < 260; ++day) {
    daemon.Submit(history.EventsOn(kStart + day));
    daemon.Step(kStart + day);
  }
  for (const auto& shown : daemon.engine().Look().alerts().Watches()) {
    if (shown.key == lotus && shown.plan) normal = shown.plan->normal;
  }
  EXPECT_GT(normal, .2);
  EXPECT_EQ(daemon.told()->by_id.at(id).facts.ending, Ending::kAccepted);
  EXPECT_EQ(daemon.told()->by_id.at(id).revision, "");
  for (const auto& [open, alert] : daemon.Open()) EXPECT_NE(alert.key, lotus);
}

TEST(Alerts, OtherSettingsReviseWhatWasToldAndAreNotCalledACorrection) {
  AlertHistory history(1, kStart);
  history.Worsen("lotus", kStart + 150, kStart + 400);
  MemoryStore store;
  auto daemon = std::make_unique<Daemon>(store, kStart + 180);
  daemon->Submit(history.AllEvents(180));
  daemon->Step(kStart + 180);
  ASSERT_FALSE(daemon->Open().empty());
  daemon = nullptr;
  EngineOptions other;
  other.rules.alerts = {.odds_ratio = 2, .false_alarms_a_year = 10};
  daemon = std::make_unique<Daemon>(store, kStart + 180, other);
  daemon->Step(kStart + 180);
  int revised = 0;
  for (const auto& [id, alert] : daemon->told()->by_id) {
    if (alert.revision.empty()) continue;
    ++revised;
    EXPECT_THAT(alert.revision, HasSubstr("counted"));
    EXPECT_THAT(alert.revision, Not(HasSubstr("correct")));
  }
  EXPECT_GT(revised, 0);
}

TEST(Alerts, ToldAgainAnAlertIsNewToItsUsers) {
  AlertsTold told;
  AlertNotice raised;
  raised.alert_id = "a";
  const auto take = [&](Kind kind) {
    AlertNotice notice = raised;
    notice.kind = kind;
    notice.day = kStart;
    notice.unfounded = kind == Kind::kRevised;
    return told.Take(notice);
  };
  ASSERT_TRUE(take(Kind::kRaised) && take(Kind::kAcknowledged) && take(Kind::kShelved));
  ASSERT_TRUE(take(Kind::kRevised));
  EXPECT_FALSE(told.by_id.at("a").is_open());
  ASSERT_TRUE(take(Kind::kRaised));
  EXPECT_TRUE(told.by_id.at("a").is_open());
  EXPECT_FALSE(told.by_id.at("a").acknowledged);
  EXPECT_FALSE(told.by_id.at("a").shelved_until);
}

TEST(Alerts, ANoticeOfAnUnknownOrClosedAlertIsNotKept) {
  MemoryStore store;
  Daemon daemon(store, kStart);
  daemon.Say(Kind::kAcknowledged, "0123456789abcdef", std::nullopt);
  EXPECT_EQ(*daemon.told(), AlertsTold{});
}

}  // namespace
}  // namespace plumblane
