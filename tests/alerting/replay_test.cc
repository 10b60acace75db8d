// That a watch is a function of its days: stepping is replaying, corrections are found, and the
// whole agrees with a simple model and keeps its budget on drawn subjects.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <vector>

#include "alerting/revision.h"
#include "alerting/watch.h"
#include "alerting/watched.h"

namespace plumblane {
namespace {

ListSubject Eventful(uint64_t seed) {
  Draws draws(51, seed);
  ListSubject subject;
  const double a_day = .3 + 8 * draws.Unit();
  subject.basis->correlation = seed % 3 == 0 ? .1 : 0;
  subject.basis->prior = {.05 + .2 * draws.Unit(), 10 + 40 * draws.Unit()};
  subject.unknown_until = kFirst + static_cast<int>(60 * draws.Unit());
  for (int i = 0; i < 5; ++i) {
    Append(subject, 20 + static_cast<int>(100 * draws.Unit()), a_day, .03 + .4 * draws.Unit(),
           draws);
  }
  return subject;
}

TEST(ReplayTest, IsTheSameAsSteppingDayByDay) {
  int alerts = 0, closed = 0, accepted_alerts = 0;
  for (uint64_t seed = 0; seed < 60; ++seed) {
    const ListSubject subject = Eventful(seed);
    Draws draws(52, seed);
    ChartDesigns designs;
    Watch watch{WatchRules{.false_alarms_a_year = 1}};
    std::vector<Day> accepted;
    for (Day day = kFirst; day <= LastOf(subject); day = day + 1) {
      if (draws.Hit(.1)) continue;  // a day is sometimes taken with the next
      watch.Advance(subject, accepted, day, designs);
      if (watch.last_day() && draws.Hit(watch.open() != nullptr ? .02 : .002)) {
        if (accepted.empty() || accepted.back() < *watch.last_day()) {
          accepted.push_back(*watch.last_day());
        }
      }
      if (draws.Hit(.2)) watch.Advance(subject, accepted, day, designs);
    }
    watch.Advance(subject, accepted, LastOf(subject), designs);
    ChartDesigns cold;
    EXPECT_EQ(watch, Replay(subject, {.false_alarms_a_year = 1}, accepted, LastOf(subject), cold))
        << seed;
    alerts += static_cast<int>(watch.alerts().size());
    for (const Alert& alert : watch.alerts()) {
      closed += alert.facts.ending == Ending::kReturned;
      accepted_alerts += alert.facts.ending == Ending::kAccepted;
    }
  }
  EXPECT_GT(alerts, 100);
  EXPECT_GT(closed, 40);
  EXPECT_GT(accepted_alerts, 20);
}

// The rules of watch.h told in the plainest way, in fractions instead of sixteenths, for a subject
// that is always known, whose days do not go together and of which nothing was accepted. The charts
// are those the watch used.
std::vector<AlertFacts> Naive(const ListSubject& subject, const ChartDesign& chart) {
  std::vector<AlertFacts> alerts;
  double s = 0, c = 0;
  Day changed = kFirst + 28;
  int64_t orders = 0, hits = 0;
  bool open = false;
  for (const DayCount& day : subject.days) {
    if (day.day < kFirst + 28) continue;
    const double off = static_cast<double>(chart.steps.per_order) / chart.steps.per_hit;
    const double score = static_cast<double>(day.hits) - off * static_cast<double>(day.orders);
    const auto reaches = [&](double sum, int level) {
      return sum > static_cast<double>(level) / chart.steps.per_hit - 1e-9;
    };
    if (open) {
      c = std::max(0.0, c - score);
      if (!reaches(c, chart.clear_level)) continue;
      alerts.back().closed = day.day;
      alerts.back().ending = Ending::kReturned;
      open = false;
      s = 0, orders = 0, hits = 0;
      changed = day.day + 1;
      continue;
    }
    s += score;
    orders += day.orders;
    hits += day.hits;
    if (s < 1e-9) {
      s = 0, orders = 0, hits = 0;
      changed = day.day + 1;
    } else if (reaches(s, chart.alarm_level)) {
      alerts.push_back({.changed = changed,
                        .opened = day.day,
                        .ending = Ending::kOpen,
                        .closed = {},
                        .orders = orders,
                        .hits = hits});
      c = 0;
      open = true;
    }
  }
  return alerts;
}

TEST(ReplayTest, AgreesWithASimpleModel) {
  size_t alerts = 0;
  for (uint64_t seed = 0; seed < 80; ++seed) {
    ListSubject subject = Eventful(seed);
    // So firm a prior that every design is the same, whatever the days say.
    subject.basis = DesignBasis{{.1, 1e8}, 0, 28};
    subject.unknown_until = kFirst;
    const Watch watch = Replayed(subject, {}, {.false_alarms_a_year = 1e6});
    if (!watch.plan()) continue;
    std::vector<AlertFacts> told;
    for (const Alert& alert : watch.alerts()) {
      told.push_back(alert.facts);
      EXPECT_EQ(alert.plan.chart, watch.plan()->chart);
    }
    EXPECT_TRUE(told == Naive(subject, watch.plan()->chart)) << seed;
    alerts += told.size();
  }
  EXPECT_GT(alerts, 200u);
}

struct Told {
  std::vector<AlertFacts> facts;
  Day through;
};

Told TellAll(const ListSubject& subject) {
  Told told{{}, LastOf(subject)};
  const Watch watch = Replayed(subject);
  for (const Alert& alert : watch.alerts()) told.facts.push_back(alert.facts);
  return told;
}

std::vector<Revision> CompareWith(const Told& told, const ListSubject& subject) {
  return Compare(told.facts, told.through, Replayed(subject).alerts());
}

// Ten orders a day, one late; half of them on days 150 to 159 and 250 to 254.
ListSubject TwoBadTimes() {
  ListSubject subject;
  for (int i = 0; i < 300; ++i) {
    const bool bad = (i >= 150 && i < 160) || (i >= 250 && i < 255);
    subject.days.push_back({kFirst + i, 10, bad ? 5 : 1});
  }
  return subject;
}

using Kind = Revision::Kind;

TEST(RevisionTest, NothingChangedIsTheSame) {
  ListSubject subject = TwoBadTimes();
  const Told told = TellAll(subject);
  ASSERT_EQ(told.facts.size(), 2u);
  for (const Revision& revision : CompareWith(told, subject)) EXPECT_EQ(revision.kind, Kind::kSame);
  // Nor is it a change that days go by and an alert closes, or the next one opens.
  for (int length = 151; length < 300; ++length) {
    ListSubject start = subject;
    start.days.resize(static_cast<size_t>(length));
    const Told early = TellAll(start);
    const auto revisions = CompareWith(early, subject);
    ASSERT_EQ(revisions.size(), 2u) << length;
    for (size_t i = 0; i < 2; ++i) {
      EXPECT_EQ(revisions[i].kind, i < early.facts.size() ? Kind::kSame : Kind::kNew) << length;
      EXPECT_FALSE(revisions[i].is_late);
    }
  }
}

TEST(RevisionTest, CorrectedDaysMoveAnAlertAndItIsSaidHow) {
  ListSubject subject = TwoBadTimes();
  const Told told = TellAll(subject);
  subject.days[149].hits = 5;  // it began a day earlier
  const auto revisions = CompareWith(told, subject);
  ASSERT_EQ(revisions.size(), 2u);
  EXPECT_EQ(revisions[0].kind, Kind::kRevised);
  EXPECT_TRUE(revisions[0].opening && revisions[0].change);
  EXPECT_EQ(revisions[1].kind, Kind::kSame);
  EXPECT_EQ(Replayed(subject).alerts()[0].facts.changed, kFirst + 149);
}

TEST(RevisionTest, OneOrderLessOnADayOfTheAlertIsACountRevised) {
  ListSubject subject = TwoBadTimes();
  const Told told = TellAll(subject);
  subject.days[150].orders = 9;
  const auto revisions = CompareWith(told, subject);
  EXPECT_EQ(revisions[0].kind, Kind::kRevised);
  EXPECT_TRUE(revisions[0].counts);
  EXPECT_FALSE(revisions[0].opening || revisions[0].change);
}

TEST(RevisionTest, AnAlertThatShouldNotHaveBeenIsNamedAndNotDropped) {
  ListSubject subject = TwoBadTimes();
  const Told told = TellAll(subject);
  for (int i = 250; i < 255; ++i) subject.days[static_cast<size_t>(i)].hits = 1;
  const auto revisions = CompareWith(told, subject);
  ASSERT_EQ(revisions.size(), 2u);
  EXPECT_EQ(revisions[0].kind, Kind::kSame);
  EXPECT_EQ(revisions[1].kind, Kind::kUnfounded);
  EXPECT_EQ(revisions[1].told, 1u);
  EXPECT_FALSE(revisions[1].replayed);
}

TEST(RevisionTest, AnAlertThatShouldHaveBeenComesLate) {
  ListSubject subject = TwoBadTimes();
  const Told told = TellAll(subject);
  for (int i = 200; i < 206; ++i) subject.days[static_cast<size_t>(i)].hits = 6;
  const auto revisions = CompareWith(told, subject);
  ASSERT_EQ(revisions.size(), 3u);
  EXPECT_EQ(revisions[2].kind, Kind::kNew);
  EXPECT_TRUE(revisions[2].is_late);
  EXPECT_EQ(revisions[2].replayed, 1u);
  EXPECT_EQ(revisions[0].kind, Kind::kSame);
  EXPECT_EQ(revisions[1].replayed, 2u);
}

TEST(RevisionTest, AnEndingThatWasToldTooEarlyIsRevised) {
  ListSubject subject = TwoBadTimes();
  const Told told = TellAll(subject);
  for (int i = 160; i < 165; ++i) subject.days[static_cast<size_t>(i)].hits = 5;
  const auto revisions = CompareWith(told, subject);
  EXPECT_EQ(revisions[0].kind, Kind::kRevised);
  EXPECT_TRUE(revisions[0].closing);
  EXPECT_FALSE(revisions[0].opening || revisions[0].change || revisions[0].counts);
  // Told to be open, although by now it had closed.
  Told open = told;
  open.facts.resize(1);
  open.facts[0].closed.reset();
  open.facts[0].ending = Ending::kOpen;
  open.through = kFirst + 240;
  EXPECT_TRUE(CompareWith(open, subject)[0].closing);
}

// What it is all for: steady subjects alarm no more often than agreed, and a trebling of the odds
// is heard about as soon as the plan says. 400 lanes of 1,000 days, then 200 worse ones.
TEST(ReplayTest, SteadyFleetKeepsItsBudgetAndATreblingIsHeard) {
  double alarms = 0, years = 0, expected = 0, waits = 0, planned = 0;
  int heard = 0;
  constexpr int kLanes = 400;
  ChartDesigns designs;
  for (uint64_t lane = 0; lane < kLanes; ++lane) {
    Draws draws(61, lane);
    const double rate = draws.Beta(4, 36);
    ListSubject subject;
    Append(subject, 1000, 2, rate, draws);
    const WatchRules rules{.false_alarms_a_year = .5};
    const Watch steady = Replay(subject, rules, {}, LastOf(subject), designs);
    alarms += static_cast<double>(steady.alerts().size());
    years += (1000 - 28) / 364.0;
    expected += steady.plan()->FalseAlarmsAYear();
    if (steady.open() != nullptr || steady.level() > 0) continue;
    Append(subject, 200, 2, WorsenedRate(steady.plan()->chart.rate, 3), draws);
    const Watch worse = Replay(subject, rules, {}, LastOf(subject), designs);
    if (worse.alerts().size() == steady.alerts().size()) continue;
    ++heard;
    waits += worse.alerts()[steady.alerts().size()].facts.opened - (kFirst + 999);
    planned += steady.plan()->DaysToHear();
  }
  EXPECT_LE(expected / kLanes, .5);
  EXPECT_GT(expected / kLanes, .35);
  // The budget is kept on average, and not by never alarming.
  EXPECT_LT(alarms / years, .5 + 3 * std::sqrt(.5 / years));
  EXPECT_GT(alarms / years, .1);
  EXPECT_GT(heard, 150);
  // Judging by the day, and a pace taken a little high (YearlyOrders), make it somewhat longer.
  EXPECT_GT(waits, planned);
  EXPECT_LT(waits, 1.3 * planned);
}

}  // namespace
}  // namespace plumblane
