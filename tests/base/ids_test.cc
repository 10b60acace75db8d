// Ids: which texts may be one. Malformed UTF-8 after the table of well-formed byte sequences
// (Unicode Standard, table 3-7).
#include "base/ids.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace plumblane {
namespace {

using ::testing::HasSubstr;

bool IsId(std::string_view text) { return CheckId(text).ok(); }
bool IsEventId(std::string_view text) { return CheckEventId(text).ok(); }

std::string Times(int count, std::string_view text) {
  std::string all;
  for (int i = 0; i < count; ++i) all += text;
  return all;
}

TEST(Ids, PrintableTextIsFine) {
  for (const char* text :
       {"1", "S", "A-1042 #2", "Åsa & Söner", "越南供应商", "🚢", "a\\b", "100%"}) {
    EXPECT_TRUE(IsId(text)) << text;
    EXPECT_TRUE(IsEventId(text)) << text;
  }
}

TEST(Ids, LengthIsCountedInCharactersNotBytes) {
  for (const char* character : {"x", "ö", "越", "🚢"}) {  // 1, 2, 3 and 4 bytes
    EXPECT_TRUE(IsId(Times(64, character))) << character;
    EXPECT_FALSE(IsId(Times(65, character))) << character;
    EXPECT_TRUE(IsEventId(Times(128, character))) << character;
    EXPECT_FALSE(IsEventId(Times(129, character))) << character;
  }
  EXPECT_FALSE(IsId(""));
  EXPECT_FALSE(IsEventId(""));
}

TEST(Ids, HaveNoSlashAndNoBlankAtEitherEndButEventIdsMay) {
  for (const char* text : {"a/b", "/", "a/", " a", "a ", " "}) {
    EXPECT_FALSE(IsId(text)) << text;
    EXPECT_TRUE(IsEventId(text)) << text;
  }
  EXPECT_TRUE(IsId("a b"));
}

struct Bytes {
  const char* name;
  std::string_view bytes;
};

class NoText : public ::testing::TestWithParam<Bytes> {};

TEST_P(NoText, IsNeverAnId) {
  const std::string inside = "a" + std::string(GetParam().bytes) + "b";
  EXPECT_FALSE(IsId(GetParam().bytes));
  EXPECT_FALSE(IsId(inside));
  EXPECT_FALSE(IsEventId(inside));
}

using namespace std::string_view_literals;  // NOLINT: for zero bytes in literals

INSTANTIATE_TEST_SUITE_P(
    Ids, NoText,
    ::testing::Values(
        // Control characters would break keys and terminals.
        Bytes{"Zero", "\0"sv}, Bytes{"Tab", "\t"sv}, Bytes{"Newline", "\n"sv},
        Bytes{"UnitSeparator", "\x1F"sv}, Bytes{"Delete", "\x7F"sv}, Bytes{"FirstC1", "\xC2\x80"sv},
        Bytes{"LastC1", "\xC2\x9F"sv},
        // Invisible ones change how a line reads.
        Bytes{"ZeroWidthSpace", "\u200B"sv}, Bytes{"RightToLeftMark", "\u200F"sv},
        Bytes{"LineSeparator", "\u2028"sv}, Bytes{"RightToLeftOverride", "\u202E"sv},
        Bytes{"WordJoiner", "\u2060"sv}, Bytes{"LastOfTheBlock", "\u206F"sv},
        Bytes{"ByteOrderMark", "\uFEFF"sv},
        // Overlong forms.
        Bytes{"SlashInTwo", "\xC0\xAF"sv}, Bytes{"DelInTwo", "\xC1\xBF"sv},
        Bytes{"SlashInThree", "\xE0\x80\xAF"sv}, Bytes{"U07ffInThree", "\xE0\x9F\xBF"sv},
        Bytes{"SlashInFour", "\xF0\x80\x80\xAF"sv}, Bytes{"UffffInFour", "\xF0\x8F\xBF\xBF"sv},
        // Surrogates and beyond Unicode.
        Bytes{"FirstSurrogate", "\xED\xA0\x80"sv}, Bytes{"LastSurrogate", "\xED\xBF\xBF"sv},
        Bytes{"Above10ffff", "\xF4\x90\x80\x80"sv}, Bytes{"LeadF5", "\xF5\x80\x80\x80"sv},
        Bytes{"LeadFf", "\xFF"sv},
        // Bytes that stand where they must not.
        Bytes{"LoneContinuation", "\x80"sv}, Bytes{"LeadWithoutRest", "\xC3"sv},
        Bytes{"ThreeCutShort", "\xE8\xB6"sv}, Bytes{"FourCutShort", "\xF0\x9F\x9A"sv},
        Bytes{"LatinOne", "\xE4g"sv}),
    [](const auto& info) { return info.param.name; });

TEST(Ids, NothingBeyondTheTextIsLookedAt) {
  EXPECT_FALSE(IsId(std::string_view("越").substr(0, 2)));
  EXPECT_FALSE(IsId(std::string_view("🚢").substr(0, 3)));
}

TEST(Ids, TheNeighboursOfWhatIsRefusedAreFine) {
  for (const std::string_view text :
       {"\xC2\xA0"sv, "\xDF\xBF"sv, "\xE0\xA0\x80"sv, "\xED\x9F\xBF"sv, "\xEE\x80\x80"sv,
        "\xEF\xBF\xBD"sv, "\u200A"sv, "\u2010"sv, "\u2027"sv, "\u202F"sv, "\u205F"sv, "\u2070"sv,
        "\uFEFE"sv, "\uFF00"sv, "\xF0\x90\x80\x80"sv, "\xF4\x8F\xBF\xBF"sv, "~"sv}) {
    EXPECT_TRUE(IsId(text)) << ::testing::PrintToString(text);
  }
}

TEST(Ids, ATextInWordsHasUpTo200PrintableCharacters) {
  EXPECT_TRUE(CheckText(" port strike / storm ").ok());
  EXPECT_TRUE(CheckText(Times(200, "港")).ok());
  EXPECT_FALSE(CheckText(Times(201, "x")).ok());
  EXPECT_FALSE(CheckText("").ok());
  EXPECT_FALSE(CheckText("two\nlines").ok());
}

TEST(Ids, ARefusalSaysWhatWasExpected) {
  EXPECT_THAT(std::string(CheckId("a/b").message()), HasSubstr("1 to 64 printable characters"));
  EXPECT_THAT(std::string(CheckEventId("").message()), HasSubstr("1 to 128 printable characters"));
}

TEST(Ids, AnOrderIsWrittenWithItsPartUnlessThatIsTheFirst) {
  EXPECT_EQ(FormatOrder({"harbour", "1042"}), "harbour/1042");
  EXPECT_EQ(FormatOrder({"harbour", "1042"}, 2), "harbour/1042#2");
}

}  // namespace
}  // namespace plumblane
