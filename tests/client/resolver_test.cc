// Tracking numbers and bare dates: resolver.h.

#include "client/resolver.h"

#include <gmock/gmock.h>

#include "client/support.h"
#include "client/text.h"

namespace plumblane::client {
namespace {

using Fields = std::vector<std::string>;

class ResolverTest : public testing::Test {
 protected:
  // A draft of a row; `fields` in turns of name and value.
  static Draft DraftOf(int64_t line, Fields fields) {
    fields.insert(fields.end(), {"event_id", "e" + std::to_string(line)});
    Row row = RowOf(fields);
    row.line = line;
    Draft draft;
    const std::optional<Complaint> complaint = ReadEvent(row, {}, draft);
    EXPECT_FALSE(complaint) << complaint->message;
    return draft;
  }

  Resolver MakeResolver(size_t kept = 1000) {
    return Resolver(
        &zones_,
        [this](const auto& request, auto* response) {
          ++questions_;
          asked_ = request;
          *response = answer_;
          return status_;
        },
        kept);
  }

  void Answer(const std::string& order_id, const std::string& destination) {
    auto& answer = *answer_.add_answers();
    answer.set_shop("harbour");
    answer.set_order_id(order_id);
    answer.set_part(2);
    answer.set_destination(destination);
  }

  static std::string TimeOf(const Draft& draft) {
    return FormatInstant(ToInstant(draft.event.event_time()));
  }

  const Zones zones_ = *Zones::Load("Europe/Berlin");
  v1::LookUpOrdersRequest asked_;
  v1::LookUpOrdersResponse answer_;
  grpc::Status status_;
  int questions_ = 0;
  std::vector<Draft> ready_;
  std::vector<Rejection> rejected_;
};

TEST_F(ResolverTest, NothingOpenPassesAtOnce) {
  Resolver resolver = MakeResolver();
  EXPECT_TRUE(resolver.Take(
      DraftOf(1, {"order_id", "1", "type", "shipped", "time", "2026-03-05T00:00:00Z"})));
  EXPECT_EQ(questions_, 0);
}

TEST_F(ResolverTest, BareDatesFollowTheDestinationOnTheLine) {
  Resolver resolver = MakeResolver();
  const auto draft =
      resolver.Take(DraftOf(1, {"order_id", "1", "type", "paid", "time", "2026-03-05", "promise",
                                "2026-03-20", "destination", "NZ"}));
  ASSERT_TRUE(draft);
  // New Zealand's last zone to end its day is 12 h or 13 h ahead.
  EXPECT_EQ(TimeOf(*draft), "2026-03-04T11:00:00Z");
  EXPECT_EQ(FormatInstant(ToInstant(draft->event.promise_time())), "2026-03-20T10:59:59.999Z");
}

TEST_F(ResolverTest, BareDatesFollowTheDestinationSaidEarlier) {
  Resolver resolver = MakeResolver();
  EXPECT_TRUE(resolver.Take(DraftOf(
      1, {"order_id", "1", "type", "paid", "time", "2026-03-05T00:00:00Z", "destination", "SE"})));
  const auto draft =
      resolver.Take(DraftOf(2, {"order_id", "1", "type", "shipped", "time", "2026-07-05"}));
  ASSERT_TRUE(draft);
  EXPECT_EQ(TimeOf(*draft), "2026-07-04T22:00:00Z");
}

TEST_F(ResolverTest, DestinationIsAskedForByOrder) {
  Resolver resolver = MakeResolver();
  Answer("1", "JP");
  EXPECT_FALSE(resolver.Take(DraftOf(1, {"order_id", "1", "shop", "harbour", "part", "2", "type",
                                         "shipped", "time", "2026-07-05"})));
  EXPECT_EQ(resolver.first_waiting_line(), 1);
  ASSERT_TRUE(resolver.Settle(&ready_, &rejected_).ok());
  EXPECT_EQ(asked_.ShortDebugString(),
            "questions { order { shop: \"harbour\" order_id: \"1\" part: 2 } }");
  ASSERT_EQ(ready_.size(), 1u);
  EXPECT_EQ(TimeOf(ready_[0]), "2026-07-04T15:00:00Z");
  EXPECT_EQ(resolver.waiting(), 0u);
}

TEST_F(ResolverTest, DestinationThatNobodyKnowsHasTheFallbackZone) {
  Resolver resolver = MakeResolver();
  EXPECT_FALSE(
      resolver.Take(DraftOf(1, {"order_id", "1", "type", "shipped", "time", "2026-01-05"})));
  ASSERT_TRUE(resolver.Settle(&ready_, &rejected_).ok());  // the answer is empty
  EXPECT_EQ(TimeOf(ready_.at(0)), "2026-01-04T23:00:00Z");
}

TEST_F(ResolverTest, TrackingIsFoundAmongEarlierLines) {
  Resolver resolver = MakeResolver();
  EXPECT_TRUE(
      resolver.Take(DraftOf(1, {"order_id", "77", "part", "3", "shop", "meadow", "type", "shipped",
                                "time", "2026-03-05T00:00:00Z", "tracking", "AG1"})));
  const auto draft = resolver.Take(
      DraftOf(2, {"type", "delivered", "time", "2026-03-09T00:00:00Z", "tracking", "AG1"}));
  ASSERT_TRUE(draft);
  EXPECT_EQ(draft->event.shop() + "/" + draft->event.order_id(), "meadow/77");
  EXPECT_EQ(draft->event.part(), 3);
  EXPECT_EQ(questions_, 0);
}

TEST_F(ResolverTest, TrackingIsFoundAmongLaterLines) {
  Resolver resolver = MakeResolver();
  EXPECT_FALSE(resolver.Take(
      DraftOf(1, {"type", "delivered", "time", "2026-03-09T00:00:00Z", "tracking", "AG1"})));
  EXPECT_TRUE(resolver.Take(DraftOf(2, {"order_id", "77", "type", "shipped", "time",
                                        "2026-03-05T00:00:00Z", "tracking", "AG1"})));
  ASSERT_TRUE(resolver.Settle(&ready_, &rejected_).ok());
  EXPECT_EQ(ready_.at(0).event.order_id(), "77");
  EXPECT_EQ(questions_, 0);
}

TEST_F(ResolverTest, TrackingAndItsDayAreAskedForTogether) {
  Resolver resolver = MakeResolver();
  Answer("77", "JP");
  EXPECT_FALSE(
      resolver.Take(DraftOf(1, {"type", "delivered", "time", "2026-03-09", "tracking", "AG1"})));
  ASSERT_TRUE(resolver.Settle(&ready_, &rejected_).ok());
  EXPECT_EQ(asked_.ShortDebugString(), "questions { tracking: \"AG1\" }");
  EXPECT_EQ(ready_.at(0).event.shop() + "/" + ready_[0].event.order_id(), "harbour/77");
  EXPECT_EQ(ready_[0].event.part(), 2);
  EXPECT_EQ(TimeOf(ready_[0]), "2026-03-08T15:00:00Z");
}

TEST_F(ResolverTest, UnknownTrackingIsRejected) {
  Resolver resolver = MakeResolver();
  EXPECT_FALSE(resolver.Take(
      DraftOf(5, {"type", "delivered", "time", "2026-03-09T00:00:00Z", "tracking", "AG9"})));
  ASSERT_TRUE(resolver.Settle(&ready_, &rejected_).ok());
  ASSERT_EQ(rejected_.size(), 1u);
  EXPECT_EQ(rejected_[0].line, 5);
  EXPECT_EQ(rejected_[0].complaint.code, "UNKNOWN_TRACKING");
  EXPECT_EQ(rejected_[0].complaint.message,
            "no `shipped` has named \"AG9\" yet; send that first, or name the order");
}

TEST_F(ResolverTest, TrackingOfAnotherShopIsRejected) {
  Resolver resolver = MakeResolver();
  Answer("77", "JP");
  EXPECT_FALSE(resolver.Take(DraftOf(5, {"type", "delivered", "time", "2026-03-09T00:00:00Z",
                                         "tracking", "AG1", "shop", "meadow"})));
  ASSERT_TRUE(resolver.Settle(&ready_, &rejected_).ok());
  EXPECT_EQ(rejected_.at(0).complaint.field, "shop");
  EXPECT_EQ(rejected_[0].complaint.message, "tracking \"AG1\" belongs to shop \"harbour\"");
}

TEST_F(ResolverTest, WhatIsForgottenMustBeSentFirst) {
  Resolver resolver = MakeResolver(/*kept=*/2);
  for (int64_t line = 1; line <= 5; ++line) {
    const std::string number = std::to_string(line);
    EXPECT_TRUE(resolver.Take(DraftOf(line, {"order_id", number, "type", "shipped", "time",
                                             "2026-03-05T00:00:00Z", "tracking", "AG" + number})));
  }
  EXPECT_FALSE(resolver.must_flush());  // nothing to ask
  EXPECT_FALSE(resolver.Take(
      DraftOf(6, {"type", "delivered", "time", "2026-03-09T00:00:00Z", "tracking", "AG1"})));
  EXPECT_TRUE(resolver.must_flush());
}

TEST_F(ResolverTest, FailedQuestionKeepsAllThatWaits) {
  Resolver resolver = MakeResolver();
  status_ = grpc::Status(grpc::StatusCode::UNAVAILABLE, "gone");
  EXPECT_FALSE(resolver.Take(
      DraftOf(3, {"type", "delivered", "time", "2026-03-09T00:00:00Z", "tracking", "AG1"})));
  EXPECT_FALSE(resolver.Settle(&ready_, &rejected_).ok());
  EXPECT_EQ(resolver.first_waiting_line(), 3);
}

TEST_F(ResolverTest, RevisionDateNeedsNoDestination) {
  Resolver resolver = MakeResolver();
  const auto draft = resolver.Take(DraftOf(1, {"order_id", "1", "type", "shipped", "time",
                                               "2026-03-05T00:00:00Z", "revision", "2026-03-06"}));
  ASSERT_TRUE(draft);
  EXPECT_EQ(FormatInstant(ToInstant(draft->event.revision_time())), "2026-03-05T23:00:00Z");
}

}  // namespace
}  // namespace plumblane::client
