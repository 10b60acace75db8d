// Which form a file has, and what is wrong with it as a whole: event_file.h.

#include "client/event_file.h"

#include <gmock/gmock.h>

#include "client/support.h"

namespace plumblane::client {
namespace {

using testing::ElementsAre;
using Format = EventFile::Format;

// What Open says of a file named "f" with this content: "exit code: message", or "" when it opens.
std::string RefusalOf(const std::string& content, Format format = Format::kByContent) {
  const Pipe pipe(content);
  const EventFile::Opened opened = EventFile::Open("-", pipe.fd(), format);
  const auto* refusal = std::get_if<Refusal>(&opened);
  if (refusal == nullptr) return "";
  return std::to_string(refusal->exit_code) + " " + refusal->message;
}

// The rows of a file, as "line:field=value,..." or "line!code message".
std::vector<std::string> RowsOf(const std::string& content, Format format = Format::kByContent) {
  const Pipe pipe(content);
  EventFile::Opened opened = EventFile::Open("-", pipe.fd(), format);
  EventFile& file = *std::get<std::unique_ptr<EventFile>>(opened);
  std::vector<std::string> rows;
  while (std::optional<RowOrRejection> next = file.Next()) {
    if (const auto* bad = std::get_if<Rejection>(&*next)) {
      rows.push_back(std::to_string(bad->line) + "!" + bad->complaint.code + " " +
                     bad->complaint.message);
      continue;
    }
    const Row& row = std::get<Row>(*next);
    rows.push_back(std::to_string(row.line) + ":");
    for (const Cell& cell : row.cells) rows.back() += cell.field + "=" + cell.value + ",";
  }
  return rows;
}

constexpr char kHeader[] = "event_id,order_id,type,time\n";

TEST(EventFileTest, FirstCharacterTellsTheForm) {
  EXPECT_THAT(RowsOf("\n  {\"a\":\"1\"}\n\n{\"b\":\"2\"}\n"), ElementsAre("2:a=1,", "4:b=2,"));
  EXPECT_THAT(RowsOf(std::string("\n\xEF\xBB\xBF").erase(0, 1) + kHeader + "1,2,3,\n"),
              ElementsAre("2:event_id=1,order_id=2,type=3,"));
}

TEST(EventFileTest, ColumnsMayStandInAnyOrder) {
  EXPECT_THAT(RowsOf("time,type,tracking,event_id\r\nt,y,k,e\r\n"),
              ElementsAre("2:time=t,type=y,tracking=k,event_id=e,"));
}

TEST(EventFileTest, AListOfObjectsAndOneOnSeveralLinesAreRead) {
  EXPECT_THAT(RowsOf("[{\"a\":\"1\"},\n {\"b\":\n\"x]}\\\"{\"},\n\n{\"c\":\"3\"}]\n"),
              ElementsAre("1:a=1,", "2:b=x]}\"{,", "5:c=3,"));
  EXPECT_THAT(RowsOf("{\n  \"a\": \"1\",\n  \"b\": 2\n}\n{\"c\":\"3\"}\n"),
              ElementsAre("1:a=1,b=2,", "5:c=3,"));
  EXPECT_THAT(RowsOf("[oops\n{\"a\":\"1\"}]"),
              ElementsAre(testing::StartsWith("1!NOT_JSON"), "2:a=1,"));
  EXPECT_THAT(RowsOf("[{\"a\":\"1\"},\n{\"b\":"),
              ElementsAre("1:a=1,", testing::StartsWith("2!CUT_LINE")));
  EXPECT_THAT(RowsOf("[{\"a\":\"" + std::string(2 << 20, 'x') + "\n\"},{\"b\":\"1\"}]"),
              ElementsAre(testing::StartsWith("1!LINE_TOO_LONG"), "2:b=1,"));
  // One bad line of NDJSON does not take the next ones with it.
  EXPECT_THAT(RowsOf("{\"a\":\"1\n{\"b\":\"2\"}\n"),
              ElementsAre(testing::StartsWith("1!NOT_JSON"), "2:b=2,"));
}

TEST(EventFileTest, FormatCanBeGiven) {
  EXPECT_THAT(RowsOf("oops\n{\"a\":\"1\"}\n", Format::kNdjson),
              ElementsAre(testing::StartsWith("1!NOT_JSON"), "2:a=1,"));
  EXPECT_EQ(RefusalOf("{\"a\":1}\n", Format::kCsv),
            "2 stdin: column 1 of the first line: unknown field \"{\"a\":1}\"; leave it out: only "
            "what is named in \"plumblane send --help\" is kept, and no customer's data; a table "
            "with one order a row needs a map: see plumblane map --help");
}

TEST(EventFileTest, UnusableFilesSayWhy) {
  const std::pair<std::string, std::string> cases[] = {
      {"\xFF\xFE{", "2 stdin: is UTF-16 text; save it as UTF-8"},
      {"event_id;order_id;type;time\n",
       "2 stdin: line 1: columns are separated by \";\"; expected commas"},
      {"event_id\torder_id\n", "2 stdin: line 1: columns are separated by tabs; expected commas"},
      {"event_id,order_id\r1,2\r", "2 stdin: line 1: lines end in CR alone; expected LF or CRLF"},
      {"Order;Paid\n",
       "2 stdin: line 1: columns are separated by \";\"; expected commas; a table with one order a "
       "row needs a map: see plumblane map --help"},
      {"Order,Paid\n",
       "2 stdin: column 1 of the first line: unknown field \"Order\", did you mean \"order_id\"?; "
       "a table with one order a row needs a map: see plumblane map --help"},
      {std::string("PK\x03\x04\x14\0[Content_Types].xml", 25),
       "2 stdin: is a spreadsheet (.xlsx), not a text table; open it, save the sheet as \"CSV "
       "UTF-8\" and use that file"},
      {std::string("a,b\0\x01\n", 6),
       "2 stdin: holds bytes that are no text, so it is no text table"},
      {"event_id,M\xFC,type,time\n",
       "2 stdin: line 1: expected the names of the columns, as UTF-8 text"},
      {"event_id,Order No,type,time\n",
       "2 stdin: column 2 of the first line: unknown field \"Order No\", did you mean "
       "\"order_id\"?"},
      {"event_id,order_id,type,time,type\n",
       "2 stdin: column 5 of the first line: \"type\" stands there twice"},
      {"event_id,,type,time\n", "2 stdin: column 2 of the first line: has no name"},
      {"event_id,order_id,time\n",
       "2 stdin: the first line names no column `type`; every event needs it"},
      {"event_id,type,time\n",
       "2 stdin: the first line names no column `order_id`; every event needs it"},
      {"event_id,\"order_id\n", "2 stdin: line 1: a quote is opened on this line and never closed"},
  };
  for (const auto& [content, expected] : cases) EXPECT_EQ(RefusalOf(content), expected);
}

TEST(EventFileTest, FilesThatCannotBeReadSayWhy) {
  const TemporaryFolder folder;
  const auto refusal = [](const std::string& path) {
    return std::get<Refusal>(EventFile::Open(path, -1, Format::kByContent));
  };
  EXPECT_EQ(refusal("/nowhere/x.csv").message, "/nowhere/x.csv: No such file or directory");
  EXPECT_EQ(refusal("/nowhere/x.csv").exit_code, kFailed);
  EXPECT_EQ(refusal(folder.Path("")).message,
            folder.Path("") + ": is a directory; name the files in it");
}

TEST(EventFileTest, RowsOfAnotherLengthAreRefusedAlone) {
  EXPECT_THAT(
      RowsOf(std::string(kHeader) + "1,2,3\n1,2,3,4,5\n1,2,3,4\n1,M\xFC,3,4\n1,2"),
      ElementsAre("2!WRONG_COLUMNS expected 4 columns as in the first line, found 3; a text "
                  "with a comma in it must stand in quotes",
                  "3!WRONG_COLUMNS expected 4 columns as in the first line, found 5; a text "
                  "with a comma in it must stand in quotes",
                  "4:event_id=1,order_id=2,type=3,time=4,",
                  "5!NOT_UTF8 byte 4 of the line is no UTF-8 text",
                  "6!CUT_LINE the file ends in the middle of this line, in column 2 of 4"));
}

TEST(EventFileTest, LastLineNeedsNoEnd) {
  EXPECT_THAT(RowsOf(std::string(kHeader) + "1,2,3,4"),
              ElementsAre("2:event_id=1,order_id=2,type=3,time=4,"));
  EXPECT_THAT(RowsOf("{\"a\":\"1\"}"), ElementsAre("1:a=1,"));
}

TEST(EventFileTest, EmptyMeansNotOneLine) {
  const auto is_empty = [](const std::string& content) {
    const Pipe pipe(content);
    return std::get<0>(EventFile::Open("-", pipe.fd(), Format::kByContent))->is_empty();
  };
  EXPECT_TRUE(is_empty(""));
  EXPECT_TRUE(is_empty("\n \r\n"));
  EXPECT_FALSE(is_empty(kHeader));
}

}  // namespace
}  // namespace plumblane::client
