// `export` and `watch` against a daemon that tells what a test lays out.
#include <gmock/gmock.h>
#include <grpcpp/server.h>
#include <grpcpp/server_builder.h>
#include <gtest/gtest.h>

#include <memory>

#include "client/exit_codes.h"
#include "client/export_rows.h"
#include "client/support.h"
#include "client/words.h"
#include "plumblane/v1/exports.grpc.pb.h"

namespace plumblane::client {
namespace {

using testing::AllOf;
using testing::HasSubstr;
using testing::IsEmpty;

class FakeExports : public v1::Exports::Service {
 public:
  std::vector<v1::Score> scores;
  std::vector<v1::EventBatch> events;
  std::vector<v1::ScoreChange> changes;
  grpc::Status end;
  v1::WatchScoresRequest watched;
  v1::ExportScoresRequest asked;

 private:
  using Context = grpc::ServerContext;
  grpc::Status ExportScores(Context*, const v1::ExportScoresRequest* request,
                            grpc::ServerWriter<v1::Score>* writer) override {
    asked = *request;
    for (const v1::Score& score : scores) writer->Write(score);
    return end;
  }
  grpc::Status ExportEvents(Context*, const v1::ExportEventsRequest*,
                            grpc::ServerWriter<v1::EventBatch>* writer) override {
    for (const v1::EventBatch& batch : events) writer->Write(batch);
    return end;
  }
  grpc::Status WatchScores(Context*, const v1::WatchScoresRequest* request,
                           grpc::ServerWriter<v1::ScoreChange>* writer) override {
    watched = *request;
    for (const v1::ScoreChange& change : changes) writer->Write(change);
    return end;
  }
};

class ExportTest : public testing::Test {
 protected:
  ExportTest() {
    grpc::ServerBuilder builder;
    builder.AddListeningPort("unix:" + folder_.Path("s"), grpc::InsecureServerCredentials());
    builder.RegisterService(&daemon_);
    server_ = builder.BuildAndStart();
  }
  Result Run(const std::vector<std::string>& arguments) {
    return RunProgram(arguments, "unix:" + folder_.Path("s"));
  }

  TemporaryFolder folder_;
  FakeExports daemon_;
  std::unique_ptr<grpc::Server> server_;
};

v1::Score Lotus() {
  return FromJson<v1::Score>(R"({"name":"suppliers/lotus-works","supplierId":"lotus-works",
      "onTime":{"estimate":0.925,"orderCount":"40"}})");
}

TEST_F(ExportTest, AFileIsThereWhenItIsWhole) {
  daemon_.scores = {Lotus()};
  const std::string path = folder_.Write("scores.csv", "old");
  daemon_.end = {grpc::StatusCode::UNAVAILABLE, "the daemon is stopping"};
  EXPECT_EQ(Run({"export", "scores", "-o", path}).code, kOutOfReach);
  EXPECT_EQ(ReadFile(path), "old") << "half of it came";
  daemon_.end = grpc::Status::OK;
  const Result whole = Run({"export", "scores", "-o", path});
  EXPECT_EQ(whole.code, kDone);
  EXPECT_EQ(whole.out + whole.err, "");
  EXPECT_THAT(ReadFile(path), HasSubstr("\r\nsupplier,lotus-works,,,,0.925,"));
  const Result nowhere = Run({"export", "scores", "-o", folder_.Path("no/x")});
  EXPECT_EQ(nowhere.code, kFailed);
  EXPECT_THAT(nowhere.err, HasSubstr("no/x: No such file or directory\n"));
}

TEST_F(ExportTest, TheMomentAskedForGoesAlong) {
  Run({"export", "scores", "--as-of", "2026-03-01", "--half-life", "30", "--average"});
  EXPECT_EQ(daemon_.asked.half_life().seconds(), 30 * 86400);
  EXPECT_TRUE(daemon_.asked.has_as_of_time());
  EXPECT_EQ(daemon_.asked.rate_mode(), v1::RATE_MODE_AVERAGE);
}

TEST_F(ExportTest, DecimalCommasLieBetweenSemicolonsUnlessOneSaysOtherwise) {
  daemon_.scores = {Lotus()};
  EXPECT_THAT(Run({"export", "scores", "--decimal-comma"}).out,
              HasSubstr("\r\nsupplier;lotus-works;;;;0,925;"));
  EXPECT_THAT(Run({"export", "scores", "--decimal-comma", "--delimiter", ","}).out,
              HasSubstr("\r\nsupplier,lotus-works,,,,\"0,925\","));
  EXPECT_THAT(Run({"export", "scores", "--delimiter", "tab"}).out,
              HasSubstr("\r\nsupplier\tlotus-works\t\t\t\t0.925\t"));
}

TEST_F(ExportTest, JsonIsTheAnswerOfTheApi) {
  daemon_.scores = {Lotus(), Lotus()};
  const Result format = Run({"export", "scores", "--format", "json"});
  EXPECT_THAT(format.out, AllOf(testing::StartsWith("{\"scores\": [\n{\"name\":"),
                                HasSubstr("\"estimate\":0.925")));
  EXPECT_EQ(Run({"export", "scores", "--json"}).out, format.out);
}

TEST_F(ExportTest, MistakesAreSeenWithoutTheDaemon) {
  const std::pair<std::vector<std::string>, const char*> cases[] = {
      {{"export"}, "expected a command"},
      {{"export", "scores", "--json", "--format", "csv"}, "--json is --format json"},
      {{"export", "scores", "--format", "xml"}, "expected csv, ndjson or json"},
      {{"export", "scores", "--delimiter", "x"}, "expected , or ; or | or tab"},
      {{"export", "events", "--as-of", "2026-01-01"}, "go with export scores only"},
      {{"export", "cohorts", "--json", "--decimal-comma"}, "go with CSV"},
      {{"review", "2026Q3", "-o", "a.html", "--decimal-comma"}, "go with CSV"},
      {{"assign", "1", "--to", "DE", "--delimiter", ";"}, "go with CSV"},
      {{"watch", "--change", "0"}, "expected a share above 0"},
      {{"watch", "--of", "order"}, "expected suppliers, lanes or pairs"},
      {{"watch", "--days", "0"}, "expected days above 0"}};
  for (const auto& [arguments, words] : cases) {
    const Result result = Run(arguments);
    EXPECT_EQ(result.code, kUsage) << words;
    EXPECT_THAT(result.err, HasSubstr(words));
  }
}

// ---- rows ---------------------------------------------------------------------------------------

std::string CellOf(const TableRow& row, const std::string& column) {
  for (const TableCell& cell : row) {
    if (cell.column == column) return cell.text;
  }
  return "no such column";
}

TEST(EventRowTest, HasTheFieldsOfEventFilesInTheirOrder) {
  std::vector<std::string> columns;
  for (const TableCell& cell : EventRow(v1::Event())) columns.push_back(cell.column);
  EXPECT_EQ(columns, Strings(EventFields()));
}

TEST(EventRowTest, AmountsAreExactAndInOneCurrency) {
  const auto event = FromJson<v1::Event>(R"({"type":"EVENT_TYPE_PAID",
      "cost":{"minorUnits":"9007199","currencyCode":"EUR"},
      "sale":{"minorUnits":"5","currencyCode":"EUR"}})");
  EXPECT_EQ(CellOf(EventRow(event), "cost"), "90071.99");
  EXPECT_EQ(CellOf(EventRow(event), "sale"), "0.05");
  EXPECT_FALSE(HasTwoCurrencies(event));
  auto yen = event;
  yen.mutable_sale()->set_currency_code("JPY");
  EXPECT_TRUE(HasTwoCurrencies(yen));
  EXPECT_EQ(CellOf(EventRow(yen), "sale"), "");
  EXPECT_EQ(CellOf(EventRow(yen), "currency"), "EUR");
  yen.clear_cost();
  EXPECT_EQ(CellOf(EventRow(yen), "sale"), "5");
}

TEST_F(ExportTest, WhatHasNoPlaceInARowIsSaid) {
  daemon_.events = {FromJson<v1::EventBatch>(R"({"events":[{"eventId":"a",
      "type":"EVENT_TYPE_PAID","cost":{"minorUnits":"1","currencyCode":"EUR"},
      "sale":{"minorUnits":"1","currencyCode":"USD"}}]})")};
  EXPECT_THAT(Run({"export", "events"}).err, HasSubstr("1 event with amounts in two currencies"));
  EXPECT_EQ(Run({"export", "events", "--format", "json"}).err, "");
}

// ---- changes ------------------------------------------------------------------------------------

v1::ScoreChange Changed() {
  return FromJson<v1::ScoreChange>(R"({"now":{"name":"suppliers/lotus-works/lanes/VN-DE/express",
      "onTime":0.81,"deliveryMedian":"950400s"},"before":{"name":"x","onTime":0.92,"defect":0.02},
      "changed":["on_time","delivery_median"],"asOfTime":"2026-10-01T08:00:00Z",
      "orderCount":"412"})");
}

TEST_F(ExportTest, AWatchTellsALineForEachChange) {
  daemon_.changes = {FromJson<v1::ScoreChange>(R"({"now":{"name":"suppliers/a"}})"), Changed()};
  const Result result = Run({"watch"});
  EXPECT_EQ(result.code, kDone);
  EXPECT_EQ(result.out,
            "2026-10-01 08:00  lotus-works on VN-DE/express: on time 92 % -> 81 %, half delivered "
            "in no data -> 11 d; 412 settled orders\n");
}

TEST_F(ExportTest, AWatchGoesOnFromWhatWasToldLast) {
  daemon_.changes = {FromJson<v1::ScoreChange>(R"({"now":{"name":"suppliers/a","onTime":0.5}})"),
                     Changed(),
                     FromJson<v1::ScoreChange>(R"({"now":{"name":"suppliers/a","onTime":0.7}})")};
  const Result first = Run({"watch", "--json"});
  EXPECT_THAT(daemon_.watched.seen(), IsEmpty());
  const std::string told = folder_.Write("told", first.out + "{\"now\": {\"na");
  Run({"watch", "--after", told, "--change", "3%", "--days", "0.5", "--of", "pairs"});
  ASSERT_EQ(daemon_.watched.seen_size(), 2);
  EXPECT_EQ(daemon_.watched.seen(0).name(), "suppliers/a");
  EXPECT_EQ(daemon_.watched.seen(0).on_time(), .7);
  EXPECT_EQ(daemon_.watched.share_change(), .03);
  EXPECT_EQ(daemon_.watched.delivery_change().seconds(), 43'200);
  EXPECT_EQ(daemon_.watched.kinds(0), v1::SCORE_KIND_PAIR);
  const Result none = Run({"watch", "--after", folder_.Path("none")});
  EXPECT_EQ(none.code, kFailed);
  EXPECT_THAT(none.err, HasSubstr("/none: No such file or directory"));
}

}  // namespace
}  // namespace plumblane::client
