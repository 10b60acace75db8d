// What `today` picks from the answers of the daemon, and what it leaves out.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "client/show_today.h"
#include "client/support.h"

namespace plumblane::client {
namespace {

using ::testing::HasSubstr;
using ::testing::Not;

constexpr int kWidth = 80;

Today Quiet() {
  Today today;
  today.status = FromJson<v1::ServerStatus>(R"({"nowTime":"2026-10-01T00:00:00Z"})");
  return today;
}

TEST(Today, SaysWhenNothingNeedsAnybody) {
  EXPECT_EQ(ShowToday(Quiet(), kWidth), "Nothing needs you, as of 2026-10-01.\n");
}

TEST(Today, NamesActiveAlertsOnly) {
  Today today = Quiet();
  today.alerts = FromJson<v1::ListAlertsResponse>(R"({"alerts":[
      {"alertId":"a1","state":"STATE_ACTIVE","sentence":"9 of 41 orders were late."},
      {"alertId":"a2","state":"STATE_ACKNOWLEDGED","sentence":"Known."},
      {"alertId":"a3","state":"STATE_SHELVED","sentence":"Later."}]})");
  EXPECT_EQ(ShowToday(today, kWidth),
            "As of 2026-10-01\n\nAlerts (plumblane alerts says more)\n"
            "  a1: 9 of 41 orders were late.\n");
}

TEST(Today, NamesOrdersToChasePerSupplierTheWorstFirst) {
  Today today = Quiet();
  const auto add = [&](const char* supplier, int number, v1::UnderwayOrder::State state) {
    v1::UnderwayOrder* order = today.underway.add_orders();
    order->set_shop("harbour");
    order->set_order_id(std::to_string(number));
    order->set_part(number == 3 ? 2 : 1);
    order->set_supplier_id(supplier);
    order->set_state(state);
  };
  add("zeta", 1, v1::UnderwayOrder::STATE_OVERDUE);
  add("alpha", 2, v1::UnderwayOrder::STATE_LIKELY_LATE);
  add("zeta", 3, v1::UnderwayOrder::STATE_ON_TIME);  // told as slow to leave
  for (int i = 10; i < 20; ++i) add("alpha", i, v1::UnderwayOrder::STATE_OVERDUE);
  const std::string text = ShowToday(today, 200);
  EXPECT_THAT(text, HasSubstr("Chase (plumblane underway --late)\n"
                              "  zeta, 1 overdue: harbour/1\n"
                              "  zeta, 1 slow to leave: harbour/3#2\n"
                              "  alpha, 10 overdue: harbour/10, "));
  EXPECT_THAT(text, HasSubstr("harbour/17 and 2 more\n  alpha, 1 likely late: harbour/2\n"));
  EXPECT_LE(WidestLine(ShowToday(today, kWidth)), kWidth);
}

TEST(Today, AddsUpWhatIsOwedAndNamesWhatIsToBeFiledSoon) {
  Today today = Quiet();
  today.claims = FromJson<v1::ListClaimsResponse>(R"({"claims":[
      {"shop":"h","orderId":"1","part":1,"supplierId":"alpha","state":"STATE_TO_FILE",
       "lastDate":"2026-10-03","daysLeft":2},
      {"shop":"h","orderId":"2","part":1,"supplierId":"alpha","state":"STATE_TO_FILE",
       "lastDate":"2026-11-03","daysLeft":33},
      {"shop":"h","orderId":"3","part":1,"supplierId":"alpha","state":"STATE_UNANSWERED",
       "waitingDays":7.5,"owed":{"currencyCode":"EUR","minorUnits":"1250"}},
      {"shop":"h","orderId":"4","part":1,"supplierId":"alpha","state":"STATE_OWED",
       "owed":{"currencyCode":"EUR","minorUnits":"750"}},
      {"shop":"h","orderId":"5","part":1,"supplierId":"alpha","state":"STATE_OWED",
       "owed":{"currencyCode":"USD","minorUnits":"100"}}]})");
  EXPECT_EQ(ShowToday(today, kWidth),
            "As of 2026-10-01\n\nClaims (plumblane claims)\n"
            "  alpha, 1 to file, the first by 2026-10-03: h/1\n"
            "  alpha, 1 unanswered, up to 7 days: h/3\n"
            "  alpha owes 20.00 EUR and 1.00 USD: h/3, h/4, h/5\n");
}

TEST(Today, NamesQuotesThatEndAndLimitsNearlyUsed) {
  Today today = Quiet();
  today.quotes = FromJson<v1::ListQuotesResponse>(R"({"quotes":[
      {"quote":{"supplier":"alpha"},"state":"STATE_VALID","daysLeft":3},
      {"quote":{"supplier":"alpha"},"state":"STATE_VALID","daysLeft":3},
      {"quote":{"supplier":"alpha"},"state":"STATE_VALID","daysLeft":15},
      {"quote":{"supplier":"alpha"},"state":"STATE_VALID"},
      {"quote":{"supplier":"alpha"},"state":"STATE_NOT_YET","daysLeft":1}]})");
  today.terms = FromJson<v1::ListTermsResponse>(R"({"terms":[
      {"supplier":"alpha","terms":{"monthlyOrderLimit":"100"},"monthPaidCount":"70",
       "monthAssignedCount":"10","nextMonthDate":"2026-10-15"},
      {"supplier":"beta","terms":{"monthlyOrderLimit":"100"},"monthPaidCount":"79"},
      {"supplier":"gamma","terms":{},"monthPaidCount":"79"}]})");
  EXPECT_EQ(ShowToday(today, kWidth),
            "As of 2026-10-01\n\nQuotes that end soon (plumblane quotes list)\n"
            "  alpha, 2 quotes: 3 days left, today included\n\n"
            "Monthly limits (plumblane terms list)\n"
            "  alpha, 80 of 100 used; a new month starts on 2026-10-15\n");
}

TEST(Today, NamesFeedsOfDeliveriesThatAreSilentWhileOrdersAreUnderWay) {
  Today today = Quiet();
  today.status = FromJson<v1::ServerStatus>(R"({"nowTime":"2026-10-01T00:00:00Z","sources":[
      {"source":"weekly","kind":"KIND_PERIODIC","sendsDeliveries":true,"limitsNews":true,
       "completeThroughTime":"2026-09-20T00:00:00Z","lastEventTime":"2026-09-30T00:00:00Z"},
      {"source":"tracking","kind":"KIND_LIVE","sendsDeliveries":true,
       "lastEventTime":"2026-09-27T12:00:00Z"},
      {"source":"fresh","kind":"KIND_LIVE","sendsDeliveries":true,
       "lastEventTime":"2026-09-28T00:00:01Z"},
      {"source":"shop","kind":"KIND_LIVE","lastEventTime":"2026-01-01T00:00:00Z"},
      {"source":"gone","kind":"KIND_RETIRED","sendsDeliveries":true,
       "lastEventTime":"2026-01-01T00:00:00Z"}]})");
  EXPECT_THAT(ShowToday(today, kWidth), HasSubstr("Nothing needs you")) << "nothing is awaited";
  today.underway.add_counts()->set_order_count(1);
  const std::string text = ShowToday(today, 120);
  EXPECT_THAT(text, HasSubstr("  weekly: complete up to 2026-09-20, 11 days ago; what was due "
                              "since is not judged\n"
                              "  tracking: last event 2026-09-27 12:00 UTC, 3 days ago\n"));
  EXPECT_THAT(text, Not(HasSubstr("fresh")));
  EXPECT_THAT(text, Not(HasSubstr("shop:")));
  EXPECT_THAT(text, Not(HasSubstr("gone")));
}

}  // namespace
}  // namespace plumblane::client
