// Alerts of what was sent as history are quiet, in whatever pieces and order it came and however
// often the daemon was restarted; what comes later is not.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <memory>
#include <random>

#include "engine/records.h"
#include "storage/memory_store.h"
#include "support/alert_daemon.h"
#include "support/alert_history.h"

namespace plumblane {
namespace {

using test::AlertHistory;
using test::Daemon;
using Kind = AlertNotice::Kind;

constexpr Day kStart{20'000};

std::vector<AlertNotice> NoticesOf(Daemon& daemon, int64_t after = 0) {
  std::vector<AlertNotice> notices;
  const View view = daemon.engine().Look();
  EXPECT_TRUE(EachAlertNotice(view.snapshot(), after, [&](int64_t, const AlertNotice& notice) {
                notices.push_back(notice);
                return true;
              }).ok());
  return notices;
}

size_t Quiet(const std::vector<AlertNotice>& notices) {
  return static_cast<size_t>(std::count_if(notices.begin(), notices.end(),
                                           [](const AlertNotice& one) { return one.quiet; }));
}

Submission Past(std::vector<OrderEvent> events, Instant now) {
  Submission submission;
  submission.events = std::move(events);
  submission.history_through = now;
  return submission;
}

TEST(History, IsQuietInWhateverPiecesAndOrderItComes) {
  size_t revised = 0;
  for (uint64_t seed = 1; seed <= 6; ++seed) {
    AlertHistory history(seed, kStart);
    history.Worsen("lotus", kStart + 120, kStart + 180);
    const Day today = kStart + 240;
    std::vector<OrderEvent> events = history.AllEvents(240);
    std::mt19937_64 random(seed);
    // As files are: by time, by order, and as it comes.
    if (seed % 3 == 1) {
      std::sort(events.begin(), events.end(),
                [](const OrderEvent& x, const OrderEvent& y) { return x.order < y.order; });
    }
    if (seed % 3 == 2) std::shuffle(events.begin(), events.end(), random);
    MemoryStore store;
    auto daemon = std::make_unique<Daemon>(store, today);
    for (size_t at = 0; at < events.size(); at += 200) {
      const auto first = events.begin() + static_cast<std::ptrdiff_t>(at);
      const auto end =
          events.begin() + static_cast<std::ptrdiff_t>(std::min(at + 200, events.size()));
      daemon->Submit(Past({first, end}, daemon->engine().Look().now()));
      if (random() % 2 == 0) daemon->Step(today);
      if (random() % 8 == 0) {
        daemon.reset();
        daemon = std::make_unique<Daemon>(store, today);
      }
    }
    daemon->Step(today);
    const std::vector<AlertNotice> notices = NoticesOf(*daemon);
    EXPECT_GT(notices.size(), 0u);
    EXPECT_EQ(Quiet(notices), notices.size()) << "seed " << seed;
    for (const AlertNotice& notice : notices) revised += notice.kind == Kind::kRevised;
    for (const auto& [id, alert] : daemon->told()->by_id) EXPECT_TRUE(alert.quiet);
  }
  EXPECT_GT(revised, 0u) << "no file looked worse while it was read than it was";
}

TEST(History, WithoutTheWordNothingIsQuiet) {
  AlertHistory history(1, kStart);
  history.Worsen("lotus", kStart + 120, kStart + 180);
  MemoryStore store;
  Daemon daemon(store, kStart + 240);
  daemon.Submit(history.AllEvents(240));
  daemon.Step(kStart + 240);
  EXPECT_GT(NoticesOf(daemon).size(), 0u);
  EXPECT_EQ(Quiet(NoticesOf(daemon)), 0u);
}

TEST(History, WhatComesAfterItIsTold) {
  AlertHistory history(1, kStart);
  history.Worsen("lotus", kStart + 255, kStart + 400);
  MemoryStore store;
  auto daemon = std::make_unique<Daemon>(store, kStart + 240);
  daemon->Submit(Past(history.AllEvents(241), daemon->engine().Look().now()));
  daemon->Step(kStart + 240);
  const int64_t before = daemon->told()->last_cursor;
  daemon.reset();
  daemon = std::make_unique<Daemon>(store, kStart + 241);
  for (int day = 241; day < 300; ++day) {
    daemon->Submit(history.EventsOn(kStart + day));
    daemon->Step(kStart + day);
  }
  const WatchKey lotus{"lotus", "", "", AlertMeasure::kOnTime};
  const std::vector<AlertNotice> later = NoticesOf(*daemon, before);
  EXPECT_TRUE(std::any_of(later.begin(), later.end(), [&](const AlertNotice& one) {
    return one.key == lotus && one.kind == Kind::kRaised && !one.quiet;
  }));
}

TEST(History, TheReturnOfAnAlertThatOutlivedItIsTold) {
  AlertHistory history(1, kStart);
  history.Worsen("lotus", kStart + 215, kStart + 260);
  MemoryStore store;
  Daemon daemon(store, kStart + 240);
  daemon.Submit(Past(history.AllEvents(241), daemon.engine().Look().now()));
  daemon.Step(kStart + 240);
  const int64_t before = daemon.told()->last_cursor;
  ASSERT_EQ(Quiet(NoticesOf(daemon)), static_cast<size_t>(before));
  std::string open;
  for (const auto& [id, alert] : daemon.Open()) {
    if (alert.key == WatchKey{"lotus", "", "", AlertMeasure::kOnTime}) open = id;
  }
  ASSERT_NE(open, "");
  for (int day = 241; day < 320; ++day) {
    daemon.Submit(history.EventsOn(kStart + day));
    daemon.Step(kStart + day);
  }
  bool returned = false;
  for (const AlertNotice& notice : NoticesOf(daemon, before)) {
    if (notice.alert_id != open || notice.kind != Kind::kReturned) continue;
    returned = true;
    EXPECT_FALSE(notice.quiet);
  }
  EXPECT_TRUE(returned);
}

// One row a sentence of IsQuiet's header. Alert "q" is quiet, "loud" is not, "new" is not known.
TEST(IsQuiet, IsWhatItsHeaderSays) {
  AlertsTold told;
  for (const char* id : {"q", "loud"}) {
    AlertNotice raised;
    raised.alert_id = id;
    raised.quiet = std::string(id) == "q";
    ASSERT_TRUE(told.Take(raised));
  }
  const Day taken = kStart;
  const struct {
    const char* why;
    const char* id;
    Kind kind;
    int opened, through;  // from the day history was taken
    bool quiet;
  } rows[] = {{"opened and known before", "new", Kind::kRaised, -9, -2, true},
              {"known on the day itself", "new", Kind::kRaised, -1, 0, true},
              {"opened on the day itself", "new", Kind::kRaised, 0, 0, false},
              {"known by later days", "new", Kind::kRaised, -9, 1, false},
              {"was told aloud before", "loud", Kind::kRaised, -9, -2, false},
              {"a correction of the past", "q", Kind::kRevised, -9, -2, true},
              {"a correction by later days", "q", Kind::kRevised, -9, 1, false},
              {"a correction of what was told", "loud", Kind::kRevised, -9, -2, false},
              {"returned in the past", "q", Kind::kReturned, -9, -2, true},
              {"returned since", "q", Kind::kReturned, -9, 1, false},
              {"a user's word on a quiet one", "q", Kind::kAcknowledged, 0, 0, true},
              {"likewise", "q", Kind::kShelved, 0, 0, true},
              {"likewise", "q", Kind::kAccepted, 0, 0, true},
              {"a user's word on another", "loud", Kind::kAcknowledged, 0, 0, false},
              {"its shelf has ended", "q", Kind::kActiveAgain, -9, -2, false}};
  for (const auto& row : rows) {
    AlertNotice notice;
    notice.alert_id = row.id;
    notice.kind = row.kind;
    notice.facts.opened = taken + row.opened;
    notice.told_through = taken + row.through;
    EXPECT_EQ(IsQuiet(notice, told, StartOf(taken) + 1000), row.quiet) << row.why;
    const bool is_word = row.quiet && row.kind >= Kind::kAcknowledged;
    EXPECT_EQ(IsQuiet(notice, told, std::nullopt), is_word) << row.why << ", without history";
  }
}

TEST(LogEntry, KeepsDeliveriesAndHistory) {
  Submission content;
  content.deliveries = {{"webhook", 17}, {"mail", 0}};
  EXPECT_FALSE(content.empty());
  content.history_through = Instant{1'790'000'000'123};
  const auto entry = DecodeLogEntry(EncodeLogEntry({}, content));
  ASSERT_TRUE(entry.ok());
  EXPECT_EQ(entry->content.deliveries, content.deliveries);
  EXPECT_EQ(entry->content.history_through, content.history_through);
}

TEST(Delivered, NeverFallsAndOutlivesTheDaemon) {
  MemoryStore store;
  auto daemon = std::make_unique<Daemon>(store, kStart);
  for (const int64_t cursor : {0, 5, 3}) {
    Submission submission;
    submission.deliveries.push_back({"webhook", cursor});
    daemon->Submit(std::move(submission));
  }
  daemon.reset();
  daemon = std::make_unique<Daemon>(store, kStart);
  EXPECT_THAT(daemon->engine().Look().catalog().delivered,
              testing::ElementsAre(testing::Pair("webhook", 5)));
}

}  // namespace
}  // namespace plumblane
