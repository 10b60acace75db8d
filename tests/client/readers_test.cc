// Lines, CSV records and JSON lines: one test per sentence of line_reader.h, csv_reader.h and
// json_reader.h.

#include <gmock/gmock.h>
#include <unistd.h>

#include "client/csv_reader.h"
#include "client/json_reader.h"
#include "client/line_reader.h"
#include "client/support.h"

namespace plumblane::client {
namespace {

using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;

std::vector<Line> ReadLines(const std::string& content) {
  const Pipe pipe(content);
  LineReader reader(pipe.fd(), /*owned=*/false);
  std::vector<Line> lines;
  while (std::optional<Line> line = reader.Next()) lines.push_back(*std::move(line));
  return lines;
}

TEST(LineReaderTest, AListOfObjectsOnOneLineComesInPieces) {
  std::string text = "\xEF\xBB\xBF \n[";
  for (int i = 0; i < 200'000; ++i)
    text += (i > 0 ? " , {\"a\": " : "{\"a\": ") + std::to_string(i) + "}";
  const std::vector<Line> lines = ReadLines(text + "]\nlast\n");
  ASSERT_GT(lines.size(), 4);
  std::string joined;
  for (size_t i = 1; i + 1 < lines.size(); ++i) {
    EXPECT_EQ(lines[i].number, 2);
    EXPECT_FALSE(lines[i].too_long);
    EXPECT_LE(lines[i].text.size(), kMaxLineBytes + 1);
    joined += lines[i].text;
  }
  EXPECT_EQ(joined, text.substr(5) + "]");
  EXPECT_EQ(lines.back().number, 3);
  EXPECT_EQ(lines.back().text, "last");
}

std::vector<std::string> TextsOf(const std::vector<Line>& lines) {
  std::vector<std::string> texts;
  for (const Line& line : lines) texts.push_back(std::to_string(line.number) + ":" + line.text);
  return texts;
}

std::vector<CsvRecord> ReadCsv(const std::string& content) {
  const Pipe pipe(content);
  LineReader lines(pipe.fd(), /*owned=*/false);
  CsvReader reader(&lines);
  std::vector<CsvRecord> records;
  while (std::optional<CsvRecord> record = reader.Next()) records.push_back(*std::move(record));
  return records;
}

// "line code message" of what ReadJsonRow says of a line; "" = it is taken.
std::string JsonComplaint(const std::string& text) {
  const RowOrRejection read = ReadJsonRow(LineOf(text));
  const auto* rejection = std::get_if<Rejection>(&read);
  if (rejection == nullptr) return "";
  return rejection->complaint.code + " " + rejection->complaint.field + ": " +
         rejection->complaint.message;
}

std::vector<std::string> JsonCells(const std::string& text) {
  const RowOrRejection read = ReadJsonRow(LineOf(text));
  std::vector<std::string> cells;
  for (const Cell& cell : std::get<Row>(read).cells) {
    cells.push_back(cell.field + "=" + cell.value + "/" +
                    std::to_string(static_cast<int>(cell.kind)));
  }
  return cells;
}

TEST(LineReaderTest, LinesEndInLfOrCrLf) {
  EXPECT_THAT(TextsOf(ReadLines("a\nb\r\n\nc\n")), ElementsAre("1:a", "2:b", "3:", "4:c"));
}

TEST(LineReaderTest, ByteOrderMarkIsDropped) {
  EXPECT_THAT(TextsOf(ReadLines("\xEF\xBB\xBF"
                                "a\n\xEF\xBB\xBF"
                                "b\n")),
              ElementsAre("1:a",
                          "2:\xEF\xBB\xBF"
                          "b"));
}

TEST(LineReaderTest, LastLineWithoutEndIsCut) {
  const std::vector<Line> lines = ReadLines("a\nb");
  ASSERT_EQ(lines.size(), 2u);
  EXPECT_FALSE(lines[0].cut);
  EXPECT_TRUE(lines[1].cut);
}

TEST(LineReaderTest, EmptyFileHasNoLine) { EXPECT_THAT(ReadLines(""), IsEmpty()); }

TEST(LineReaderTest, LineBeyondOneMebibyteIsNotHeld) {
  const std::vector<Line> lines = ReadLines(std::string(kMaxLineBytes, 'x') + "\n" +
                                            std::string(3 * kMaxLineBytes, 'y') + "\nz");
  ASSERT_EQ(lines.size(), 3u);
  EXPECT_FALSE(lines[0].too_long);
  EXPECT_EQ(lines[0].text.size(), kMaxLineBytes);
  EXPECT_TRUE(lines[1].too_long);
  EXPECT_EQ(lines[1].text, std::string(200, 'y'));
  EXPECT_EQ(lines[2].text, "z");
}

TEST(LineReaderTest, SaysWhetherALineIsThere) {
  int ends[2];
  ASSERT_EQ(pipe(ends), 0);
  LineReader reader(ends[0], /*owned=*/true);
  EXPECT_FALSE(reader.ReadyWithin(1));
  ASSERT_EQ(write(ends[1], "a\nb\n", 4), 4);
  EXPECT_TRUE(reader.ReadyWithin(1));
  EXPECT_EQ(reader.Next()->text, "a");
  EXPECT_TRUE(reader.ReadyWithin(1));  // held already
  EXPECT_EQ(reader.Next()->text, "b");
  EXPECT_FALSE(reader.ReadyWithin(1));
  close(ends[1]);
  EXPECT_TRUE(reader.ReadyWithin(1));
  EXPECT_FALSE(reader.Next());
}

TEST(CsvReaderTest, QuotesHoldCommasQuotesAndLineEnds) {
  const auto records = ReadCsv("a,\"b,c\",\"d\"\"e\"\r\n\"f\r\ng\",,\"\"\nh,5\" pipe,i\n");
  ASSERT_EQ(records.size(), 3u);
  EXPECT_THAT(records[0].cells, ElementsAre("a", "b,c", "d\"e"));
  EXPECT_THAT(records[1].cells, ElementsAre("f\ng", "", ""));
  EXPECT_THAT(records[2].cells, ElementsAre("h", "5\" pipe", "i"));
  EXPECT_EQ(records[2].line, 4);
}

TEST(CsvReaderTest, EmptyLinesAreSkipped) {
  const auto records = ReadCsv("\n  \r\na\n\nb\n");
  ASSERT_EQ(records.size(), 2u);
  EXPECT_EQ(records[0].line, 3);
  EXPECT_EQ(records[1].line, 5);
}

TEST(CsvReaderTest, QuoteNeverClosedCostsOneLineOnly) {
  const auto records = ReadCsv("a,b\n1,\"2\n3,4\n5,6\n");
  ASSERT_EQ(records.size(), 4u);
  EXPECT_EQ(records[1].line, 2);
  EXPECT_EQ(records[1].complaint->message, "a quote is opened on this line and never closed");
  EXPECT_EQ(records[1].text, "1,\"2");
  EXPECT_THAT(records[2].cells, ElementsAre("3", "4"));
  EXPECT_THAT(records[3].cells, ElementsAre("5", "6"));
}

TEST(CsvReaderTest, QuoteNeverClosedWithinOneMebibyteCostsOneLineOnly) {
  const std::string tail(2000, 'x');
  std::string content = "\"open\n";
  for (int i = 0; i < 1000; ++i) content += tail + "\n";
  const auto records = ReadCsv(content + "1,2\n");
  ASSERT_EQ(records.size(), 1002u);
  EXPECT_TRUE(records[0].complaint);
  EXPECT_EQ(records[1].line, 2);
  EXPECT_THAT(records.back().cells, ElementsAre("1", "2"));
}

TEST(CsvReaderTest, TextAfterAClosingQuoteIsRefused) {
  const auto records = ReadCsv("a,\"b\"c,d\ne,f,g\n");
  EXPECT_EQ(records[0].complaint->message,
            "column 2: a comma is expected after a closing quote; write a quote inside a quoted "
            "text twice");
  EXPECT_THAT(records[1].cells, ElementsAre("e", "f", "g"));
}

TEST(CsvReaderTest, LineTooLongIsRefusedAlone) {
  const auto records = ReadCsv(std::string(kMaxLineBytes + 2, 'x') + "\na,b\n");
  EXPECT_EQ(records[0].complaint->code, "LINE_TOO_LONG");
  EXPECT_THAT(records[1].cells, ElementsAre("a", "b"));
}

TEST(JsonReaderTest, ValuesKeepTheirKindAndDigits) {
  EXPECT_THAT(
      JsonCells(R"({"a":"x","b":7,"c":13.750,"d":-1,"e":1e3,"f":true,"g":[1,[2]],"h":{"i":1}})"),
      ElementsAre("a=x/0", "b=7/1", "c=13.750/2", "d=-1/1", "e=1e3/2", "f=true/3", "g=a list/3",
                  "h=an object/3"));
}

TEST(JsonReaderTest, EmptyAndNullAreNotStated) {
  EXPECT_THAT(JsonCells(R"({"a":"","b":null,"c":"x"})"), ElementsAre("c=x/0"));
}

TEST(JsonReaderTest, FieldGivenTwiceIsRefused) {
  EXPECT_EQ(JsonComplaint(R"({"a":1,"a":2})"),
            "FIELD_CONFLICT a: the field stands twice on this line");
}

TEST(JsonReaderTest, OnlyOneObjectIsAnEvent) {
  EXPECT_EQ(JsonComplaint("[1]"), "NOT_JSON : expected one {...}, not a list");
  EXPECT_EQ(JsonComplaint("17"), "NOT_JSON : expected one {...}");
  EXPECT_THAT(JsonComplaint(R"({"a":1} {"b":2})"),
              HasSubstr("NOT_JSON : expected one JSON object"));
  EXPECT_THAT(JsonComplaint("paid,1042"), HasSubstr("it goes wrong at character 1"));
  EXPECT_THAT(JsonComplaint(R"({"a":1)"), HasSubstr("NOT_JSON"));
}

TEST(JsonReaderTest, CutLineSaysSo) {
  Line line = LineOf(R"({"a":1,"b":"x)");
  line.cut = true;
  const RowOrRejection read = ReadJsonRow(line);
  EXPECT_EQ(std::get<Rejection>(read).complaint.code, "CUT_LINE");
  EXPECT_EQ(std::get<Rejection>(read).complaint.message,
            "the file ends in the middle of this line");
}

TEST(JsonReaderTest, LineThatIsNoUtf8NamesTheByte) {
  EXPECT_EQ(JsonComplaint("{\"a\":\"M\xFCller\"}"),
            "NOT_UTF8 : byte 8 of the line is no UTF-8 text");
}

}  // namespace
}  // namespace plumblane::client
