// What a source says of itself, over a real server.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "service/intake_support.h"

namespace plumblane {
namespace {

using test::At;
using test::Client;
using test::Intake;
using test::Stamp;
using ::testing::HasSubstr;
using ::testing::IsEmpty;

class News : public Intake {
 protected:
  grpc::Status Report(const v1::ReportNewsRequest& request) {
    grpc::ClientContext context;
    return stub_->ReportNews(&context, request, &response_);
  }
  std::string WhyNot(const v1::ReportNewsRequest& request) {
    const grpc::Status status = Report(request);
    EXPECT_EQ(status.error_code(), grpc::INVALID_ARGUMENT);
    return status.error_message();
  }
  Source SourceNamed(const std::string& name) {
    const View view = engine_->Look();
    const auto it = view.catalog().sources.find(name);
    EXPECT_NE(it, view.catalog().sources.end()) << name;
    return it == view.catalog().sources.end() ? Source{} : it->second;
  }

  std::unique_ptr<v1::Intake::Stub> stub_ = v1::Intake::NewStub(Client::Connect(address()));
  v1::ReportNewsResponse response_;
};

TEST_F(News, IsLoggedBeforeItIsAnswered) {
  v1::ReportNewsRequest request;
  request.set_source("feed");
  Stamp("2026-05-31", request.mutable_complete_through_time());
  ASSERT_TRUE(Report(request).ok());
  EXPECT_EQ(response_.log_sequence(), 1);
  EXPECT_TRUE(SourceNamed("feed").periodic);
  EXPECT_EQ(SourceNamed("feed").complete_through, At("2026-05-31"));
  EXPECT_EQ(response_.complete_through_time().seconds(), At("2026-05-31").millis / 1000);
  // An earlier moment moves nothing back, and the answer says what holds.
  Stamp("2026-05-01", request.mutable_complete_through_time());
  ASSERT_TRUE(Report(request).ok());
  EXPECT_EQ(response_.complete_through_time().seconds(), At("2026-05-31").millis / 1000);
  request.set_retired(true);
  ASSERT_TRUE(Report(request).ok());
  EXPECT_EQ(response_.log_sequence(), 3);
  EXPECT_TRUE(SourceNamed("feed").retired);
  request.set_live(true);
  ASSERT_TRUE(Report(request).ok());
  EXPECT_FALSE(SourceNamed("feed").retired);
  EXPECT_FALSE(SourceNamed("feed").periodic);
}

TEST_F(News, WithoutASourceIsThatOfTheDefaultOne) {
  v1::ReportNewsRequest request;
  request.set_live(true);
  ASSERT_TRUE(Report(request).ok());
  EXPECT_FALSE(SourceNamed("default").periodic);
}

TEST_F(News, ThatIsWrongIsRefusedAndNotLogged) {
  v1::ReportNewsRequest request;
  EXPECT_THAT(WhyNot(request), HasSubstr("expected complete_through_time, live or retired"));
  request.set_live(false);
  EXPECT_THAT(WhyNot(request), HasSubstr("expected complete_through_time, live or retired"));
  Stamp("2026-06-02T12:00:01", request.mutable_complete_through_time());
  EXPECT_THAT(WhyNot(request), HasSubstr("complete_through_time: 2026-06-02T12:00:01Z lies more"));
  request.mutable_complete_through_time()->set_seconds(-1);
  EXPECT_THAT(WhyNot(request), HasSubstr("in the years 1970 to 9999"));
  request.set_live(true);
  request.set_source("a/b");
  EXPECT_THAT(WhyNot(request), HasSubstr("source: expected 1 to 64"));
  EXPECT_EQ(engine_->Look().catalog().log_sequence, 0u);
  EXPECT_THAT(engine_->Look().catalog().sources, IsEmpty());
}

TEST_F(News, UpToADayAheadIsTaken) {
  v1::ReportNewsRequest request;
  Stamp("2026-06-02T12:00", request.mutable_complete_through_time());
  EXPECT_TRUE(Report(request).ok());
}

TEST_F(News, AfterAFailedWriteIsUnavailable) {
  store_.Break();
  v1::ReportNewsRequest request;
  request.set_live(true);
  EXPECT_EQ(Report(request).error_code(), grpc::UNAVAILABLE);
}

}  // namespace
}  // namespace plumblane
