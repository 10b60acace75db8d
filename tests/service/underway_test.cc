// Orders under way and claims, through the handlers: fields, pages, bad requests.
#include <absl/strings/str_cat.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "service/query_services.h"
#include "service/service_support.h"

namespace plumblane {
namespace {

using test::At;
using test::OrderBuilder;
using test::RunningEngine;
using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;
using ::testing::SizeIs;
using ::testing::StartsWith;

std::string TimeOf(const google::protobuf::Timestamp& time) {
  return FormatInstant({time.seconds() * kMillisPerSecond + time.nanos() / 1'000'000});
}

// "S" has shipped twenty orders from VN to DE within a day and delivered them within twenty; it is
// the 1st of June, 12:00.
class UnderwayLists : public ::testing::Test {
 protected:
  UnderwayLists() {
    for (int i = 0; i < 20; ++i) {
      OrderBuilder order({"default", absl::StrCat("past", i)});
      order.Paid("2026-03-01").Promised("2026-04-01").Shipped("2026-03-02");
      order.Delivered(FormatInstant(At("2026-03-02T12:00") + i * kMillisPerDay).substr(0, 16));
      engine_.Submit(order);
    }
    CostSettings costs;
    costs.currency = "EUR";
    costs.classes.resize(1);
    costs.classes[0].late_order = 400;
    Terms terms;
    terms.supplier = "S";
    terms.claim_days = 20;
    Submission load;
    load.agreements = {costs, std::vector<Terms>{terms}};
    EXPECT_TRUE(engine_.Submit(std::move(load)).status.ok());
  }
  OrderBuilder Order(const std::string& id, const std::string& paid, const std::string& promised) {
    OrderBuilder order({"harbour", id});
    order.Paid(paid).Promised(promised).With([](Event& event) {
      event.cost = Money{1375, "EUR"};
      event.item = "mug";
      event.service = "express";
    });
    return order;
  }
  v1::ListUnderwayResponse Underway(const v1::ListUnderwayRequest& request = {}) {
    v1::ListUnderwayResponse response;
    const absl::Status status = ListUnderway(engine_->Look(), request, &response);
    EXPECT_TRUE(status.ok()) << status;
    return response;
  }
  v1::ListClaimsResponse Claims(const v1::ListClaimsRequest& request = {}) {
    v1::ListClaimsResponse response;
    const absl::Status status = ListClaims(engine_->Look(), request, &response);
    EXPECT_TRUE(status.ok()) << status;
    return response;
  }
  RunningEngine engine_;
};

TEST_F(UnderwayLists, AnOrderUnderWayIsToldInFull) {
  OrderBuilder order = Order("7", "2026-05-20", "2026-06-03T12:00");
  order.Part(1).Shipped("2026-05-22T12:00").With([](Event& event) { event.tracking = "TRK7"; });
  engine_.Submit(order);
  const v1::ListUnderwayResponse response = Underway();
  EXPECT_EQ(TimeOf(response.as_of_time()), "2026-06-01T12:00:00Z");
  EXPECT_FALSE(response.has_news_time());
  ASSERT_THAT(response.orders(), SizeIs(1));
  const v1::UnderwayOrder& one = response.orders(0);
  EXPECT_EQ(one.shop(), "harbour");
  EXPECT_EQ(one.order_id(), "7");
  EXPECT_EQ(one.part(), 1);
  EXPECT_EQ(one.supplier_id(), "S");
  EXPECT_EQ(one.lane().origin(), "VN");
  EXPECT_EQ(one.lane().destination(), "DE");
  EXPECT_EQ(one.lane().service(), "express");
  EXPECT_EQ(one.item(), "mug");
  EXPECT_EQ(one.tracking(), "TRK7");
  EXPECT_EQ(TimeOf(one.pay_time()), "2026-05-20T00:00:00Z");
  EXPECT_EQ(TimeOf(one.ship_time()), "2026-05-22T12:00:00Z");
  EXPECT_EQ(TimeOf(one.promise_time()), "2026-06-03T12:00:00Z");
  EXPECT_EQ(one.age_days(), 12.5);
  EXPECT_EQ(one.state(), v1::UnderwayOrder::STATE_LIKELY_LATE);
  // By the lane: ten of twenty were out for more than ten days, eight for more than twelve.
  EXPECT_NEAR(one.late_chance(), 8. / 10, .01);
  EXPECT_NEAR(one.chase_value(), 400 * one.late_chance(), 1e-9);
  EXPECT_EQ(one.chase_currency(), "EUR");
  EXPECT_EQ(one.cost().minor_units(), 1375);
  EXPECT_EQ(one.cost().currency_code(), "EUR");
  EXPECT_FALSE(one.has_usual_handling_days());
  EXPECT_THAT(one.reason(), StartsWith("10 days on its way: 80 in 100"));
  ASSERT_THAT(response.counts(), SizeIs(1));
  EXPECT_EQ(response.counts(0).supplier_id(), "S");
  EXPECT_EQ(response.counts(0).lane().service(), "express");
  EXPECT_EQ(response.counts(0).order_count(), 1);
  EXPECT_EQ(response.counts(0).overdue_count(), 0);
  EXPECT_EQ(response.counts(0).likely_late_count(), 1);
  EXPECT_EQ(response.counts(0).unshipped_late_count(), 0);
}

TEST_F(UnderwayLists, WhatIsNotKnownIsAbsent) {
  OrderBuilder order({"default", "7"});
  order.Paid("2026-05-30").With([](Event& event) { event.destination = "NZ"; });
  engine_.Submit(order);
  const v1::UnderwayOrder one = Underway().orders(0);
  EXPECT_EQ(one.state(), v1::UnderwayOrder::STATE_NO_PROMISE);
  EXPECT_FALSE(one.has_promise_time() || one.has_ship_time() || one.has_late_chance() ||
               one.has_cost() || one.has_chase_value());
  EXPECT_EQ(one.chase_currency(), "");
  EXPECT_TRUE(one.has_usual_handling_days()) << "paid two days ago, usual is one";
  EXPECT_THAT(one.reason(), HasSubstr("not shipped after 3 days"));
}

TEST_F(UnderwayLists, PagesOfOrdersGoOnWhereTheOneBeforeEnded) {
  for (int i = 0; i < 9; ++i) {
    engine_.Submit(Order(absl::StrCat(i), "2026-05-20", i % 2 == 0 ? "2026-05-29" : "2026-06-20"));
  }
  v1::ListUnderwayRequest request;
  request.set_page_size(2);
  std::vector<std::string> ids;
  for (int pages = 0; pages < 10; ++pages) {
    const v1::ListUnderwayResponse page = Underway(request);
    EXPECT_EQ(page.counts(0).order_count(), 9);
    EXPECT_EQ(page.counts(0).overdue_count(), 5);
    for (const auto& one : page.orders()) ids.push_back(one.order_id());
    if (page.next_page_token().empty()) break;
    request.set_page_token(page.next_page_token());
  }
  EXPECT_THAT(ids, ElementsAre("0", "2", "4", "6", "8", "1", "3", "5", "7"));
  request.set_late_only(true);
  v1::ListUnderwayResponse response;
  EXPECT_TRUE(absl::IsInvalidArgument(ListUnderway(engine_->Look(), request, &response)))
      << "the token is of another question";
}

TEST_F(UnderwayLists, APageEndsWhereItsOrderWasEvenWhenThatIsGone) {
  for (const char* id : {"0", "1", "2"}) engine_.Submit(Order(id, "2026-05-20", "2026-05-29"));
  v1::ListUnderwayRequest request;
  request.set_page_size(2);
  request.set_page_token(Underway(request).next_page_token());
  engine_.Submit(Order("1", "2026-05-20", "2026-05-29").Delivered("2026-06-01"));
  const v1::ListUnderwayResponse rest = Underway(request);
  ASSERT_THAT(rest.orders(), SizeIs(1));
  EXPECT_EQ(rest.orders(0).order_id(), "2");
}

TEST_F(UnderwayLists, OrdersBySupplierLaneAndLateness) {
  engine_.Submit(Order("late", "2026-05-20", "2026-05-29").Shipped("2026-05-21"));
  engine_.Submit(Order("fine", "2026-05-31T20:00", "2026-06-29"));
  const auto ids = [&](const auto& change) {
    v1::ListUnderwayRequest request;
    change(request);
    std::vector<std::string> found;
    const auto answer = Underway(request);
    for (const auto& one : answer.orders()) found.push_back(one.order_id());
    return found;
  };
  EXPECT_THAT(ids([](auto&) {}), ElementsAre("late", "fine"));
  EXPECT_THAT(ids([](auto& r) { r.set_late_only(true); }), ElementsAre("late"));
  EXPECT_THAT(ids([](auto& r) { r.set_supplier("S"); }), SizeIs(2));
  EXPECT_THAT(ids([](auto& r) { r.set_supplier("T"); }), IsEmpty());
  const auto lane = [](auto& r) {
    r.mutable_lane()->set_origin("vn");
    r.mutable_lane()->set_destination("DE");
  };
  EXPECT_THAT(ids(lane), SizeIs(2));
  EXPECT_THAT(ids([&](auto& r) {
                lane(r);
                r.mutable_lane()->set_service("");
              }),
              IsEmpty())
      << "orders without a service";
}

TEST_F(UnderwayLists, ABadQuestionNamesItsField) {
  const auto underway = [&](const auto& change) {
    v1::ListUnderwayRequest request;
    change(request);
    v1::ListUnderwayResponse response;
    const absl::Status status = ListUnderway(engine_->Look(), request, &response);
    EXPECT_TRUE(absl::IsInvalidArgument(status)) << status;
    return std::string(status.message());
  };
  EXPECT_THAT(underway([](auto& r) { r.set_page_size(-1); }), StartsWith("page_size: "));
  EXPECT_THAT(underway([](auto& r) { r.set_page_token("!"); }), StartsWith("page_token: "));
  EXPECT_THAT(underway([](auto& r) { r.set_supplier("a/b"); }), StartsWith("supplier: "));
  EXPECT_THAT(underway([](auto& r) { r.mutable_lane()->set_origin("VN"); }),
              StartsWith("lane.destination: "));
  const auto claims = [&](const auto& change) {
    v1::ListClaimsRequest request;
    change(request);
    v1::ListClaimsResponse response;
    const absl::Status status = ListClaims(engine_->Look(), request, &response);
    EXPECT_TRUE(absl::IsInvalidArgument(status)) << status;
    return std::string(status.message());
  };
  EXPECT_THAT(claims([](auto& r) { r.set_page_size(-1); }), StartsWith("page_size: "));
  EXPECT_THAT(claims([](auto& r) { r.set_page_token("!"); }), StartsWith("page_token: "));
  EXPECT_THAT(claims([](auto& r) { r.set_supplier(" S"); }), StartsWith("supplier: "));
}

TEST_F(UnderwayLists, ATokenOfOrdersIsNoneOfClaims) {
  for (const char* id : {"0", "1"}) engine_.Submit(Order(id, "2026-05-20", "2026-05-29"));
  v1::ListUnderwayRequest underway;
  underway.set_page_size(1);
  v1::ListClaimsRequest claims;
  claims.set_page_token(Underway(underway).next_page_token());
  ASSERT_NE(claims.page_token(), "");
  v1::ListClaimsResponse response;
  EXPECT_TRUE(absl::IsInvalidArgument(ListClaims(engine_->Look(), claims, &response)));
}

TEST_F(UnderwayLists, ClaimsAreToldInFull) {
  engine_.Submit(Order("file", "2026-05-01", "2026-05-20").Delivered("2026-05-25"));
  engine_.Submit(Order("wait", "2026-05-01", "2026-05-20")
                     .Delivered("2026-05-18")
                     .Disputed("2026-05-22", Reason::kWrongItem)
                     .With([](Event& event) {
                       event.claim = Money{900, "EUR"};
                     }));
  engine_.Submit(Order("owed", "2026-05-01", "2026-05-20")
                     .Disputed("2026-05-22", Reason::kNotReceived)
                     .With([](Event& event) {
                       event.claim = Money{900, "EUR"};
                     })
                     .Refunded("2026-05-24")
                     .With([](Event& event) {
                       event.refund = Money{200, "EUR"};
                     }));
  engine_.Submit(Order("done", "2026-05-01", "2026-05-20")
                     .Disputed("2026-05-22", Reason::kOther)
                     .Answered("2026-05-24"));
  v1::ListClaimsRequest request;
  EXPECT_THAT(Claims(request).claims(), SizeIs(3));
  request.set_with_settled(true);
  request.set_page_size(3);
  const v1::ListClaimsResponse first = Claims(request);
  EXPECT_EQ(TimeOf(first.as_of_time()), "2026-06-01T12:00:00Z");
  ASSERT_THAT(first.claims(), SizeIs(3));
  const v1::Claim& file = first.claims(0);
  EXPECT_EQ(file.order_id(), "file");
  EXPECT_EQ(file.shop(), "harbour");
  EXPECT_EQ(file.part(), 1);
  EXPECT_EQ(file.supplier_id(), "S");
  EXPECT_EQ(file.lane().service(), "express");
  EXPECT_EQ(file.state(), v1::Claim::STATE_TO_FILE);
  EXPECT_EQ(file.reason(), v1::REASON_LATE);
  EXPECT_EQ(file.last_date(), "2026-06-14");
  EXPECT_EQ(file.days_left(), 13);
  EXPECT_FALSE(file.has_dispute_time() || file.has_waiting_days() || file.has_claimed() ||
               file.has_refunded() || file.has_owed());
  const v1::Claim& wait = first.claims(1);
  EXPECT_EQ(wait.order_id(), "wait");
  EXPECT_EQ(wait.state(), v1::Claim::STATE_UNANSWERED);
  EXPECT_EQ(wait.reason(), v1::REASON_WRONG_ITEM);
  EXPECT_EQ(TimeOf(wait.dispute_time()), "2026-05-22T00:00:00Z");
  EXPECT_EQ(wait.waiting_days(), 10.5);
  EXPECT_EQ(wait.owed().minor_units(), 900);
  EXPECT_EQ(wait.last_date(), "");
  EXPECT_FALSE(wait.has_days_left());
  const v1::Claim& owed = first.claims(2);
  EXPECT_EQ(owed.state(), v1::Claim::STATE_OWED);
  EXPECT_EQ(owed.claimed().minor_units(), 900);
  EXPECT_EQ(owed.refunded().minor_units(), 200);
  EXPECT_EQ(owed.owed().minor_units(), 700);
  EXPECT_FALSE(owed.has_waiting_days());
  request.set_page_token(first.next_page_token());
  const v1::ListClaimsResponse second = Claims(request);
  ASSERT_THAT(second.claims(), SizeIs(1));
  EXPECT_EQ(second.claims(0).order_id(), "done");
  EXPECT_EQ(second.claims(0).state(), v1::Claim::STATE_SETTLED);
  EXPECT_EQ(second.next_page_token(), "");
}

}  // namespace
}  // namespace plumblane
