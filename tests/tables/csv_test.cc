// CSV: RFC 4180, figures with the decimal sign asked for, and no text that is a formula.
#include "tables/csv.h"

#include <gtest/gtest.h>

#include <random>

namespace plumblane {
namespace {

TEST(CsvLine, QuotesWhatNeedsIt) {
  // RFC 4180, section 2, rules 5 to 7.
  EXPECT_EQ(CsvTextLine({"aaa", "b\r\nbb", "ccc"}, {}), "aaa,\"b\r\nbb\",ccc\r\n");
  EXPECT_EQ(CsvTextLine({"aaa", "b\"bb", "ccc"}, {}), "aaa,\"b\"\"bb\",ccc\r\n");
  EXPECT_EQ(CsvTextLine({"a,b", "c;d", ""}, {}), "\"a,b\",c;d,\r\n");
  EXPECT_EQ(CsvTextLine({"a,b", "c;d", ""}, {';', false}), "a,b;\"c;d\";\r\n");
  EXPECT_EQ(CsvTextLine({"a b"}, {}), "a b\r\n");
}

TEST(CsvLine, OnlyFiguresTakeTheDecimalComma) {
  const std::vector<CsvValue> cells = {{"0.95", true}, {"0.95"},      {"-1.5", true},
                                       {"12", true},   {"a.b", true}, {"", true}};
  EXPECT_EQ(CsvLine(cells, {';', true}), "0,95;0.95;-1,5;12;a.b;\r\n");
  EXPECT_EQ(CsvLine(cells, {',', true}), "\"0,95\",0.95,\"-1,5\",12,a.b,\r\n");
  EXPECT_EQ(CsvLine(cells, {}), "0.95,0.95,-1.5,12,a.b,\r\n");
}

struct Case {
  const char* text;
  const char* cell;
};
constexpr Case kCases[] = {
    {"=1+2", "'=1+2"},   {"+A1", "'+A1"}, {"-A1", "'-A1"}, {"@SUM(A1)", "'@SUM(A1)"},
    {"\tx", "'\tx"},     {"-5", "-5"},    {"+49", "+49"},  {"-5.25", "-5.25"},
    {"-", "-"},          {"+", "+"},      {"-5.", "'-5."}, {"-.5", "'-.5"},
    {"--5", "'--5"},     {"1=2", "1=2"},  {"'=1", "''=1"}, {"''=1", "'''=1"},
    {"'", "'"},          {"'a", "'a"},    {"", ""},        {"-1e5", "'-1e5"},
    {"a-1043", "a-1043"}};

TEST(CsvLine, ATextThatASpreadsheetWouldRunHasAnApostrophe) {
  for (const Case& one : kCases) {
    EXPECT_EQ(CsvTextLine({one.text}, {'|', false}), std::string(one.cell) + "\r\n") << one.text;
  }
  EXPECT_EQ(CsvTextLine({"=a,b"}, {}), "\"'=a,b\"\r\n") << "before it is quoted";
  EXPECT_EQ(CsvTextLine({"\rx"}, {}), "\"'\rx\"\r\n");
}

TEST(PlainText, IsWhatWasMadeSafe) {
  for (const Case& one : kCases) EXPECT_EQ(PlainText(one.cell), one.text);
  // Whatever the text: what is read back is what was written.
  std::mt19937 random(7);
  for (int i = 0; i < 10'000; ++i) {
    std::string text;
    while (random() % 6 != 0) text += "'=+-@5.a"[random() % 8];
    std::string cell = CsvTextLine({text}, {'|', false});
    cell.resize(cell.size() - 2);
    EXPECT_EQ(PlainText(cell), text);
  }
}

}  // namespace
}  // namespace plumblane
