// As-of questions are exact at day granularity: asked about the start of a day, an engine that
// knows everything answers, bit for bit, what an engine answers that was fed only what happened
// before.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <random>

#include "engine/applier.h"
#include "engine/view.h"
#include "storage/memory_store.h"
#include "support/order_builder.h"

namespace plumblane {
namespace {

using test::At;
using test::On;
using test::OrderBuilder;

constexpr int kSeasonDays = 120, kOrders = 150;

std::string Time(int64_t millis) {
  std::string text = FormatInstant({At("2026-01-01").millis + millis / 1000 * 1000});
  text.pop_back();  // the builder adds the Z
  return text;
}

// One lawful order: every fact on its paid event, times in their natural order, no corrections
// (those hold at every as-of, by rule).
OrderBuilder LawfulOrder(int number, std::mt19937_64& random) {
  const auto below = [&random](int64_t n) {
    return static_cast<int64_t>(random() % static_cast<uint64_t>(n));
  };
  OrderBuilder order({"default", std::to_string(number)});
  int64_t t = below(kSeasonDays * kMillisPerDay);
  order.Paid(Time(t)).With([&](Event& event) {
    event.supplier = below(2) ? "S" : "R";
    event.service = below(3) ? "" : "express";
    event.cost = Money{100 + below(900), "EUR"};
    if (below(10)) event.promise = Instant{At(Time(t)).millis + below(14 * kMillisPerDay)};
  });
  const int64_t course = below(20);
  if (course == 0) {
    constexpr Reason kReasons[] = {Reason::kNone, Reason::kOutOfStock, Reason::kLate};
    order.Cancelled(Time(t + below(20 * kMillisPerDay)), kReasons[below(3)]);
    return order;
  }
  if (course == 1) return order;  // never heard of again
  t += below(4 * kMillisPerDay);
  if (course > 3) order.Shipped(Time(t));
  t += below(12 * kMillisPerDay);
  if (course == 4) t += 40 * kMillisPerDay;
  if (course != 5) order.Delivered(Time(t));
  if (course > 15) {
    constexpr Reason kReasons[] = {Reason::kDamaged, Reason::kQuality, Reason::kLost,
                                   Reason::kLate};
    t += below(30 * kMillisPerDay);
    order.Disputed(Time(t), kReasons[below(4)]);
    t += below(9 * kMillisPerDay);
    if (course > 16) order.Answered(Time(t));
    t += below(9 * kMillisPerDay);
    if (course > 17) order.Refunded(Time(t), Reason::kNone, course == 18);
  }
  return order;
}

// The state that the events before `end` make.
class Fed {
 public:
  Fed(const std::vector<OrderBuilder>& orders, Instant end) {
    Submission content;
    for (const OrderBuilder& order : orders) {
      for (const Event& event : order.events()) {
        if (event.time < end) content.events.push_back({order.key(), event});
      }
    }
    auto applied = Apply(*store_.TakeSnapshot(), {}, {}, 1, {end, content});
    EXPECT_TRUE(applied.ok()) << applied.status();
    EXPECT_TRUE(store_.Write(applied->batch, true).ok());
    catalog_ = std::make_shared<const Catalog>(std::move(applied->catalog));
  }
  View Look(Instant now) const { return View(store_.TakeSnapshot(), catalog_, memory_, {}, now); }

 private:
  MemoryStore store_;
  std::shared_ptr<const Catalog> catalog_;
  std::shared_ptr<Memory> memory_ = std::make_shared<Memory>(1 << 20);
};

TEST(AsOf, EqualsAnEngineFedOnlyWhatHadHappened) {
  int64_t settled = 0, defects = 0, underway = 0, overdue = 0;
  for (uint64_t seed = 1; seed <= 12; ++seed) {
    std::mt19937_64 random(seed);
    std::vector<OrderBuilder> orders;
    for (int i = 0; i < kOrders; ++i) orders.push_back(LawfulOrder(i, random));
    const Fed all(orders, At("2027-01-01"));
    const View knowing = all.Look(At("2027-01-01"));
    for (int day = 5; day < kSeasonDays + 90; day += 13) {
      const Instant as_of = StartOf(On("2026-01-01") + day);
      const Fed past(orders, as_of);
      const View then = past.Look(as_of);
      for (const Subject& subject :
           {Subject{"S", {}}, Subject{"R", LaneQuery{"VN", "DE", "express"}},
            Subject{{}, LaneQuery{"VN", "DE", {}}}}) {
        const auto ours = knowing.Score(subject, {as_of, {}});
        const auto theirs = then.Score(subject, {as_of, {}});
        if (!theirs.ok()) continue;  // nobody had heard of it then
        ASSERT_TRUE(ours.ok()) << ours.status();
        ASSERT_TRUE(ours->answer.score.late_prior == theirs->answer.score.late_prior)
            << "seed " << seed << " day " << day;
        ASSERT_TRUE(ours->answer.score == theirs->answer.score)
            << "seed " << seed << " day " << day;
        settled += ours->answer.score.on_time.order_count;
        defects += ours->answer.score.defect.hit_count;
        underway += ours->answer.score.underway_count;
        overdue += ours->answer.score.overdue_count;
      }
    }
  }
  // The comparison was of something.
  EXPECT_GT(settled, 10'000);
  EXPECT_GT(defects, 500);
  EXPECT_GT(underway, 500);
  EXPECT_GT(overdue, 100);
}

}  // namespace
}  // namespace plumblane
