// Lanes: what may be written, and what is meant by it.
#include "base/lane.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace plumblane {
namespace {

using ::testing::AllOf;
using ::testing::HasSubstr;

LaneQuery Read(std::string_view text) { return ParseLaneQuery(text).value(); }

std::string WhyNot(std::string_view text) {
  const auto lane = ParseLaneQuery(text);
  EXPECT_FALSE(lane.ok()) << text << " was taken";
  EXPECT_TRUE(absl::IsInvalidArgument(lane.status()));
  return std::string(lane.status().message());
}

TEST(Lane, IsWrittenInThreeForms) {
  EXPECT_EQ(Read("VN-DE"), (LaneQuery{"VN", "DE", std::nullopt}));
  EXPECT_EQ(Read("VN-DE/express"), (LaneQuery{"VN", "DE", "express"}));
  EXPECT_EQ(Read("VN-DE/-"), (LaneQuery{"VN", "DE", ""}));
  for (const char* text : {"VN-DE", "VN-DE/express", "VN-DE/-", "DEHAM-SEGOT/sea-40"}) {
    EXPECT_EQ(FormatLaneQuery(Read(text)), text);
  }
}

TEST(Lane, OfAnOrderAlwaysNamesItsService) {
  EXPECT_EQ(FormatLane({"VN", "DE", "express"}), "VN-DE/express");
  EXPECT_EQ(FormatLane({"VN", "DE", ""}), "VN-DE/-");
}

TEST(Lane, EndsAreUpperCasedServicesAreNot) {
  EXPECT_EQ(Read("vn-De/express"), (LaneQuery{"VN", "DE", "express"}));
  EXPECT_EQ(*ParseLaneEnd("wh0use"), "WH0USE");
  EXPECT_FALSE(ParseService("Express").ok());
}

TEST(Lane, EndsAreTwoToSixteenLettersOrDigits) {
  for (const char* end : {"VN", "42", "ABCDEFGHIJKLMNOP"}) EXPECT_EQ(*ParseLaneEnd(end), end);
  for (const char* end : {"", "V", "ABCDEFGHIJKLMNOPQ", "V N", "V-N", "V/N", "V_N", "VÄ", " VN"}) {
    const auto read = ParseLaneEnd(end);
    ASSERT_FALSE(read.ok()) << end;
    EXPECT_THAT(std::string(read.status().message()), HasSubstr("2 to 16 letters or digits"))
        << end;
  }
}

TEST(Lane, ServicesAreUpToThirtyTwoOfLowerCaseDigitsAndHyphen) {
  const std::string longest(32, 'x');
  for (const std::string& service : {std::string("x"), std::string("air-2"), longest}) {
    EXPECT_EQ(*ParseService(service), service);
  }
  EXPECT_EQ(*ParseService(""), "");
  EXPECT_EQ(*ParseService("-"), "");
  for (const std::string& service : {longest + "x", std::string("a b"), std::string("a/b"),
                                     std::string("a_b"), std::string("\xC3\xA4")}) {
    const auto read = ParseService(service);
    ASSERT_FALSE(read.ok()) << service;
    EXPECT_THAT(std::string(read.status().message()), HasSubstr("1 to 32 of a-z")) << service;
  }
}

TEST(Lane, AWrongOneIsAnsweredWithWhatIsWrong) {
  constexpr char kSuchAs[] = "expected a lane such as VN-DE";
  EXPECT_THAT(WhyNot("VNDE"), AllOf(HasSubstr(kSuchAs), HasSubstr("no hyphen")));
  EXPECT_THAT(WhyNot(""), AllOf(HasSubstr(kSuchAs), HasSubstr("no hyphen")));
  EXPECT_THAT(WhyNot("VN/a-b"), AllOf(HasSubstr(kSuchAs), HasSubstr("no hyphen")));
  EXPECT_THAT(WhyNot("VN-"), AllOf(HasSubstr(kSuchAs), HasSubstr("2 to 16")));
  EXPECT_THAT(WhyNot("-DE"), AllOf(HasSubstr(kSuchAs), HasSubstr("2 to 16")));
  EXPECT_THAT(WhyNot("VN-DE-SE"), AllOf(HasSubstr(kSuchAs), HasSubstr("2 to 16")));
  EXPECT_THAT(WhyNot("VN-DE/"), AllOf(HasSubstr(kSuchAs), HasSubstr("service is empty")));
  EXPECT_THAT(WhyNot("VN-DE/Air"), AllOf(HasSubstr(kSuchAs), HasSubstr("1 to 32 of a-z")));
  EXPECT_THAT(WhyNot("VN-DE/a/b"), AllOf(HasSubstr(kSuchAs), HasSubstr("1 to 32 of a-z")));
}

TEST(Lane, AQuestionWithoutServiceCoversAllServices) {
  const Lane express{"VN", "DE", "express"}, plain{"VN", "DE", ""};
  EXPECT_TRUE(Read("VN-DE").Covers(express));
  EXPECT_TRUE(Read("VN-DE").Covers(plain));
  EXPECT_TRUE(Read("VN-DE/express").Covers(express));
  EXPECT_FALSE(Read("VN-DE/express").Covers(plain));
  EXPECT_TRUE(Read("VN-DE/-").Covers(plain));
  EXPECT_FALSE(Read("VN-DE/-").Covers(express));
  EXPECT_FALSE(Read("DE-VN").Covers(plain));
  EXPECT_FALSE(Read("VN-SE").Covers(plain));
  EXPECT_FALSE(Read("TR-DE").Covers(plain));
}

}  // namespace
}  // namespace plumblane
