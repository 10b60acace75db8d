// The command `review` with its files, and its screen: review.h, show_review.h.

#include "client/review.h"

#include <gmock/gmock.h>
#include <grpcpp/security/server_credentials.h>
#include <grpcpp/server_builder.h>

#include <algorithm>
#include <filesystem>
#include <sstream>

#include "client/review_json.h"
#include "client/review_sample.h"
#include "client/show.h"
#include "client/show_review.h"
#include "client/support.h"
#include "client/table.h"
#include "plumblane/v1/reviews.grpc.pb.h"

namespace plumblane::client {
namespace {

using testing::EndsWith;
using testing::HasSubstr;
using testing::Not;
using testing::StartsWith;

class FakeReviews : public v1::Reviews::Service {
 public:
  // In parts of two accounts.
  grpc::Status GetReview(grpc::ServerContext*, const v1::GetReviewRequest* request,
                         grpc::ServerWriter<v1::Review>* writer) override {
    asked = *request;
    v1::Review head = SampleReview();
    head.clear_accounts();
    writer->Write(head);
    const v1::Review whole = SampleReview();
    for (int i = 0; i < whole.accounts_size(); i += 2) {
      v1::Review part;
      for (int k = i; k < std::min(i + 2, whole.accounts_size()); ++k) {
        *part.add_accounts() = whole.accounts(k);
      }
      writer->Write(part);
    }
    return grpc::Status::OK;
  }
  grpc::Status ListEvidence(grpc::ServerContext*, const v1::GetReviewRequest*,
                            grpc::ServerWriter<v1::EvidenceOrder>* writer) override {
    v1::EvidenceOrder order;
    order.set_item(kHostileItem);
    order.add_findings("late");
    writer->Write(order);
    return grpc::Status::OK;
  }
  v1::GetReviewRequest asked;
};

class ReviewCommandTest : public testing::Test {
 protected:
  ReviewCommandTest() {
    grpc::ServerBuilder builder;
    builder.AddListeningPort(address_, grpc::InsecureServerCredentials());
    builder.RegisterService(&reviews_);
    server_ = builder.BuildAndStart();
  }
  ~ReviewCommandTest() override { server_->Shutdown(); }
  Result Run(std::vector<std::string> arguments) {
    arguments.insert(arguments.begin(), "review");
    return RunProgram(arguments, address_);
  }

  TemporaryFolder folder_;
  FakeReviews reviews_;
  std::string address_ = "unix:" + folder_.Path("s");
  std::unique_ptr<grpc::Server> server_;
};

TEST_F(ReviewCommandTest, WritesTheFormThatTheNameTells) {
  const std::pair<std::string, std::string> starts[] = {{"q3.html", "<!DOCTYPE html>"},
                                                        {"q3.md", "# Supplier review"},
                                                        {"q3.csv", "account,supplier,"},
                                                        {"q3.json", "{"}};
  for (const auto& [name, start] : starts) {
    const Result result = Run({"2026Q3", "-o", folder_.Path(name)});
    EXPECT_EQ(result.code, 0) << result.err;
    EXPECT_EQ(result.out, "");
    EXPECT_THAT(ReadFile(folder_.Path(name)), StartsWith(start));
  }
}

TEST_F(ReviewCommandTest, JsonThatIsWrittenByPartsIsThatOfTheWhole) {
  EXPECT_EQ(Run({"2026Q3", "--json"}).out, JsonText(SampleReview()));
  EXPECT_EQ(Run({"2026Q3", "-o", folder_.Path("q3.json")}).code, 0);
  EXPECT_EQ(ReadFile(folder_.Path("q3.json")), JsonText(SampleReview()));
}

TEST(ReviewJsonTest, WithoutAccounts) {
  v1::Review review = SampleReview();
  review.clear_accounts();
  std::ostringstream out;
  ReviewJson json(out);
  json.Add(review);
  json.End();
  EXPECT_EQ(out.str(), JsonText(review));
}

TEST_F(ReviewCommandTest, AnUnknownFormIsNotAsked) {
  const Result result = Run({"2026Q3", "-o", folder_.Path("q3.pdf")});
  EXPECT_EQ(result.code, 2);
  EXPECT_THAT(result.err, HasSubstr("expected a file that ends in .html, .md, .csv or .json"));
  EXPECT_EQ(reviews_.asked.first_date(), "");
}

TEST_F(ReviewCommandTest, AFileThatCannotBeWrittenIsNamedAndNothingIsLeft) {
  const Result result = Run({"2026Q3", "-o", folder_.Path("none/q3.html")});
  EXPECT_EQ(result.code, 1);
  EXPECT_THAT(result.err, HasSubstr("none/q3.html: No such file or directory"));
  std::filesystem::create_directory(folder_.Path("q3.html"));  // stands in the way of the rename
  EXPECT_EQ(Run({"2026Q3", "-o", folder_.Path("q3.html")}).code, 1);
  for (const auto& entry : std::filesystem::directory_iterator(folder_.Path(""))) {
    EXPECT_THAT(entry.path().filename().string(), Not(HasSubstr("q3.html.")));
  }
}

TEST_F(ReviewCommandTest, TheCopyToShareAsksForIt) {
  EXPECT_EQ(Run({"2026Q3", "--supplier", "s", "--to-share", "-o", folder_.Path("s.html")}).code, 0);
  EXPECT_TRUE(reviews_.asked.to_share());
  EXPECT_EQ(reviews_.asked.supplier(), "s");
}

TEST_F(ReviewCommandTest, PeriodsAsTheyAreWritten) {
  const struct {
    const char *period, *first, *last;
  } good[] = {
      {"2026Q1", "2026-01-01", "2026-03-31"},
      {"2026Q4", "2026-10-01", "2026-12-31"},
      {"2024-02", "2024-02-01", "2024-02-29"},
      {"2026-02", "2026-02-01", "2026-02-28"},
      {"2026-12", "2026-12-01", "2026-12-31"},
      {"2026-07..2026-09", "2026-07-01", "2026-09-30"},
      {"2025-12..2026-02", "2025-12-01", "2026-02-28"},
      {"2026-08..2026-08", "2026-08-01", "2026-08-31"},
      {"2026-08-17..2026-08-23", "2026-08-17", "2026-08-23"},
      {"2026-08-17..2026-08-17", "2026-08-17", "2026-08-17"},
  };
  for (const auto& row : good) {
    EXPECT_EQ(Run({row.period}).code, 0) << row.period;
    EXPECT_EQ(reviews_.asked.first_date(), row.first) << row.period;
    EXPECT_EQ(reviews_.asked.last_date(), row.last) << row.period;
  }
  reviews_.asked.Clear();
  for (const char* bad : {"",
                          "2026",
                          "2026Q0",
                          "2026Q5",
                          "2026q3",
                          "26Q3",
                          "2026-00",
                          "2026-13",
                          "2026-7",
                          "2026-09..2026-07",
                          "2026-07..",
                          "..2026-07",
                          "2026-07...2026-09",
                          "2026-07-01",
                          "2026-07-01..2026-09",
                          "2026-02-30..2026-03-01",
                          "2026-08-23..2026-08-17",
                          "2026Q1..2026Q2",
                          "2026Q3 ",
                          "last quarter"}) {
    const Result result = Run({bad});
    EXPECT_EQ(result.code, 2) << bad;
    EXPECT_THAT(result.err, HasSubstr("expected")) << bad;
    EXPECT_EQ(reviews_.asked.first_date(), "") << bad << " was asked";
  }
}

TEST_F(ReviewCommandTest, EverythingAskedForIsSent) {
  EXPECT_EQ(Run({"2026Q3", "--supplier", "lotus", "--lane", "VN-DE", "--shop", "harbour"}).code, 0);
  EXPECT_EQ(reviews_.asked.supplier(), "lotus");
  EXPECT_EQ(reviews_.asked.lane().destination(), "DE");
  EXPECT_EQ(reviews_.asked.shop(), "harbour");
  EXPECT_FALSE(reviews_.asked.to_share());
  EXPECT_EQ(Run({"2026Q3", "--shop", ""}).code, 2);
}

TEST_F(ReviewCommandTest, EvidenceHoldsNoFormula) {
  EXPECT_EQ(Run({"2026Q3", "--evidence", folder_.Path("e.csv")}).code, 0);
  EXPECT_THAT(ReadFile(folder_.Path("e.csv")), HasSubstr("\"'=HYPERLINK(\"\"x\"\")|"));
}

TEST(ShowReviewTest, WholeScreen) {
  v1::Review review = SampleReview();
  review.mutable_accounts(1)->set_supplier_id("lotus-works");
  review.mutable_accounts(1)->mutable_points()->DeleteSubrange(2, 1);
  EXPECT_EQ(ShowReview(review, 80),
            "2026-07-01 to 2026-09-30, compared with 2026-04-01 to 2026-06-30; provisional\n"
            "until 2026-12-01; delivery news up to 2026-09-28; as of 2026-10-01\n"
            "\n"
            "all together\n"
            "  orders     1,402\n"
            "  on time    92 % (90-94) of 1,300\n"
            "  by week    █▁············\n"
            "  bad, lost  no orders due\n"
            "\n"
            "lotus-works\n"
            "  orders     406\n"
            "  on time    71 % (67-76) of 375\n"
            "             late before: 6.8 % (24 of 352); +22 points (+16 to +27), worse by\n"
            "             more than chance\n"
            "  by week    ▇·············\n"
            "  bad, lost  3.1 % (1.8-5.4) of 381\n"
            "             too thin to compare\n"
            "  times      travels 10 / 15 d of 350, the period before 8.0 / 12 d of 340;\n"
            "             longer to travel, adjusted p 0.012\n"
            "  raise      107 of 375 orders due came late. 408.92 EUR at stake.\n"
            "             5 of 406 orders were out of stock. 152.87 EUR paid for these\n"
            "             orders.\n"
            "  went well  None got lost.\n"
            "\n"
            "By week: on time, █ 95 % or more, a step lower for each 5 points less; · no\n"
            "orders. Lanes, pairs, excuses and how it was counted: -o FILE.html.\n");
}

TEST(ShowReviewTest, APlainScreenHasDigitsForItsMarks) {
  const std::string screen = ShowReview(SampleReview(), kPlainWidth);
  EXPECT_THAT(screen, HasSubstr("\n  by week    81............\n"));
  EXPECT_THAT(screen, HasSubstr("By week: on time, 8 95 % or more"));
  for (const char c : screen) EXPECT_LT(static_cast<unsigned char>(c), 0x80);
}

TEST(ShowReviewTest, AYearAgoIsToldWhereItIsKnown) {
  v1::Review review = SampleReview();
  EXPECT_THAT(ShowReview(review, 100), Not(HasSubstr("a year ago")));
  v1::Account& account = *review.mutable_accounts(1);
  *account.mutable_year_ago() = account.before();
  v1::Change change = account.changes(0);
  change.set_against(v1::Change::AGAINST_YEAR_AGO);
  change.set_verdict(v1::Change::VERDICT_NO_MORE_THAN_CHANCE);
  *account.add_changes() = change;
  const std::string screen = ShowReview(review, 100);
  EXPECT_THAT(screen, HasSubstr("2026-04-01 to 2026-06-30 and 2025-07-01 to 2025-09-30"));
  EXPECT_THAT(screen,
              HasSubstr("late a year ago: 6.8 % (24 of 352); +22 points (+16 to +27), no "));
}

TEST(ShowReviewTest, FitsItsWidth) {
  for (const int width : {80, 100, 132}) {
    v1::Review review = SampleReview();
    EXPECT_LE(WidestLine(ShowReview(review, width)), width);
    // Ten years of weeks: the last ones.
    review.mutable_period()->set_first_date("2016-10-01");
    EXPECT_LE(WidestLine(ShowReview(review, width)), width);
  }
}

TEST(ShowReviewTest, WithoutOrdersItSaysSo) {
  v1::Review review = SampleReview();
  review.clear_accounts();
  EXPECT_THAT(ShowReview(review, 80), EndsWith("\nno orders\n"));
}

}  // namespace
}  // namespace plumblane::client
