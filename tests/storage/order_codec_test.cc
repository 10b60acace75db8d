// Events and order records: their bytes, back and forth, and damaged ones.
#include "storage/order_codec.h"

#include <absl/strings/str_cat.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <utility>

#include "cohorts/measure.h"
#include "storage/storage_support.h"
#include "storage/store.h"

namespace plumblane {
namespace {

using test::FullEvent;
using test::Hex;
using test::Packed;
using test::RandomEvents;

Event BareEvent() {
  Event event;
  event.source = "feed";
  event.event_id = "e-0";
  event.content_hash = 1;
  event.type = EventType::kDelivered;
  event.time = {0};
  return event;
}

const std::string kBareHex = Packed(
    "01 03 00 "             // part 1, delivered, 1970-01-01
    "0000000000000001 "     // hash
    "0466656564 03652d30 "  // source, event_id
    "00");                  // no field

const std::string kFullHex = Packed(
    "02 06 80aeb1f2cb33 "   // part 2, refunded, 2026-03-05T14:00:00Z
    "0123456789abcdef "     // hash
    "0466656564 03652d31 "  // source, event_id
    "ffff7f "               // fields 0 to 20
    "056c6f747573 "         // supplier
    "02564e "               // origin
    "05444548414d "         // destination
    "0765787072657373 "     // service
    "ffeacff4ce33 "         // promise
    "09 "                   // promise_days
    "046c616d70 "           // item
    "c0843d "               // units
    "be15 03455552 "        // cost, 1375 EUR
    "ee2e 03555344 "        // sale, 2999 USD
    "0e "                   // reason, out_of_stock
    "8090dfc04a 034a5059 "  // claim, 10,000,000,000 JPY
    "f303 03455552 "        // refund, -250 EUR
    "01 "                   // replaces
    "0454524b31 "           // tracking
    "03652d30 "             // retracts
    "80d0c683cc33 "         // revision
    "9c15 03455552 "        // quoted, 1358 EUR
    "044c542d31");          // supplier_item

TEST(OrderCodec, GoldenBytes) {
  EXPECT_EQ(Hex(EncodeEvent(BareEvent())), kBareHex);
  EXPECT_EQ(Hex(EncodeEvent(FullEvent())), kFullHex);
  EXPECT_EQ(Hex(EncodeOrder({})), "00");
  EXPECT_EQ(Hex(EncodeOrder({BareEvent(), FullEvent()})), absl::StrCat("02", kBareHex, kFullHex));
}

// Each field alone, by its bit: none is taken for another.
TEST(OrderCodec, GoldenBytesOfEachFieldAlone) {
  const auto fields = [](const auto& change) {
    Event event = BareEvent();
    change(event);
    const std::string hex = Hex(EncodeEvent(event));
    return hex.substr(kBareHex.size() - 2);
  };
  const auto eur = [](int64_t cents) { return Money{cents, "EUR"}; };
  EXPECT_EQ(fields([](Event& e) { e.supplier = "S"; }), Packed("01 0153"));
  EXPECT_EQ(fields([](Event& e) { e.origin = "VN"; }), Packed("02 02564e"));
  EXPECT_EQ(fields([](Event& e) { e.destination = "DE"; }), Packed("04 024445"));
  EXPECT_EQ(fields([](Event& e) { e.service = "x"; }), Packed("08 0178"));
  EXPECT_EQ(fields([](Event& e) { e.promise = Instant{300}; }), Packed("10 ac02"));
  EXPECT_EQ(fields([](Event& e) { e.promise_implied = true; }), "20");
  EXPECT_EQ(fields([](Event& e) { e.promise_days = 0; }), Packed("40 00"));
  EXPECT_EQ(fields([](Event& e) { e.item = "i"; }), Packed("8001 0169"));
  EXPECT_EQ(fields([](Event& e) { e.units = 1; }), Packed("8002 01"));
  EXPECT_EQ(fields([&](Event& e) { e.cost = eur(1); }), Packed("8004 02 03455552"));
  EXPECT_EQ(fields([&](Event& e) { e.sale = eur(0); }), Packed("8008 00 03455552"));
  EXPECT_EQ(fields([](Event& e) { e.reason = Reason::kLate; }), Packed("8010 01"));
  EXPECT_EQ(fields([&](Event& e) { e.claim = eur(1); }), Packed("8020 02 03455552"));
  EXPECT_EQ(fields([&](Event& e) { e.refund = eur(-1); }), Packed("8040 01 03455552"));
  EXPECT_EQ(fields([](Event& e) { e.refund_by_shop = true; }), "808001");
  EXPECT_EQ(fields([](Event& e) { e.replaces = 998; }), Packed("808002 e607"));
  EXPECT_EQ(fields([](Event& e) { e.tracking = "T"; }), Packed("808004 0154"));
  EXPECT_EQ(fields([](Event& e) { e.retracts = "r"; }), Packed("808008 0172"));
  EXPECT_EQ(fields([](Event& e) { e.revision = Instant{1}; }), Packed("808010 01"));
  EXPECT_EQ(fields([&](Event& e) { e.quoted = eur(1); }), Packed("808020 02 03455552"));
  EXPECT_EQ(fields([](Event& e) { e.supplier_item = "c"; }), Packed("808040 0163"));
  EXPECT_EQ(fields([](Event& e) { e.tellings = {{Instant{0}, 1}}; }), Packed("80808001 01 01"));
  EXPECT_EQ(fields([](Event& e) {
              e.revision = Instant{300};
              e.tellings = {{Instant{300}, 7}, {Instant{300}, 200}, {Instant{0}, 0}};
            }),
            Packed("80809001 ac02 03 00 07 00 c801 ac02 00"));
}

// What the bytes above mean; none of these may ever change.
TEST(OrderCodec, NumbersOnDiskStayWhatTheyAre) {
  const std::pair<const char*, int> types[] = {{"paid", 1},      {"shipped", 2},  {"delivered", 3},
                                               {"disputed", 4},  {"answered", 5}, {"refunded", 6},
                                               {"cancelled", 7}, {"retracted", 8}};
  for (const auto& [name, number] : types) {
    ASSERT_TRUE(EventTypeNamed(name)) << name;
    EXPECT_EQ(static_cast<int>(*EventTypeNamed(name)), number) << name;
    EXPECT_EQ(NameOf(static_cast<EventType>(number)), name);
  }
  const char* const reasons[] = {"late",         "not_received",  "damaged",     "quality",
                                 "wrong_item",   "missing_part",  "counterfeit", "unsafe",
                                 "lost",         "wrong_address", "refused",     "customs",
                                 "changed_mind", "out_of_stock",  "other"};
  int number = 0;
  for (const char* name : reasons) {
    ASSERT_TRUE(ReasonNamed(name)) << name;
    EXPECT_EQ(static_cast<int>(*ReasonNamed(name)), ++number) << name;
    EXPECT_EQ(NameOf(static_cast<Reason>(number)), name);
  }
  EXPECT_EQ(NameOf(Reason::kNone), "");
  for (const char* unknown : {"", "Paid", "broken"}) {
    EXPECT_FALSE(EventTypeNamed(unknown));
    EXPECT_FALSE(ReasonNamed(unknown));
  }
  using enum Measure;
  int measure = 0;
  for (const Measure m : {kOnTime, kDefect, kHandling, kTransit, kDelivery, kResponse, kMoney,
                          kUnderway, kOverdue, kExposure}) {
    EXPECT_EQ(static_cast<int>(m), ++measure);
  }
  const std::pair<Code, int> codes[] = {{Code::kDelivered, 1},
                                        {Code::kDeliveredLate, 2},
                                        {Code::kShipped, 3},
                                        {Code::kAnswered, 4},
                                        {Code::kLeft, 5},
                                        {Code::kFault, 6},
                                        {Code::kDamaged, 10},
                                        {Code::kQuality, 11},
                                        {Code::kWrongItem, 12},
                                        {Code::kMissingPart, 13},
                                        {Code::kCounterfeit, 14},
                                        {Code::kUnsafe, 15},
                                        {Code::kLost, 16},
                                        {Code::kClosed, 20},
                                        {Code::kCost, 30},
                                        {Code::kSale, 31},
                                        {Code::kRefundBySupplier, 32},
                                        {Code::kRefundByShop, 33},
                                        {Code::kClaim, 34},
                                        {Code::kReplacementCost, 35},
                                        {Code::kQuotedOrders, 36},
                                        {Code::kQuotedCost, 37},
                                        {Code::kQuoted, 38}};
  for (const auto& [code, on_disk] : codes) EXPECT_EQ(static_cast<int>(code), on_disk);
  const std::pair<Space, const char*> spaces[] = {{Space::kMeta, "default"},
                                                  {Space::kOrders, "orders"},
                                                  {Space::kCells, "cells"},
                                                  {Space::kIndex, "index"},
                                                  {Space::kLog, "log"}};
  for (const auto& [space, name] : spaces) EXPECT_EQ(kSpaceNames[static_cast<int>(space)], name);
}

TEST(OrderCodec, RecordsAreReadBack) {
  RandomEvents random(1);
  for (int round = 0; round < 2000; ++round) {
    std::vector<Event> events;
    for (int count = random.Below(6); count > 0; --count) events.push_back(random.One());
    std::sort(events.begin(), events.end(), Earlier);
    const std::string bytes = EncodeOrder(events);
    const auto read = DecodeOrder(bytes);
    ASSERT_TRUE(read.ok()) << read.status();
    ASSERT_EQ(*read, events);
    ASSERT_EQ(EncodeOrder(*read), bytes);
    for (const Event& event : events) ASSERT_EQ(DecodeEvent(EncodeEvent(event)).value(), event);
  }
}

TEST(OrderCodec, RecordsCutShortOrTooLongAreDataLoss) {
  const std::string order = EncodeOrder({BareEvent(), FullEvent()});
  for (size_t size = 0; size < order.size(); ++size) {
    EXPECT_TRUE(absl::IsDataLoss(DecodeOrder(order.substr(0, size)).status())) << size;
  }
  EXPECT_TRUE(absl::IsDataLoss(DecodeOrder(order + '\0').status()));
  const std::string event = EncodeEvent(FullEvent());
  for (size_t size = 0; size < event.size(); ++size) {
    EXPECT_TRUE(absl::IsDataLoss(DecodeEvent(event.substr(0, size)).status())) << size;
  }
  EXPECT_TRUE(absl::IsDataLoss(DecodeEvent(event + '\0').status()));
}

TEST(OrderCodec, RecordsWithAnyBitFlippedAreReadOrRefusedNeverACrash) {
  const std::string bytes = EncodeOrder({BareEvent(), FullEvent(), BareEvent()});
  int refused = 0, read_differently = 0;
  for (size_t bit = 0; bit < 8 * bytes.size(); ++bit) {
    std::string flipped = bytes;
    flipped[bit / 8] = static_cast<char>(flipped[bit / 8] ^ (1 << (bit % 8)));
    const auto read = DecodeOrder(flipped);
    EXPECT_TRUE(read.ok() || absl::IsDataLoss(read.status())) << read.status();
    if (read.ok()) {
      ++read_differently;
      // Whatever was read can be looked at and written again.
      for (const Event& event : *read) EXPECT_FALSE(NameOf(event.type).empty());
      EncodeOrder(*read);
    } else {
      ++refused;
    }
  }
  EXPECT_GT(refused, 0);
  EXPECT_GT(read_differently, 0);
}

TEST(OrderCodec, WhatNoDaemonWritesIsDataLoss) {
  const auto refused = [](const auto& change) {
    Event event = BareEvent();
    change(event);
    return absl::IsDataLoss(DecodeEvent(EncodeEvent(event)).status());
  };
  EXPECT_TRUE(refused([](Event& e) { e.part = 0; }));
  EXPECT_TRUE(refused([](Event& e) { e.part = kMaxPart + 1; }));
  EXPECT_TRUE(refused([](Event& e) { e.type = static_cast<EventType>(0); }));
  EXPECT_TRUE(refused([](Event& e) { e.type = static_cast<EventType>(9); }));
  EXPECT_TRUE(refused([](Event& e) { e.reason = static_cast<Reason>(16); }));
  EXPECT_FALSE(refused([](Event& e) { e.part = kMaxPart; }));
  EXPECT_TRUE(refused([](Event& e) { e.time = {-1}; }));
  EXPECT_TRUE(refused([](Event& e) { e.replaces = e.part; }));
  EXPECT_TRUE(refused([](Event& e) { e.promise = Instant{INT64_MAX}; }));
  EXPECT_FALSE(refused([](Event& e) { e.promise = e.revision = kLatestInstant; }));
  EXPECT_TRUE(refused([](Event& e) { e.cost = Money{kMaxMinorUnits + 1, "EUR"}; }));
  EXPECT_FALSE(refused([](Event& e) { e.cost = Money{kMaxMinorUnits, "EUR"}; }));
  Event priced = BareEvent();
  priced.cost = Money{5, "EUR"};
  std::string longer = EncodeEvent(priced);
  longer.replace(longer.find("\3EUR"), 4, "\4EURO");
  EXPECT_TRUE(absl::IsDataLoss(DecodeEvent(longer).status()));
  // A field of a later version: bit 20.
  std::string later = EncodeEvent(BareEvent());
  later.back() = '\x80';
  later += "\x80\x40";
  EXPECT_TRUE(absl::IsDataLoss(DecodeEvent(later).status()));
}

TEST(OrderCodec, ARecordThatClaimsVeryManyEventsIsRefusedAtOnce) {
  const std::string bytes = "\xff\xff\xff\xff\xff\xff\xff\xff\xff\x01";
  EXPECT_TRUE(absl::IsDataLoss(DecodeOrder(bytes).status()));
  EXPECT_TRUE(absl::IsDataLoss(DecodeOrder(bytes + EncodeEvent(BareEvent())).status()));
}

}  // namespace
}  // namespace plumblane
