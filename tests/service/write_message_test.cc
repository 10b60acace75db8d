// A notice as it is sent out, and deliveries in the API's words.
#include "service/write_message.h"

#include <gmock/gmock.h>
#include <google/protobuf/util/json_util.h>
#include <gtest/gtest.h>
#include <plumblane/v1/alerts.pb.h>

#include "service/write_delivery.h"

namespace plumblane {
namespace {

using ::testing::HasSubstr;

AlertNotice Raised() {
  AlertNotice notice;
  notice.alert_id = "ab12";
  notice.time = {1'790'000'040'000};
  notice.key = {"", "VN", "DE", AlertMeasure::kOnTime};
  notice.facts.changed = Day{20'700};
  notice.facts.opened = Day{20'710};
  notice.facts.orders = 41;
  notice.facts.hits = 9;
  return notice;
}

Message Sent(const AlertNotice& last) {
  AlertsTold told;
  EXPECT_TRUE(told.Take(Raised()));
  EXPECT_TRUE(told.Take(last));
  return MessageOf("harbour", 17, last, told.by_id.at("ab12"));
}

TEST(MessageOf, SaysWhoWhatAndWhenAndHasTheNoticeAsData) {
  const Message message = Sent(Raised());
  EXPECT_EQ(message.cursor, 17);
  EXPECT_EQ(message.source, "harbour");
  EXPECT_EQ(message.id, "17-ab12");
  EXPECT_EQ(message.type, "plumblane.alert.raised");
  EXPECT_EQ(message.subject, "lane VN-DE");
  EXPECT_EQ(message.headline, "lane VN-DE: raised");
  EXPECT_EQ(message.time, Raised().time);
  v1::AlertNotice data;
  ASSERT_TRUE(google::protobuf::util::JsonStringToMessage(message.data, &data).ok());
  EXPECT_EQ(data.cursor(), 17);
  EXPECT_EQ(data.kind(), v1::AlertNotice::KIND_RAISED);
  EXPECT_EQ(data.alert().alert_id(), "ab12");
  EXPECT_THAT(message.text, HasSubstr(data.alert().sentence() + "\n"));
  EXPECT_THAT(message.text, HasSubstr("Advice: " + data.alert().advice() + "\n"));
  EXPECT_THAT(message.text, HasSubstr("Alert: ab12\n"));
}

TEST(MessageOf, EveryKindHasATypeOfItsOwn) {
  using Kind = AlertNotice::Kind;
  const std::pair<Kind, const char*> rows[] = {
      {Kind::kRevised, "revised"},           {Kind::kReturned, "returned_to_normal"},
      {Kind::kAcknowledged, "acknowledged"}, {Kind::kShelved, "shelved"},
      {Kind::kAccepted, "accepted"},         {Kind::kActiveAgain, "active_again"}};
  for (const auto& [kind, name] : rows) {
    AlertNotice notice = Raised();
    notice.kind = kind;
    notice.day = Day{20'720};
    notice.note = "asked the carrier";
    EXPECT_EQ(Sent(notice).type, std::string("plumblane.alert.") + name);
  }
}

TEST(WriteDelivery, SaysHowFarItHasComeAndWhatComesNext) {
  RouteState state;
  state.name = "webhook";
  state.handled = 16;
  state.backlog = 3;
  state.refused = 2;
  const auto written = [&state] {
    v1::Delivery delivery;
    WriteDelivery(state, &delivery);
    return delivery;
  };
  EXPECT_EQ(written().state(), v1::Delivery::STATE_OK);
  state.next_attempt = Instant{1'790'000'060'000};
  state.attempts.push_front({Instant{1'790'000'000'000}, 16, 1, {}});
  state.attempts.push_front(
      {Instant{1'790'000'040'000},
       19,
       3,
       {.kind = SendResult::Kind::kFailed, .code = 503, .detail = "answered 503"}});
  const v1::Delivery waiting = written();
  EXPECT_EQ(waiting.state(), v1::Delivery::STATE_WAITING);
  EXPECT_EQ(waiting.sink(), "webhook");
  EXPECT_EQ(waiting.handled_cursor(), 16);
  EXPECT_EQ(waiting.backlog_count(), 3);
  EXPECT_EQ(waiting.refused_count(), 2);
  EXPECT_EQ(waiting.next_attempt_time().seconds(), 1'790'000'060);
  ASSERT_EQ(waiting.attempts_size(), 2);
  EXPECT_EQ(waiting.attempts(0).ShortDebugString(),
            "attempt_time { seconds: 1790000040 } cursor: 19 notice_count: 3 outcome: "
            "OUTCOME_FAILED code: 503 detail: \"answered 503\"");
  EXPECT_EQ(waiting.attempts(1).outcome(), v1::DeliveryAttempt::OUTCOME_DELIVERED);
  state.stopped = true;
  EXPECT_EQ(written().state(), v1::Delivery::STATE_STOPPED);
}

}  // namespace
}  // namespace plumblane
