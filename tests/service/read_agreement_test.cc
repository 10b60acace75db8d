// Rows of loads: what is taken, and that every wrong row is named with its field.
#include "service/read_agreement.h"

#include <absl/strings/str_cat.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <functional>

#include "service/service_support.h"

namespace plumblane {
namespace {

using test::On;
using ::testing::ElementsAre;
using ::testing::IsEmpty;

const Day kToday = On("2026-03-05");

void Set(int64_t minor_units, const std::string& currency, v1::Money* out) {
  out->set_minor_units(minor_units);
  out->set_currency_code(currency);
}

v1::Quote SentQuote() {
  v1::Quote quote;
  quote.set_supplier("lotus");
  quote.set_item("lamp");
  quote.set_origin("vn");
  quote.set_destination("DE");
  Set(900, "eur", quote.mutable_price());
  return quote;
}

ItemBook KnownItems() {
  ItemBook items;
  items.Load({{"lamp", "lamps", "lotus", "LT-1"}});
  return items;
}

// "index field" of each error.
std::vector<std::string> Places(const RowErrors& errors) {
  std::vector<std::string> places;
  for (const v1::RowError& error : errors) {
    EXPECT_FALSE(error.message().empty());
    places.push_back(absl::StrCat(error.index(), " ", error.field()));
  }
  return places;
}

template <typename Read, typename Row>
std::vector<std::string> Wrong(const Read& read, const std::vector<Row>& rows) {
  Rows<Row> in(rows.begin(), rows.end());
  RowErrors errors;
  read(in, errors);
  return Places(errors);
}

const auto kReadQuotes = [](const Rows<v1::Quote>& in, RowErrors& errors) {
  return ReadQuotes(in, KnownItems(), kToday, errors);
};
const auto kReadTerms = [](const Rows<v1::Terms>& in, RowErrors& errors) {
  return ReadTerms(in, errors);
};
const auto kReadRates = [](const Rows<v1::ExchangeRate>& in, RowErrors& errors) {
  return ReadExchangeRates(in, errors);
};
const auto kReadItems = [](const Rows<v1::Item>& in, RowErrors& errors) {
  return ReadItems(in, KnownItems(), errors);
};

TEST(ReadQuotes, AFullRowIsReadWithEveryField) {
  v1::Quote sent = SentQuote();
  sent.clear_item();
  sent.set_supplier_item("LT-1");
  sent.set_service("express");
  Set(350, "EUR", sent.mutable_freight());
  Set(12, "EUR", sent.mutable_duty());
  sent.set_promised_days("1-2+5-8 working");
  sent.set_valid_from("2026-04-01");
  sent.set_valid_until("2026-04-01");
  sent.set_minimum_units(10);
  Rows<v1::Quote> in;
  *in.Add() = sent;
  *in.Add() = SentQuote();
  in.at(1).set_item("*");
  RowErrors errors;
  const std::vector<Quote> quotes = kReadQuotes(in, errors);
  ASSERT_THAT(Places(errors), IsEmpty());
  Quote full, plain;
  full.key = {"lotus", "lamp", {"VN", "DE", "express"}, 10};
  full.price = {900, "EUR"};
  full.freight = 350;
  full.duty = 12;
  full.promise = PromisedDays{2, 8, true};
  full.valid_from = full.valid_until.emplace(On("2026-04-01"));
  plain.key = {"lotus", "", {"VN", "DE", ""}, 1};
  plain.price = {900, "EUR"};
  plain.valid_from = kToday;
  EXPECT_THAT(quotes, ElementsAre(full, plain));
}

TEST(ReadQuotes, EachWrongFieldIsNamed) {
  const std::pair<const char*, std::function<void(v1::Quote&)>> cases[] = {
      {"supplier", [](v1::Quote& q) { q.clear_supplier(); }},
      {"item", [](v1::Quote& q) { q.set_item("\x01"); }},
      {"supplier_item", [](v1::Quote& q) { q.set_supplier_item("LT-1"); }},  // and item
      {"supplier_item", [](v1::Quote& q) { q.clear_item(), q.set_supplier_item("LT-9"); }},
      {"origin", [](v1::Quote& q) { q.clear_origin(); }},
      {"destination", [](v1::Quote& q) { q.set_destination("Germany!"); }},
      {"service", [](v1::Quote& q) { q.set_service("By Air"); }},
      {"price", [](v1::Quote& q) { q.clear_price(); }},
      {"price.minor_units", [](v1::Quote& q) { q.mutable_price()->set_minor_units(-1); }},
      {"price.currency_code", [](v1::Quote& q) { Set(1, "EURO", q.mutable_price()); }},
      {"freight.currency_code", [](v1::Quote& q) { Set(1, "USD", q.mutable_freight()); }},
      {"freight.minor_units", [](v1::Quote& q) { Set(-1, "EUR", q.mutable_freight()); }},
      {"duty.currency_code", [](v1::Quote& q) { Set(1, "USD", q.mutable_duty()); }},
      {"promised_days", [](v1::Quote& q) { q.set_promised_days("soon"); }},
      {"valid_from", [](v1::Quote& q) { q.set_valid_from("5.3.2026"); }},
      {"valid_until", [](v1::Quote& q) { q.set_valid_until("2026-02-30"); }},
      {"valid_until", [](v1::Quote& q) { q.set_valid_until("2026-03-04"); }},
      {"minimum_units", [](v1::Quote& q) { q.set_minimum_units(-1); }},
      {"price",
       [](v1::Quote& q) {
         q.set_minimum_units(1000), Set(kMaxMinorUnits, "EUR", q.mutable_price());
       }},
  };
  for (const auto& [field, change] : cases) {
    v1::Quote wrong = SentQuote();
    change(wrong);
    v1::Quote right = SentQuote();
    right.set_destination("SE");
    EXPECT_THAT(Wrong(kReadQuotes, std::vector{right, wrong}),
                ElementsAre(absl::StrCat("1 ", field)));
  }
}

TEST(ReadQuotes, EveryRowThatOverlapsAnotherOfItsKeyIsNamed) {
  const auto during = [](const std::string& from, const std::string& until) {
    v1::Quote quote = SentQuote();
    quote.set_valid_from(from);
    quote.set_valid_until(until);
    return quote;
  };
  const auto wrong = [](const std::vector<v1::Quote>& rows) { return Wrong(kReadQuotes, rows); };
  EXPECT_THAT(wrong({during("2026-04-01", "2026-04-30"), during("2026-03-01", "2026-03-31"),
                     during("2026-05-01", "")}),
              IsEmpty());
  EXPECT_THAT(wrong({during("2026-04-01", "2026-04-30"), during("2026-04-30", "")}),
              ElementsAre("1 valid_from"));
  // A short one within a long one does not hide the next.
  EXPECT_THAT(wrong({during("2026-03-01", "2026-12-31"), during("2026-04-01", "2026-04-02"),
                     during("2026-06-01", "2026-06-02"), during("2027-01-01", "")}),
              ElementsAre("1 valid_from", "2 valid_from"));
  EXPECT_THAT(wrong({during("2026-03-01", ""), during("2026-03-01", ""), during("2026-04-01", "")}),
              ElementsAre("1 valid_from", "2 valid_from"));
  v1::Quote more = during("2026-03-01", "");
  more.set_minimum_units(10);
  EXPECT_THAT(wrong({during("2026-03-01", ""), more}), IsEmpty());
}

v1::Terms SentTerms(const std::string& supplier = "lotus") {
  v1::Terms terms;
  terms.set_supplier(supplier);
  return terms;
}

void Close(v1::Terms& terms, const std::string& first, const std::string& last) {
  v1::DateRange* range = terms.add_closures();
  range->set_first_date(first);
  range->set_last_date(last);
}

TEST(ReadTerms, AFullRowIsReadWithEveryField) {
  v1::Terms sent = SentTerms();
  sent.set_monthly_order_limit(0);
  sent.set_month_start_day(28);
  Set(4900, "eur", sent.mutable_next_step_cost());
  sent.set_claim_days(0);
  sent.set_promised_days("5-12");
  sent.set_origin("vn");
  sent.set_service("sea");
  Close(sent, "2026-09-02", "2026-09-02");
  Close(sent, "2026-02-14", "2026-02-22");
  sent.mutable_targets()->set_on_time(1);
  sent.mutable_targets()->set_defect(0);
  sent.mutable_targets()->set_delivery_days(12.5);
  for (const char* tag : {"lamps", "backup", "lamps"}) sent.add_tags(tag);
  Rows<v1::Terms> in;
  *in.Add() = sent;
  *in.Add() = SentTerms("copper");
  RowErrors errors;
  const std::vector<Terms> terms = ReadTerms(in, errors);
  ASSERT_THAT(Places(errors), IsEmpty());
  Terms full, bare;
  full.supplier = "lotus";
  full.monthly_order_limit = 0;
  full.month_start_day = 28;
  full.next_step_cost = Money{4900, "EUR"};
  full.claim_days = 0;
  full.promise = PromisedDays{0, 12, false};
  full.origin = "VN";
  full.service = "sea";
  full.closures = {{On("2026-02-14"), On("2026-02-22")}, {On("2026-09-02"), On("2026-09-02")}};
  full.targets = {1.0, 0.0, 12.5, std::nullopt};
  full.tags = {"backup", "lamps"};
  bare.supplier = "copper";
  EXPECT_THAT(terms, ElementsAre(full, bare));
}

TEST(ReadTerms, EachWrongFieldIsNamed) {
  const std::pair<const char*, std::function<void(v1::Terms&)>> cases[] = {
      {"supplier", [](v1::Terms& t) { t.set_supplier("a/b"); }},
      {"supplier", [](v1::Terms& t) { t.set_supplier("amber"); }},  // twice
      {"monthly_order_limit", [](v1::Terms& t) { t.set_monthly_order_limit(-1); }},
      {"month_start_day", [](v1::Terms& t) { t.set_month_start_day(29); }},
      {"next_step_cost.currency_code",
       [](v1::Terms& t) { Set(1, "", t.mutable_next_step_cost()); }},
      {"claim_days", [](v1::Terms& t) { t.set_claim_days(-1); }},
      {"promised_days", [](v1::Terms& t) { t.set_promised_days("8-5"); }},
      {"origin", [](v1::Terms& t) { t.set_origin("?"); }},
      {"service", [](v1::Terms& t) { t.set_service("?"); }},
      {"closures[0].last_date", [](v1::Terms& t) { Close(t, "2026-02-14", "2026-02-13"); }},
      {"closures[0].first_date", [](v1::Terms& t) { Close(t, "", "2026-02-13"); }},
      {"closures[0].last_date", [](v1::Terms& t) { Close(t, "2026-02-14", "February"); }},
      {"closures",
       [](v1::Terms& t) {
         Close(t, "2026-02-14", "2026-02-20"), Close(t, "2026-02-01", "2026-02-14");
       }},
      {"targets.on_time", [](v1::Terms& t) { t.mutable_targets()->set_on_time(1.01); }},
      {"targets.defect", [](v1::Terms& t) { t.mutable_targets()->set_defect(-0.01); }},
      {"targets.defect", [](v1::Terms& t) { t.mutable_targets()->set_defect(std::nan("")); }},
      {"targets.response_days", [](v1::Terms& t) { t.mutable_targets()->set_response_days(-1); }},
      {"tags[1]", [](v1::Terms& t) { t.add_tags("good"), t.add_tags("Not Good"); }},
      {"tags[0]", [](v1::Terms& t) { t.add_tags(""); }},
  };
  for (const auto& [field, change] : cases) {
    v1::Terms wrong = SentTerms();
    change(wrong);
    EXPECT_THAT(Wrong(kReadTerms, std::vector{SentTerms("amber"), wrong}),
                ElementsAre(absl::StrCat("1 ", field)));
  }
}

v1::ExchangeRate SentRate(const std::string& date, const std::string& rate,
                          const std::string& from = "USD", const std::string& to = "EUR") {
  v1::ExchangeRate sent;
  sent.set_date(date);
  sent.set_from_currency(from);
  sent.set_to_currency(to);
  sent.set_rate(rate);
  return sent;
}

TEST(ReadExchangeRates, EveryWrongRowIsNamed) {
  EXPECT_THAT(Wrong(kReadRates,
                    std::vector{SentRate("2026-03-01", "0.9213"), SentRate("2026-03-02", "0"),
                                SentRate("2026-03-01", "0.92"), SentRate("", "1"),
                                SentRate("yesterday", "1"), SentRate("2026-03-02", "1", "XXZ"),
                                SentRate("2026-03-02", "1", "EUR"), SentRate("2026-03-02", "-1"),
                                SentRate("2026-03-01", "1.08", "EUR", "USD")}),
              ElementsAre("1 rate", "2 date", "3 date", "4 date", "5 from_currency",
                          "6 to_currency", "7 rate"));
}

v1::Item SentItem(const std::string& item, const std::string& item_class,
                  const std::string& supplier = "", const std::string& code = "") {
  v1::Item sent;
  sent.set_item(item);
  sent.set_item_class(item_class);
  sent.set_supplier(supplier);
  sent.set_supplier_item(code);
  return sent;
}

TEST(ReadItems, EveryWrongRowIsNamed) {
  EXPECT_THAT(
      Wrong(kReadItems, std::vector{SentItem("bowl", "bowls", "lotus", "LT-2"), SentItem("", "x"),
                                    SentItem("bowl", "Bowls"), SentItem("bowl", "", "lotus"),
                                    SentItem("bowl", "", "", "LT-3"), SentItem("bowl", ""),
                                    SentItem("*", "bowls")}),
      ElementsAre("1 item", "2 item_class", "3 supplier_item", "4 supplier_item", "5 ", "6 item"));
  EXPECT_THAT(Wrong(kReadItems, std::vector{SentItem("bowl", "", "lotus", "LT-1"),  // lamp has it
                                            SentItem("vase", "vases"), SentItem("vase", "bowls"),
                                            SentItem("cup", "", "copper", "C1"),
                                            SentItem("mug", "", "copper", "C1")}),
              ElementsAre("0 ", "2 item_class", "4 "));
}

v1::CostSettings SentCosts() {
  v1::CostSettings sent;
  sent.set_currency_code("EUR");
  sent.add_classes();
  return sent;
}

TEST(ReadCosts, EachWrongFieldIsNamed) {
  const auto defect = [](v1::CostClass& c, const std::string& kind, double share) {
    v1::DefectCost* cost = c.add_defects();
    cost->set_kind(kind);
    cost->set_refund_share(share);
  };
  const std::pair<const char*, std::function<void(v1::CostSettings&, v1::CostClass&)>> cases[] = {
      {"0 currency_code", [](auto& s, auto&) { s.clear_currency_code(); }},
      {"1 shop", [](auto&, auto& c) { c.set_shop("a/b"); }},
      {"1 item_class", [](auto&, auto& c) { c.set_item_class("A B"); }},
      {"1 item_class", [](auto&, auto& c) { c.clear_item_class(); }},  // twice
      {"1 sale.currency_code", [](auto&, auto& c) { Set(1, "USD", c.mutable_sale()); }},
      {"1 day_late.minor_units", [](auto&, auto& c) { Set(-1, "EUR", c.mutable_day_late()); }},
      {"1 defects[0].kind", [&](auto&, auto& c) { defect(c, "late", 0.5); }},
      {"1 defects[1].kind", [&](auto&, auto& c) { defect(c, "lost", 1), defect(c, "lost", 1); }},
      {"1 defects[0].refund_share", [&](auto&, auto& c) { defect(c, "lost", 1.5); }},
      {"0 trials.most_share", [](auto& s, auto&) { s.mutable_trials()->set_most_share(2); }},
      {"0 trials.most_cost.currency_code",
       [](auto& s, auto&) { Set(1, "USD", s.mutable_trials()->mutable_most_cost()); }},
  };
  for (const auto& [place, change] : cases) {
    v1::CostSettings sent = SentCosts();
    v1::CostClass& second = *sent.add_classes();
    second.set_item_class("lamps");
    change(sent, second);
    RowErrors errors;
    ReadCosts(sent, errors);
    EXPECT_THAT(Places(errors), ElementsAre(place));
  }
}

TEST(ReadPause, MustEndAfterToday) {
  v1::PauseSupplierRequest request;
  request.set_supplier("lotus");
  EXPECT_EQ(*ReadPause(request, kToday), (Pause{"lotus", true, std::nullopt, ""}));
  request.mutable_pause()->set_until_date("2026-03-06");
  request.mutable_pause()->set_reason("quality");
  EXPECT_EQ(*ReadPause(request, kToday), (Pause{"lotus", true, On("2026-03-06"), "quality"}));
  request.mutable_pause()->set_until_date("2026-03-05");
  EXPECT_THAT(std::string(ReadPause(request, kToday).status().message()),
              ::testing::StartsWith("pause.until_date: expected a day after 2026-03-05"));
}

}  // namespace
}  // namespace plumblane
