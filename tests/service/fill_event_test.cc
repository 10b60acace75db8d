// What intake writes into a `paid` event: the promise, lane and price that were agreed then, and
// nothing that the sender said otherwise.
#include "service/fill_event.h"

#include <gtest/gtest.h>

#include "service/read_event.h"
#include "service/service_support.h"

namespace plumblane {
namespace {

using test::At;
using test::On;
using test::SentPaid;
using test::Stamp;
using test::SystemZones;

PromisedDays Days(const std::string& text) { return ParsePromisedDays(text).value(); }

Quote QuoteOf(const std::string& item, const std::string& service, int64_t cents) {
  Quote quote;
  quote.key = {"lotus", item, {"VN", "DE", service}, 1};
  quote.price = {cents, "EUR"};
  quote.valid_from = On("2026-03-01");
  return quote;
}

Agreements AgreedWith(const std::vector<Quote>& quotes, const Terms& terms = {}) {
  Agreements agreed;
  agreed.quotes.Load(quotes, At("2026-03-01"));
  if (!terms.supplier.empty()) agreed.terms.Load({terms}, At("2026-03-01"));
  return agreed;
}

Terms LotusTerms() {
  Terms terms;
  terms.supplier = "lotus";
  terms.promise = Days("10");
  terms.origin = "VN";
  terms.service = "sea";
  return terms;
}

Event Filled(const v1::Event& sent, const Agreements& agreed) {
  Event event = test::MustRead(sent, At("2026-06-01")).event;
  FillFromAgreements(sent, agreed, SystemZones(), event);
  return event;
}

Event AsSent(const v1::Event& sent) { return Filled(sent, {}); }

TEST(FillEvent, WithoutAgreementsNothingIsAdded) {
  const Event event = AsSent(SentPaid());
  EXPECT_EQ(event.promise, std::nullopt);
  EXPECT_EQ(event.quoted, std::nullopt);
  EXPECT_FALSE(event.promise_implied);
}

TEST(FillEvent, TheQuoteGivesPriceAndPromiseToTheEndOfThatDayAtTheDestination) {
  Quote quote = QuoteOf("", "", 900);
  quote.freight = 350;
  quote.duty = 10;
  quote.promise = Days("5-8");
  v1::Event sent = SentPaid();  // 2026-03-05, to DE
  sent.set_unit_count(3);
  const Event event = Filled(sent, AgreedWith({quote}, LotusTerms()));
  EXPECT_EQ(event.quoted, (Money{3 * 910 + 350, "EUR"}));
  EXPECT_EQ(event.promise, At("2026-03-13T23:00") + -1);
  EXPECT_TRUE(event.promise_implied);
  EXPECT_EQ(event.promise_days, std::nullopt);
  sent.clear_unit_count();
  EXPECT_EQ(Filled(sent, AgreedWith({quote})).quoted, (Money{1260, "EUR"}));
}

TEST(FillEvent, TheHashStaysThatOfWhatWasSent) {
  Quote quote = QuoteOf("", "", 900);
  quote.promise = Days("8");
  const Event event = Filled(SentPaid(), AgreedWith({quote}, LotusTerms()));
  ASSERT_TRUE(event.promise && event.quoted && !event.service.empty());
  EXPECT_EQ(event.content_hash, AsSent(SentPaid()).content_hash);
}

TEST(FillEvent, TermsPromiseWhereTheQuoteDoesNotPastTheirClosures) {
  Terms terms = LotusTerms();
  EXPECT_EQ(Filled(SentPaid(), AgreedWith({}, terms)).promise, At("2026-03-15T23:00") + -1);
  EXPECT_EQ(Filled(SentPaid(), AgreedWith({QuoteOf("", "", 900)}, terms)).promise,
            At("2026-03-15T23:00") + -1);
  // Closed on the day it was paid and the day after: as paid on the 7th.
  terms.closures = {{On("2026-03-04"), On("2026-03-06")}};
  EXPECT_EQ(Filled(SentPaid(), AgreedWith({}, terms)).promise, At("2026-03-17T23:00") + -1);
  // The closures are the supplier's whoever gives the days.
  Quote quote = QuoteOf("", "", 900);
  quote.promise = Days("1");
  EXPECT_EQ(Filled(SentPaid(), AgreedWith({quote}, terms)).promise, At("2026-03-08T23:00") + -1);
}

TEST(FillEvent, ImpliedDaysEndAsTheSameDaysWouldThatWereSent) {
  for (const char* destination : {"DE", "SE", "IE", "NZ", "US", "XX"}) {
    for (const char* time : {"2026-03-05T00:10", "2026-03-05T10:30", "2026-03-28T23:30"}) {
      v1::Event days = SentPaid();
      days.set_destination(destination);
      Stamp(time, days.mutable_event_time());
      v1::Event none = days;
      days.set_promise_days(10);
      EXPECT_EQ(Filled(none, AgreedWith({}, LotusTerms())).promise, AsSent(days).promise)
          << destination << " " << time;
    }
  }
}

TEST(FillEvent, WhatTheSenderSaidStays) {
  Quote quote = QuoteOf("", "", 900);
  quote.promise = Days("8");
  const Agreements agreed = AgreedWith({quote}, LotusTerms());
  v1::Event promised = SentPaid(), in_days = SentPaid();
  Stamp("2026-04-01", promised.mutable_promise_time());
  in_days.set_promise_days(3);
  for (const v1::Event& sent : {promised, in_days}) {
    const Event event = Filled(sent, agreed);
    EXPECT_EQ(event.promise, AsSent(sent).promise);
    EXPECT_FALSE(event.promise_implied);
    EXPECT_EQ(event.quoted, (Money{900, "EUR"}));
  }
}

TEST(FillEvent, OriginAndServiceComeFromTheTermsBeforeAQuoteIsLookedFor) {
  const Agreements agreed =
      AgreedWith({QuoteOf("", "", 900), QuoteOf("", "sea", 700)}, LotusTerms());
  v1::Event sent = SentPaid();
  sent.clear_origin();
  Event event = Filled(sent, agreed);
  EXPECT_EQ(event.origin, "VN");
  EXPECT_EQ(event.service, "sea");
  EXPECT_EQ(event.quoted, (Money{700, "EUR"}));
  sent.set_origin("TR");
  sent.set_service("-");  // none, in so many words
  event = Filled(sent, agreed);
  EXPECT_EQ(event.origin, "TR");
  EXPECT_EQ(event.service, "");
  EXPECT_EQ(event.quoted, std::nullopt);
  sent.set_origin("VN");
  EXPECT_EQ(Filled(sent, agreed).quoted, (Money{900, "EUR"}));
}

TEST(FillEvent, TheQuoteIsTheOneThatHeldOnTheDayAtTheDestination) {
  Quote first = QuoteOf("", "", 900), second = QuoteOf("", "", 800);
  first.valid_until = On("2026-03-09");
  second.valid_from = On("2026-03-10");
  const Agreements agreed = AgreedWith({first, second});
  const auto quoted = [&](const std::string& time) {
    v1::Event sent = SentPaid();
    Stamp(time, sent.mutable_event_time());
    return Filled(sent, agreed).quoted.value_or(Money{-1, ""}).minor_units;
  };
  EXPECT_EQ(quoted("2026-03-09T22:59"), 900);
  EXPECT_EQ(quoted("2026-03-09T23:00"), 800);  // a bare 2026-03-10 in DE
  EXPECT_EQ(quoted("2026-02-28T22:59"), -1);   // before the first
}

TEST(FillEvent, ASuppliersCodeBecomesOursBeforeAQuoteIsLookedFor) {
  Agreements agreed = AgreedWith({QuoteOf("lamp", "", 900), QuoteOf("LT-1", "", 100)});
  agreed.items.Load({{"lamp", "", "lotus", "LT-1"}, {"lamp", "", "amber", "A-7"}});
  v1::Event sent = SentPaid();
  sent.set_item("LT-1");
  const Event event = Filled(sent, agreed);
  EXPECT_EQ(event.item, "lamp");
  EXPECT_EQ(event.supplier_item, "LT-1");
  EXPECT_EQ(event.quoted, (Money{900, "EUR"}));
  EXPECT_EQ(event.content_hash, AsSent(sent).content_hash);
  // The same of any event that names supplier and item; another's code is none.
  sent.set_type(v1::EVENT_TYPE_SHIPPED);
  EXPECT_EQ(Filled(sent, agreed).item, "lamp");
  for (const char* item : {"lamp", "A-7", "unknown", ""}) {
    sent.set_item(item);
    EXPECT_EQ(Filled(sent, agreed), AsSent(sent)) << item;
  }
  sent.set_item("LT-1");
  sent.clear_supplier();
  EXPECT_EQ(Filled(sent, agreed), AsSent(sent)) << "whose code it is must be known";
}

TEST(FillEvent, AnItemOfOursIsMeantWhateverTheSupplierCallsSo) {
  Agreements agreed = AgreedWith({QuoteOf("bowl", "", 100), QuoteOf("lamp", "", 900)});
  agreed.items.Load({{"lamp", "", "lotus", "bowl"}, {"bowl", "kitchen", "", ""}});
  v1::Event sent = SentPaid();
  const auto remark = [&](const char* item) {
    sent.set_item(item);
    Event event = test::MustRead(sent, At("2026-06-01")).event;
    std::string said = FillFromAgreements(sent, agreed, SystemZones(), event);
    EXPECT_EQ(event.item, item);
    EXPECT_EQ(event.supplier_item, "");
    return said;
  };
  EXPECT_EQ(remark("bowl"), "counts as our item bowl, not as lamp, which lotus calls so");
  EXPECT_EQ(Filled(sent, agreed).quoted, (Money{100, "EUR"}));
  EXPECT_EQ(remark("lamp"), "");
}

TEST(FillEvent, OnlyAPaidEventThatNamesItsSupplierIsFilled) {
  Quote quote = QuoteOf("", "", 900);
  quote.promise = Days("8");
  const Agreements agreed = AgreedWith({quote}, LotusTerms());
  v1::Event shipped = SentPaid(), nobody = SentPaid(), nowhere = SentPaid();
  shipped.set_type(v1::EVENT_TYPE_SHIPPED);
  nobody.clear_supplier();
  for (const v1::Event& sent : {shipped, nobody}) EXPECT_EQ(Filled(sent, agreed), AsSent(sent));
  nowhere.clear_destination();
  EXPECT_EQ(Filled(nowhere, agreed).quoted, std::nullopt);
  EXPECT_TRUE(Filled(nowhere, agreed).promise_implied) << "the terms promise wherever it goes";
}

}  // namespace
}  // namespace plumblane
