// The logic of the handlers, without a server: lists page by page, orders looked up, excuses given
// and
// taken back; and the words of receipts.
#include "service/query_services.h"
#include "service/sourcing_service.h"

#include <absl/strings/escaping.h>
#include <absl/strings/str_cat.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <limits>
#include <vector>

#include "service/service_support.h"
#include "service/write_answer.h"

namespace plumblane {
namespace {

using test::At;
using test::On;
using test::OrderBuilder;
using test::RunningEngine;
using test::Stamp;
using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;
using ::testing::SizeIs;

OrderBuilder OrderOf(const std::string& supplier, const std::string& origin,
                     const std::string& id) {
  OrderBuilder order({"default", id});
  order.Paid("2026-03-01").With([&](Event& e) {
    e.supplier = supplier;
    e.origin = origin;
  });
  return order.Promised("2026-03-10").Shipped("2026-03-02").Delivered("2026-03-08");
}

using Collection = v1::ListScoresRequest::Collection;
constexpr auto kSuppliers = v1::ListScoresRequest::COLLECTION_SUPPLIERS;
constexpr auto kLanes = v1::ListScoresRequest::COLLECTION_LANES;

// Eleven suppliers on eleven lanes.
class Lists : public ::testing::Test {
 protected:
  Lists() {
    for (int i = 0; i < 11; ++i) {
      // Names that begin like one another, so that the page's edge must be exact.
      names_.push_back(
          absl::StrCat("S", std::string(static_cast<size_t>(i % 3), ' '), i % 4 ? "" : "x", i));
      lanes_.push_back(absl::StrCat("A", i, "-DE"));
      engine_.Submit(OrderOf(names_.back(), absl::StrCat("A", i), absl::StrCat(i)));
    }
    std::sort(names_.begin(), names_.end());
    std::sort(lanes_.begin(), lanes_.end());
  }

  absl::Status List(const v1::ListScoresRequest& request, v1::ListScoresResponse* response) {
    const View view = engine_->Look();
    return ListScores(view, request, LatestAskable(*engine_, view), response);
  }
  static v1::ListScoresRequest Request(Collection collection, int page_size = 0) {
    v1::ListScoresRequest request;
    request.set_collection(collection);
    request.set_page_size(page_size);
    return request;
  }
  // All pages, one after the other; checks that each but the last is full.
  std::vector<v1::Score> AllPages(v1::ListScoresRequest request) {
    std::vector<v1::Score> all;
    for (;;) {
      v1::ListScoresResponse page;
      const absl::Status status = List(request, &page);
      EXPECT_TRUE(status.ok()) << status;
      all.insert(all.end(), page.scores().begin(), page.scores().end());
      if (page.next_page_token().empty()) return all;
      EXPECT_THAT(page.scores(), SizeIs(request.page_size()));
      request.set_page_token(page.next_page_token());
    }
  }
  std::string WhyNot(const v1::ListScoresRequest& request) {
    v1::ListScoresResponse response;
    const absl::Status status = List(request, &response);
    EXPECT_TRUE(absl::IsInvalidArgument(status)) << status;
    EXPECT_THAT(response.scores(), IsEmpty());
    return std::string(status.message());
  }
  std::string FirstToken(const v1::ListScoresRequest& request) {
    v1::ListScoresResponse response;
    EXPECT_TRUE(List(request, &response).ok());
    EXPECT_FALSE(response.next_page_token().empty());
    return response.next_page_token();
  }

  std::vector<std::string> names_, lanes_;
  RunningEngine engine_;
};

TEST_F(Lists, PagesOfAnySizeAddUpToTheWhole) {
  for (const Collection collection : {kSuppliers, kLanes}) {
    std::vector<std::string> expected;
    for (const std::string& name : collection == kSuppliers ? names_ : lanes_) {
      expected.push_back((collection == kSuppliers ? "suppliers/" : "lanes/") + name);
    }
    const std::vector<v1::Score> whole = AllPages(Request(collection));
    for (const int size : {1, 2, 3, 5, 10, 11, 12, 1000, 5000}) {
      const std::vector<v1::Score> pages = AllPages(Request(collection, size));
      std::vector<std::string> names;
      for (const v1::Score& score : pages) names.push_back(score.name());
      EXPECT_EQ(names, expected) << size << " a page";
      ASSERT_EQ(pages.size(), whole.size());
      for (size_t i = 0; i < whole.size(); ++i) {
        EXPECT_EQ(pages[i].on_time().order_count(), whole[i].on_time().order_count());
        EXPECT_EQ(pages[i].on_time().order_count(), 1);
      }
    }
  }
}

TEST_F(Lists, ScoresInAListHaveNoPairs) {
  for (const v1::Score& score : AllPages(Request(kSuppliers)))
    EXPECT_THAT(score.pairs(), IsEmpty());
}

TEST_F(Lists, ATokenGoesOnlyWithTheQuestionItWasGivenFor) {
  v1::ListScoresRequest request = Request(kSuppliers, 2);
  const std::string token = FirstToken(request);
  constexpr char kForeign[] = "page_token: expected the token of the page before this one";
  v1::ListScoresRequest other = Request(kLanes, 2);
  other.set_page_token(token);
  EXPECT_THAT(WhyNot(other), HasSubstr(kForeign));
  other = request;
  other.set_page_token(token);
  other.mutable_half_life()->set_seconds(86'400);
  EXPECT_THAT(WhyNot(other), HasSubstr(kForeign));
  other = request;
  other.set_page_token(token);
  Stamp("2026-04-01", other.mutable_as_of_time());
  EXPECT_THAT(WhyNot(other), HasSubstr(kForeign));
  other = request;
  other.set_page_token(token);
  other.set_rate_mode(v1::RATE_MODE_AVERAGE);
  EXPECT_THAT(WhyNot(other), HasSubstr(kForeign));
  // Another page size is the same question.
  other = request;
  other.set_page_token(token);
  other.set_page_size(5);
  v1::ListScoresResponse response;
  EXPECT_TRUE(List(other, &response).ok());
  EXPECT_EQ(response.scores(0).name(), "suppliers/" + names_[2]);
}

TEST_F(Lists, WhatIsNoTokenIsRefused) {
  v1::ListScoresRequest request = Request(kSuppliers, 2);
  const std::string token = FirstToken(request);
  for (const std::string& wrong : {std::string("x"), std::string("!!!"), token.substr(1),
                                   token.substr(0, token.size() - 4), token + token}) {
    request.set_page_token(wrong);
    EXPECT_THAT(WhyNot(request), HasSubstr("page_token: ")) << wrong;
  }
}

TEST_F(Lists, BadQuestionsAreRefused) {
  EXPECT_THAT(WhyNot(Request(kSuppliers, -1)), HasSubstr("page_size: expected 0 to 1,000"));
  EXPECT_THAT(WhyNot(Request(v1::ListScoresRequest::COLLECTION_UNSPECIFIED)),
              HasSubstr("collection: expected suppliers or lanes"));
  EXPECT_THAT(WhyNot(Request(static_cast<Collection>(7))), HasSubstr("collection: "));
  v1::ListScoresRequest request = Request(kSuppliers);
  Stamp("2026-06-02T12:01", request.mutable_as_of_time());
  EXPECT_THAT(WhyNot(request), HasSubstr("as_of_time: "));
  request = Request(kLanes);
  for (const int64_t seconds :
       {int64_t{0}, int64_t{3599}, int64_t{-86'400}, std::numeric_limits<int64_t>::max()}) {
    request.mutable_half_life()->set_seconds(seconds);
    EXPECT_THAT(WhyNot(request), HasSubstr("half_life: expected 1 hour to 100 years")) << seconds;
  }
}

TEST_F(Lists, RankingTellsTheBestOfAll) {
  const View view = engine_->Look();
  const Instant latest = LatestAskable(*engine_, view);
  v1::RankSuppliersRequest request;
  request.set_destination("DE");
  request.set_limit(100);
  v1::RankSuppliersResponse all;
  ASSERT_TRUE(RankSuppliers(view, request, latest, &all).ok());
  ASSERT_GT(all.candidates_size(), 2);
  EXPECT_EQ(all.candidate_count(), all.candidates_size());
  request.set_limit(2);
  v1::RankSuppliersResponse two;
  ASSERT_TRUE(RankSuppliers(view, request, latest, &two).ok());
  ASSERT_THAT(two.candidates(), SizeIs(2));
  EXPECT_EQ(two.candidate_count(), all.candidate_count());
  for (int i = 0; i < 2; ++i) {
    EXPECT_EQ(two.candidates(i).SerializeAsString(), all.candidates(i).SerializeAsString());
  }
  request.set_limit(-1);
  EXPECT_THAT(std::string(RankSuppliers(view, request, latest, &two).message()),
              HasSubstr("limit: expected 0 to 1,000"));
}

TEST_F(Lists, RankingTellsTenUnlessAskedForMoreOrFewer) {
  for (int i = 0; i < 30; ++i) {
    engine_.Submit(OrderOf(absl::StrCat("many ", i), "VN", absl::StrCat("many ", i)));
  }
  const View view = engine_->Look();
  v1::RankSuppliersRequest request;
  request.set_destination("DE");
  const auto told = [&](int limit) {
    request.set_limit(limit);
    v1::RankSuppliersResponse response;
    EXPECT_TRUE(RankSuppliers(view, request, LatestAskable(*engine_, view), &response).ok());
    EXPECT_GE(response.candidate_count(), 30);
    return response.candidates_size();
  };
  EXPECT_EQ(told(0), 10);
  EXPECT_EQ(told(25), 25);
}

TEST(LatestAskable, IsTheWallClockOrTheLatestEventWhicheverIsLater) {
  RunningEngine wall;
  EXPECT_EQ(LatestAskable(*wall, wall->Look()), At("2026-06-01T12:00"));
  EngineOptions options;
  options.clock_mode = ClockMode::kEvents;
  RunningEngine events(options);
  events.Submit(OrderOf("lotus", "VN", "1"));
  EXPECT_EQ(LatestAskable(*events, events->Look()), At("2026-06-01T12:00"));
  events.clock().Set(At("2026-01-01"));  // a clock that was set back
  EXPECT_EQ(LatestAskable(*events, events->Look()), At("2026-03-08"));
}

class LookUps : public ::testing::Test {
 protected:
  LookUps() {
    OrderBuilder order({"harbour", "1042"});
    order.Paid("2026-03-01").Shipped("2026-03-02").With([](Event& e) { e.tracking = "TRK1"; });
    order.Part(2).Shipped("2026-03-03").With([](Event& e) { e.tracking = "TRK2"; });
    engine_.Submit(order);
    OrderBuilder plain({"default", "7"});
    engine_.Submit(plain.Paid("2026-03-01"));
  }
  void ByTracking(const std::string& tracking) { request_.add_questions()->set_tracking(tracking); }
  void ByName(const std::string& shop, const std::string& order_id, int part) {
    v1::OrderName* order = request_.add_questions()->mutable_order();
    order->set_shop(shop);
    order->set_order_id(order_id);
    order->set_part(part);
  }
  // "shop/order#part destination" for each answer, "" for what is unknown.
  std::vector<std::string> Answers() {
    v1::LookUpOrdersResponse response;
    const absl::Status status = LookUpOrders(engine_->Look(), request_, &response);
    EXPECT_TRUE(status.ok()) << status;
    std::vector<std::string> words;
    for (const auto& answer : response.answers()) {
      words.push_back(answer.order_id().empty()
                          ? ""
                          : absl::StrCat(FormatOrder({answer.shop(), answer.order_id()}), "#",
                                         answer.part(), " ", answer.destination()));
    }
    return words;
  }

  RunningEngine engine_;
  v1::LookUpOrdersRequest request_;
};

TEST_F(LookUps, AnswerInTheOrderAskedUnknownOnesToo) {
  ByTracking("TRK2");
  ByTracking("TRK");
  ByName("harbour", "1042", 1);
  ByTracking("TRK1");
  ByName("harbour", "1042", 3);
  ByName("harbour", "7", 1);
  EXPECT_THAT(Answers(),
              ElementsAre("harbour/1042#2 ", "", "harbour/1042#1 DE", "harbour/1042#1 DE", "", ""));
}

TEST_F(LookUps, ShopAndPartHaveDefaults) {
  ByName("", "7", 0);
  ByName("default", "7", 1);
  EXPECT_THAT(Answers(), ElementsAre("default/7#1 DE", "default/7#1 DE"));
}

TEST_F(LookUps, AnEmptyQuestionIsUnknownNotAnError) {
  request_.add_questions();
  ByTracking("");
  ByName("", "", 0);
  EXPECT_THAT(Answers(), ElementsAre("", "", ""));
}

TEST_F(LookUps, UpToAThousandAtATime) {
  for (int i = 0; i < 1000; ++i) ByTracking("TRK1");
  EXPECT_THAT(Answers(), SizeIs(1000));
  ByTracking("TRK1");
  v1::LookUpOrdersResponse response;
  EXPECT_TRUE(absl::IsInvalidArgument(LookUpOrders(engine_->Look(), request_, &response)));
  EXPECT_THAT(response.answers(), IsEmpty());
}

class Excuses : public ::testing::Test {
 protected:
  static v1::CreateExcuseRequest Request(const std::string& id, const std::string& order_id,
                                         const std::string& reason = "our mistake") {
    v1::CreateExcuseRequest request;
    request.mutable_excuse()->set_excuse_id(id);
    request.mutable_excuse()->mutable_order()->set_order_id(order_id);
    request.mutable_excuse()->set_reason(reason);
    return request;
  }
  absl::StatusOr<Excuse> Create(const v1::CreateExcuseRequest& request) {
    auto excuse = ExcuseToCreate(engine_->Look(), request);
    if (excuse.ok()) engine_.Forgive(*excuse);
    return excuse;
  }

  RunningEngine engine_;
};

TEST_F(Excuses, ANewOneIsWhatWasAsked) {
  const Excuse excuse = Create(Request("x", "1042")).value();
  EXPECT_EQ(excuse, (Excuse{"x", ExcusedOrder{{"default", "1042"}, 1}, "our mistake"}));
  EXPECT_TRUE(absl::IsInvalidArgument(Create(Request("x", "a/b")).status()));
}

TEST_F(Excuses, AnIdThatAnotherHasIsTaken) {
  ASSERT_TRUE(Create(Request("x", "1042")).ok());
  const absl::Status taken = Create(Request("x", "1043")).status();
  EXPECT_TRUE(absl::IsAlreadyExists(taken));
  EXPECT_THAT(std::string(taken.message()), HasSubstr("excuse_id x is taken"));
}

TEST_F(Excuses, TheSameAgainIsNoConflictAndMayGiveAnotherReason) {
  ASSERT_TRUE(Create(Request("x", "1042")).ok());
  EXPECT_TRUE(Create(Request("x", "1042")).ok());
  EXPECT_EQ(Create(Request("x", "1042", "port strike"))->reason, "port strike");
}

TEST_F(Excuses, AWithdrawnOneLeavesItsIdFree) {
  ASSERT_TRUE(Create(Request("x", "1042")).ok());
  const Excuse withdrawn = ExcuseToWithdraw(engine_->Look(), "x").value();
  EXPECT_EQ(withdrawn, (Excuse{"x", ExcusedOrder{{"default", "1042"}, 1}, "our mistake", true}));
  engine_.Forgive(withdrawn);
  EXPECT_TRUE(ExcuseToWithdraw(engine_->Look(), "x").ok());  // twice is as once
  const auto again = Create(Request("x", "1043"));
  ASSERT_TRUE(again.ok()) << again.status();
  EXPECT_FALSE(again->withdrawn);
}

TEST_F(Excuses, AnUnknownOneCannotBeWithdrawn) {
  const absl::Status unknown = ExcuseToWithdraw(engine_->Look(), "x").status();
  EXPECT_TRUE(absl::IsNotFound(unknown));
  EXPECT_THAT(std::string(unknown.message()), HasSubstr("there is no excuse x"));
}

TEST(WriteExcuse, SaysWhatWasLogged) {
  v1::Excuse order, lane;
  WriteExcuse({"x", ExcusedOrder{{"harbour", "1042"}, 2}, "our mistake", true}, &order);
  EXPECT_EQ(order.ShortDebugString(),
            "excuse_id: \"x\" order { shop: \"harbour\" order_id: \"1042\" part: 2 } "
            "reason: \"our mistake\" withdrawn: true");
  WriteExcuse({"y", ExcusedDays{{"VN", "DE", ""}, On("2026-03-05"), On("2026-03-09")}, "strike"},
              &lane);
  EXPECT_EQ(
      lane.ShortDebugString(),
      "excuse_id: \"y\" lane_days { lane { origin: \"VN\" destination: \"DE\" service: \"\" } "
      "first_due_date: \"2026-03-05\" last_due_date: \"2026-03-09\" } reason: \"strike\"");
}

TEST(WriteFate, SpeaksOnlyOfWhatIsNotSimplyTakenOrARepeat) {
  using Kind = EventFate::Kind;
  const auto said = [](Kind kind, const char* message = "") {
    const auto result = WriteFate(7, {kind, message});
    if (!result) return std::string("nothing");
    EXPECT_EQ(result->index(), 7);
    EXPECT_FALSE(result->message().empty());
    return absl::StrCat(v1::EventResult::Outcome_Name(result->outcome()), " ", result->code(), " ",
                        result->field());
  };
  EXPECT_EQ(said(Kind::kAccepted), "nothing");
  EXPECT_EQ(said(Kind::kDuplicate), "nothing");
  EXPECT_EQ(said(Kind::kContradiction, "shipped before paid"),
            "OUTCOME_CONTRADICTION CONTRADICTION ");
  EXPECT_EQ(said(Kind::kConflict), "OUTCOME_CONFLICT ID_CONFLICT event_id");
  EXPECT_EQ(said(Kind::kOrderFull), "OUTCOME_REJECTED ORDER_FULL order_id");
  EXPECT_EQ(said(Kind::kNotKept), "OUTCOME_NOT_KEPT ORDER_NOT_KEPT order_id");
  EXPECT_EQ(said(Kind::kWaiting), "OUTCOME_WAITING UNKNOWN_RETRACTED retracts");
  EXPECT_EQ(WriteFate(0, {Kind::kContradiction, "shipped before paid"})->message(),
            "shipped before paid");
}

TEST(WriteTime, SplitsMillisecondsIntoSecondsAndNanos) {
  google::protobuf::Timestamp time;
  WriteTime({1'772'719'200'007}, &time);
  EXPECT_EQ(time.seconds(), 1'772'719'200);
  EXPECT_EQ(time.nanos(), 7'000'000);
  google::protobuf::Duration duration;
  WriteDuration(59.7450498101, &duration);
  EXPECT_EQ(duration.seconds(), 59);
  EXPECT_EQ(duration.nanos(), 745'000'000);
  WriteDuration(0.9996, &duration);  // rounds up to a whole second
  EXPECT_EQ(duration.seconds(), 1);
  EXPECT_EQ(duration.nanos(), 0);
}

}  // namespace
}  // namespace plumblane
