// How tables are written, told from their bytes: table_sniff.h, text_decoder.h, wide_file.h.

#include "client/table_sniff.h"

#include <gmock/gmock.h>

#include "client/support.h"

namespace plumblane::client {
namespace {

using testing::ElementsAre;
using testing::HasSubstr;

std::string Utf16(const std::string& ascii, bool big, bool mark) {
  std::string text = mark ? (big ? "\xFE\xFF" : "\xFF\xFE") : "";
  for (const char c : ascii) text += big ? std::string{'\0', c} : std::string{c, '\0'};
  return text;
}

// "utf-8 , header skip 0": encoding, delimiter, names or none, lines above them.
std::string FormOf(const std::string& bytes) {
  const SniffedTable table = Sniff(bytes, /*is_whole=*/true);
  const TableForm& form = table.form;
  return form.encoding + " " + (form.delimiter == '\t' ? 't' : form.delimiter) +
         (form.cr_ends_line ? " cr" : "") + (form.has_header ? " header" : " none") + " skip " +
         std::to_string(form.skip_lines);
}

constexpr char kTable[] = "Order,Paid,Note\n1,2026-03-05,x\n2,2026-03-06,\n";

TEST(TableSniffTest, TellsEncodingSeparatorEndsAndNames) {
  std::string semicolons = "Order;Cost;Note\r\n1;12,50;\"a;b, c\"\r\n2;3,20;\r\n";
  const std::pair<std::string, std::string> cases[] = {
      {kTable, "utf-8 , header skip 0"},
      {std::string("\xEF\xBB\xBF") + kTable, "utf-8 , header skip 0"},
      {Utf16(kTable, false, true), "utf-16le , header skip 0"},
      {Utf16(kTable, true, true), "utf-16be , header skip 0"},
      {Utf16(kTable, false, false), "utf-16le , header skip 0"},
      {Utf16(kTable, true, false), "utf-16be , header skip 0"},
      {semicolons, "utf-8 ; header skip 0"},
      {"Bestellung;Stra\xDF"
       "e\n1;a\n",
       "latin-1 ; header skip 0"},
      {"a\tb, c\td\n1\t2\t3\n", "utf-8 t header skip 0"},
      {"a|b\n1|2\n", "utf-8 | header skip 0"},
      {"a,b\r1,2\r3,4\r", "utf-8 , cr header skip 0"},
      {"1001,2026-03-05,x\n1002,2026-03-06,y\n", "utf-8 , none skip 0"},
      {"Orders of March\n\nmade on Monday\nOrder,Paid\n1,2026-03-05\n2,2026-03-05\n",
       "utf-8 , header skip 3"},
      {"Order\n1\n2\n", "utf-8 , header skip 0"},
      {"a;\"x\ny;z\";c\n1;\"p \"\"q\"\"\";3\n4;5;6\n", "utf-8 ; header skip 0"},
  };
  for (const auto& [bytes, expected] : cases) EXPECT_EQ(FormOf(bytes), expected) << bytes;
}

TEST(TableSniffTest, ACharacterCutAtTheEndOfWhatWasLookedAtIsNoLatin1) {
  EXPECT_EQ(Sniff("a,b\n1,\xC3", /*is_whole=*/false).form.encoding, "utf-8");
  EXPECT_EQ(Sniff("a,b\n1,\xC3", /*is_whole=*/true).form.encoding, "latin-1");
}

TEST(TableSniffTest, ARowInAnotherEncodingMakesNoOtherEncodingOfTheFile) {
  EXPECT_EQ(Sniff("a,b\n1,\xC3\xA4\n2,\xE4\n", true).form.encoding, "utf-8");
  EXPECT_EQ(Sniff("a,b\n1,\xC3\xA4\n2,\xE4 \xF6\n", true).form.encoding, "latin-1");
}

TEST(TableSniffTest, JsonIsToldByItsFirstSign) {
  for (const char* const text : {"[{\"a\":1}]", " \n{\"a\":1}\n", "\xEF\xBB\xBF[1]"}) {
    EXPECT_TRUE(Sniff(text, true).form.is_json) << text;
  }
  EXPECT_FALSE(Sniff(kTable, true).form.is_json);
}

TEST(TextDecoderTest, ALetterHeldBackForAMarkIsNotLostAtTheEnd) {
  std::string text;
  const auto decoder = TextDecoder::Make("windows-1258", /*cr_ends_line=*/false);
  (*decoder)->Decode("ma", text);
  (*decoder)->Decode("\xCC i", text);  // a mark above the letter before it
  (*decoder)->Finish(text);
  EXPECT_EQ(text, "m\xC3\xA0 i");
}

TEST(TableSniffTest, WhatIsNoTextTableIsCalledByItsName) {
  const TemporaryFolder folder;
  const auto said = [&](const std::string& bytes) {
    const auto sniffed = SniffFile(folder.Write("f", bytes));
    const auto* refusal = std::get_if<Refusal>(&sniffed);
    return refusal == nullptr ? "" : refusal->message.substr(folder.Path("f: ").size());
  };
  EXPECT_EQ(said(std::string("PK\x03\x04\0\0", 6) + "xl/workbook.xml"),
            "is a spreadsheet (.xlsx), not a text table; open it, save the sheet as \"CSV UTF-8\" "
            "and use that file");
  EXPECT_THAT(said("\xD0\xCF\x11\xE0\xA1"), HasSubstr("(.xls)"));
  EXPECT_THAT(said("\x1F\x8B\x08"), HasSubstr("gzip"));
  EXPECT_THAT(said(std::string("a,b\n\0\x01\x02", 7)), HasSubstr("no text table"));
  EXPECT_EQ(said("  \n"), "nothing in it");
  EXPECT_EQ(said(kTable), "");
  EXPECT_EQ(std::get<Refusal>(SniffFile("/nowhere/x")).message,
            "/nowhere/x: No such file or directory");
}

// Rows as "line:cell|cell" or "line!code".
std::vector<std::string> RowsOf(const std::string& bytes, const TableForm& form) {
  const Pipe pipe(bytes);
  WideFile::Opened opened = WideFile::Open("-", pipe.fd(), form);
  if (const auto* refusal = std::get_if<Refusal>(&opened)) return {refusal->message};
  WideFile& file = *std::get<std::unique_ptr<WideFile>>(opened);
  std::vector<std::string> rows;
  for (const std::string& column : file.columns()) rows.push_back(column);
  while (auto next = file.Next()) {
    if (const auto* bad = std::get_if<Rejection>(&*next)) {
      rows.push_back(std::to_string(bad->line) + "!" + bad->complaint.code);
      continue;
    }
    const WideRow& row = std::get<WideRow>(*next);
    rows.push_back(std::to_string(row.line) + ":");
    for (const std::string& cell : row.cells) rows.back() += cell + "|";
  }
  return rows;
}

TEST(WideFileTest, EncodingsAndLineEndsComeToTheSameRows) {
  TableForm form;
  const auto expected =
      ElementsAre("Order", "Paid", "Note", "2:1|2026-03-05|x|", "3:2|2026-03-06||");
  EXPECT_THAT(RowsOf(kTable, form), expected);
  form.encoding = "utf-16le";
  EXPECT_THAT(RowsOf(Utf16(kTable, false, true), form), expected);
  form.encoding = "utf-16be";
  EXPECT_THAT(RowsOf(Utf16(kTable, true, false), form), expected);
  form = {};
  form.cr_ends_line = true;
  EXPECT_THAT(RowsOf("Order,Paid,Note\r1,2026-03-05,x\r2,2026-03-06,\r", form), expected);
  form = {};
  form.encoding = "latin-1";
  EXPECT_THAT(RowsOf("Stra\xDF"
                     "e\n\x80 5\n",
                     form),
              ElementsAre("Stra\xC3\x9F"
                          "e",
                          "2:\xE2\x82\xAC 5|"));
  form.encoding = "klingon";
  EXPECT_THAT(RowsOf(kTable, form), ElementsAre(HasSubstr("windows-1250")));
}

TEST(WideFileTest, NamesAreEachThereOnceAndWordsForNothingAreNothing) {
  EXPECT_THAT(RowsOf("A,,A , B\n1,-, n/a ,0000-00-00\n", {}),
              ElementsAre("A", "2", "A (2)", "B", "2:1||||"));
}

TEST(WideFileTest, RowsThatAreShortEndInNothingAndLongOnesAreRefused) {
  EXPECT_THAT(RowsOf("A,B,C\n1\n1,2,3,,\n1,2,3,4\n1,2", {}),
              ElementsAre("A", "B", "C", "2:1|||", "3:1|2|3|", "4!WRONG_COLUMNS", "5!CUT_LINE"));
}

TEST(WideFileTest, BytesThatAreNoTextCostTheirRowAlone) {
  EXPECT_THAT(RowsOf(std::string("A,B\n1,\0x\n2,y\n3,\xE4\n", 17), {}),
              ElementsAre("A", "B", "2!NOT_TEXT", "3:2|y|", "4!NOT_UTF8"));
  EXPECT_THAT(RowsOf(std::string("A,\0\n", 4) + std::string(400, 'x'), {}),
              ElementsAre(HasSubstr("line 1: byte 3 of the line is no text but 0x00")));
}

TEST(WideFileTest, MembersOfJsonObjectsAreColumns) {
  const TemporaryFolder folder;
  const auto rows_of = [&](const std::string& text) {
    const std::string path = folder.Write("t.json", text);
    TableForm form;
    form.is_json = true;
    WideFile::Opened opened = WideFile::Open(path, -1, form);
    if (const auto* refusal = std::get_if<Refusal>(&opened)) {
      return std::vector{refusal->message.substr(path.size() + 2)};
    }
    WideFile& file = *std::get<std::unique_ptr<WideFile>>(opened);
    std::vector<std::string> rows = {testing::PrintToString(file.columns())};
    while (auto next = file.Next()) {
      const auto* row = std::get_if<WideRow>(&*next);
      rows.push_back(row != nullptr ? std::to_string(row->line) + testing::PrintToString(row->cells)
                                    : std::get<Rejection>(*next).complaint.code);
    }
    return rows;
  };
  EXPECT_THAT(
      rows_of("[{\"a\": 1, \"n\": {\"x\": 2}},\n {\"b\": \" y \", \"a\": null, \"l\": [1]}]"),
      ElementsAre(R"({ "a", "b" })", R"(1{ "1", "" })", R"(2{ "", "y" })"));
  EXPECT_THAT(rows_of("{\"a\": true}\n{\"a\": 1.50\n{\"a\": \"-\"}\n"),
              ElementsAre(R"({ "a" })", R"(1{ "true" })", "NOT_JSON", R"(3{ "" })"));
  EXPECT_THAT(rows_of("[1, 2]"), ElementsAre(HasSubstr("without a list of objects")));
  EXPECT_THAT(rows_of("{\"a\": {}}"), ElementsAre(HasSubstr("without a list of objects")));
  EXPECT_THAT(rows_of(""), ElementsAre("{}"));
}

TEST(WideFileTest, ATableWithoutNamesLosesNoRow) {
  TableForm form;
  form.has_header = false;
  form.skip_lines = 1;
  EXPECT_THAT(RowsOf("title\n7,8\n9,10\n", form), ElementsAre("1", "2", "2:7|8|", "3:9|10|"));
}

}  // namespace
}  // namespace plumblane::client
