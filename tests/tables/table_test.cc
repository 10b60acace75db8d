// A table in its three forms, and scores as rows: no data is not 0.
#include "tables/table.h"

#include <gmock/gmock.h>
#include <google/protobuf/util/json_util.h>
#include <gtest/gtest.h>

#include <map>

#include "tables/score_rows.h"

namespace plumblane {
namespace {

using ::testing::HasSubstr;
using ::testing::StartsWith;

v1::Score ScoreFrom(const std::string& json) {
  v1::Score score;
  EXPECT_TRUE(google::protobuf::util::JsonStringToMessage(json, &score).ok());
  return score;
}

TableRow Row() {
  return {TextCell("name", "a \"b\""), FigureCell("share", "0.5"), FigureCell("none", ""),
          FlagCell("trial", true), CountCell("orders", 12)};
}

std::string Written(TableForm form, int rows) {
  TableWriter writer(form, {}, "things", Row());
  std::string text = writer.Begin();
  const v1::Score message = ScoreFrom(R"({"name":"x"})");
  for (int i = 0; i < rows; ++i) text += writer.Add({message, {Row()}});
  return text + writer.End();
}

TEST(TableWriter, HasThreeForms) {
  EXPECT_EQ(Written(TableForm::kCsv, 1),
            "name,share,none,trial,orders\r\n\"a \"\"b\"\"\",0.5,,yes,12\r\n");
  EXPECT_EQ(Written(TableForm::kNdjson, 1),
            "{\"name\": \"a \\\"b\\\"\", \"share\": 0.5, \"trial\": true, \"orders\": 12}\n");
  const std::string json = Written(TableForm::kJson, 2);
  EXPECT_THAT(json, StartsWith("{\"things\": [\n{\"name\":\"x\","));
  EXPECT_THAT(json, HasSubstr("},\n{\"name\":\"x\","));
}

TEST(TableWriter, AnEmptyTableIsOneToo) {
  EXPECT_EQ(Written(TableForm::kCsv, 0), "name,share,none,trial,orders\r\n");
  EXPECT_EQ(Written(TableForm::kNdjson, 0), "");
  EXPECT_EQ(Written(TableForm::kJson, 0), "{\"things\": [\n]}\n");
}

TEST(TableWriter, AFigureThatIsNoJsonNumberIsAText) {
  TableWriter writer(TableForm::kNdjson, {}, "things", {});
  const v1::Score message;
  EXPECT_EQ(writer.Add({message,
                        {{FigureCell("a", "+5"), FigureCell("b", "n/a"), FigureCell("c", "-5")}}}),
            "{\"a\": \"+5\", \"b\": \"n/a\", \"c\": -5}\n");
}

TEST(FigureText, HasNoExponentAndNoIdleZeros) {
  EXPECT_EQ(FigureText(.5), "0.5");
  EXPECT_EQ(FigureText(0), "0");
  EXPECT_EQ(FigureText(-1e-9), "0");
  EXPECT_EQ(FigureText(1234567), "1234567");
  EXPECT_EQ(FigureText(1. / 3), "0.333333");
}

std::map<std::string, std::string> Cells(const v1::Score& score) {
  std::map<std::string, std::string> cells;
  for (const TableCell& cell : ScoreRow(score)) {
    EXPECT_TRUE(cells.emplace(cell.column, cell.text).second) << cell.column << " stands twice";
  }
  return cells;
}

TEST(ScoreRow, TellsWhatItIsOf) {
  auto cells = Cells(ScoreFrom(R"({"supplierId":"lotus-works"})"));
  EXPECT_EQ(cells["kind"], "supplier");
  cells = Cells(ScoreFrom(R"({"lane":{"origin":"VN","destination":"DE"}})"));
  EXPECT_EQ(cells["kind"], "lane");
  EXPECT_EQ(cells["service"], "");
  cells = Cells(
      ScoreFrom(R"({"supplierId":"a","lane":{"origin":"VN","destination":"DE","service":""}})"));
  EXPECT_EQ(cells["kind"], "pair");
  EXPECT_EQ(cells["service"], "-");
}

TEST(ScoreRow, NoDataIsNotZero) {
  const auto cells = Cells(v1::Score());
  for (const char* column : {"on_time", "on_time_low", "defect_observed", "delivery_median_days",
                             "response_p90_days", "last_event", "news"}) {
    EXPECT_EQ(cells.at(column), "") << column;
  }
  EXPECT_EQ(cells.at("settled_orders"), "0");
}

TEST(ScoreRow, FiguresAreSharesAndDays) {
  const auto cells = Cells(ScoreFrom(R"({"supplierId":"a",
      "onTime":{"estimate":0.925,"low":0.9,"high":0.95,"orderCount":"40","hitCount":"3"},
      "delivery":{"median":"129600s","p90":"216000s"},"asOfTime":"2026-10-01T00:00:00Z",
      "halfLife":"3888000s","rateMode":"RATE_MODE_AVERAGE"})"));
  EXPECT_EQ(cells.at("on_time"), "0.925");
  EXPECT_EQ(cells.at("settled_orders"), "40");
  EXPECT_EQ(cells.at("late_orders"), "3");
  EXPECT_EQ(cells.at("delivery_median_days"), "1.5");
  EXPECT_EQ(cells.at("delivery_p90_days"), "2.5");
  EXPECT_EQ(cells.at("as_of"), "2026-10-01T00:00:00Z");
  EXPECT_EQ(cells.at("half_life_days"), "45");
  EXPECT_EQ(cells.at("mode"), "average");
}

}  // namespace
}  // namespace plumblane
