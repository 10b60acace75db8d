// Which records are of plain orders, and that they say what the fold would.
#include <gtest/gtest.h>

#include <algorithm>
#include <map>
#include <string>
#include <utility>
#include <vector>

#include "storage/order_codec.h"
#include "support/random_orders.h"

namespace plumblane {
namespace {

using ByOrder = std::map<OrderKey, std::vector<Event>>;

// Random orders of which many are plain: few events each, most of the types that a plain order has.
ByOrder ShortOrders(uint64_t seed) {
  test::RandomOrders random(seed);
  ByOrder orders;
  for (auto& [order, event] : random.Make(1'500)) {
    if (EventType::kDelivered < event.type && random.Below(20) > 0) continue;
    if (event.revision && random.Below(5) > 0) event.revision.reset();
    if (event.part == 2 && random.Below(3) > 0) event.replaces = 0;
    if (std::vector<Event>& events = orders[order]; events.size() < 5) events.push_back(event);
  }
  for (auto& [order, events] : orders) std::sort(events.begin(), events.end(), Earlier);
  return orders;
}

bool IsPlain(const std::vector<Event>& events) {
  return std::all_of(events.begin(), events.end(), [&](const Event& event) {
    return event.part == events[0].part && event.type <= EventType::kDelivered && !event.revision &&
           event.replaces == 0;
  });
}

std::optional<Money> MoneyOf(const std::optional<PlainSum>& sum) {
  if (!sum) return std::nullopt;
  return Money{sum->minor_units, std::string(sum->currency)};
}

TEST(PlainOrder, SaysWhatTheFoldFinds) {
  int plain_count = 0, other_count = 0;
  for (const auto& [order, events] : ShortOrders(3)) {
    const std::string record = EncodeOrder(events);
    const auto plain = ReadPlainOrder(record);
    ASSERT_EQ(plain.has_value(), IsPlain(events));
    ++(plain ? plain_count : other_count);
    if (!plain) continue;
    const OrderState state = Fold(order, events, {}, {});
    ASSERT_EQ(state.parts.size(), 1);
    const PartState& part = state.parts[0];
    EXPECT_EQ(plain->part, part.part);
    EXPECT_EQ(plain->supplier, part.supplier);
    EXPECT_EQ((Lane{std::string(plain->origin), std::string(plain->destination),
                    std::string(plain->service)}),
              part.lane);
    EXPECT_EQ(plain->item, part.item);
    EXPECT_EQ(plain->promise, part.promise);
    EXPECT_EQ(plain->paid, part.paid);
    EXPECT_EQ(plain->shipped, part.shipped);
    EXPECT_EQ(plain->delivered, part.delivered);
    EXPECT_EQ(MoneyOf(plain->cost), part.cost);
    EXPECT_EQ(MoneyOf(plain->quoted), part.quoted);
  }
  EXPECT_GT(plain_count, 200);
  EXPECT_GT(other_count, 200);
}

TEST(PlainOrder, EveryOtherFieldIsPassedOver) {
  Event event;
  event.type = EventType::kDelivered;
  event.supplier = "lotus";
  event.promise_days = 9;
  event.item = "lamp";
  event.units = 3;
  event.cost = Money{1375, "EUR"};
  event.sale = Money{2999, "USD"};
  event.claim = event.refund = Money{-250, "EUR"};
  event.tracking = "TRK1";
  event.retracts = "e-0";
  event.quoted = Money{1358, "EUR"};
  event.supplier_item = "LL-1";
  event.tellings = {{{}, 7}, {{}, 300}};
  const std::string record = EncodeOrder({event});
  const auto plain = ReadPlainOrder(record);
  ASSERT_TRUE(plain);
  EXPECT_EQ(plain->item, "lamp");
  EXPECT_EQ(MoneyOf(plain->cost), event.cost);
  EXPECT_EQ(MoneyOf(plain->quoted), event.quoted);
}

TEST(PlainOrder, NoMalformedRecordIsPlain) {
  Event event;
  event.supplier = "lotus";
  event.quoted = Money{1358, "EUR"};
  const std::string record = EncodeOrder({event, event});
  for (size_t size = 0; size < record.size(); ++size) {
    EXPECT_FALSE(ReadPlainOrder(record.substr(0, size))) << size;
  }
  EXPECT_FALSE(ReadPlainOrder(record + '\0'));
  event.part = 0;
  EXPECT_FALSE(ReadPlainOrder(EncodeOrder({event})));
}

}  // namespace
}  // namespace plumblane
