// Money: minor units by ISO 4217 (list one), and the amounts people write.
#include "base/money.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cstdlib>
#include <limits>
#include <numeric>
#include <random>

namespace plumblane {
namespace {

using ::testing::AllOf;
using ::testing::ElementsAre;
using ::testing::HasSubstr;

constexpr int64_t kMost = std::numeric_limits<int64_t>::max();
constexpr int64_t kLeast = std::numeric_limits<int64_t>::min();

TEST(Money, CurrenciesHaveTheDigitsOfIso4217) {
  struct Digits {
    int digits;
    std::vector<const char*> currencies;
  };
  for (const Digits& d : std::vector<Digits>{
           {0, {"JPY", "KRW", "VND", "CLP", "ISK", "UGX", "XAF", "XOF", "XPF", "BIF", "VUV"}},
           {2,
            {"EUR", "USD", "CNY", "GBP", "SEK", "TRY", "HUF", "CZK", "INR", "AED", "ZWG", "XCG"}},
           {3, {"KWD", "BHD", "IQD", "JOD", "LYD", "OMR", "TND"}},
           {4, {"CLF", "UYW"}}}) {
    for (const char* currency : d.currencies) {
      EXPECT_EQ(MinorUnitDigits(currency), d.digits) << currency;
    }
  }
  for (const char* none : {"", "EU", "EURO", "eur", "XXX", "ABC", "DEM", "XAU", "E R"}) {
    EXPECT_EQ(MinorUnitDigits(none), std::nullopt) << none;
  }
}

struct Amount {
  const char* amount;
  const char* currency;
  int64_t minor_units;
};

class AcceptedAmount : public ::testing::TestWithParam<Amount> {};

TEST_P(AcceptedAmount, IsThatManyMinorUnits) {
  const Amount& a = GetParam();
  const auto money = ParseMoney(a.amount, a.currency);
  ASSERT_TRUE(money.ok()) << a.amount << " " << a.currency << ": " << money.status();
  EXPECT_EQ(money->minor_units, a.minor_units) << a.amount << " " << a.currency;
}

INSTANTIATE_TEST_SUITE_P(
    Money, AcceptedAmount,
    ::testing::Values(
        Amount{"13.75", "EUR", 1375}, Amount{"13.7", "EUR", 1370}, Amount{"13", "EUR", 1300},
        Amount{"0.01", "EUR", 1}, Amount{"0", "EUR", 0}, Amount{"-0", "EUR", 0},
        Amount{"-13.75", "EUR", -1375}, Amount{"007.50", "EUR", 750}, Amount{"13.75", "HUF", 1375},
        Amount{"1375", "JPY", 1375}, Amount{"-1", "JPY", -1}, Amount{"1.234", "KWD", 1234},
        Amount{"1.2", "KWD", 1200}, Amount{"1.2345", "CLF", 12345},
        // Exports that give every currency two decimals.
        Amount{"1375.00", "JPY", 1375}, Amount{"13.7500", "EUR", 1375},
        // The largest there is.
        Amount{"100000000.00", "EUR", 10'000'000'000}, Amount{"-100000000", "EUR", -10'000'000'000},
        Amount{"10000000000", "JPY", 10'000'000'000},
        Amount{"1000000.0000", "CLF", 10'000'000'000}));

struct BadAmount {
  const char* amount;
  const char* currency;
  const char* message;
};

class RefusedAmount : public ::testing::TestWithParam<BadAmount> {};

TEST_P(RefusedAmount, SaysWhatWasExpected) {
  const BadAmount& a = GetParam();
  const auto money = ParseMoney(a.amount, a.currency);
  ASSERT_FALSE(money.ok()) << a.amount << " " << a.currency << " was taken as "
                           << money->minor_units;
  EXPECT_TRUE(absl::IsInvalidArgument(money.status()));
  EXPECT_THAT(std::string(money.status().message()), HasSubstr(a.message)) << a.amount;
}

INSTANTIATE_TEST_SUITE_P(
    Money, RefusedAmount,
    ::testing::Values(
        BadAmount{"13.755", "EUR", "plain amount in EUR with at most 2 decimals"},
        BadAmount{"0.5", "JPY", "plain amount in JPY with at most 0 decimals"},
        BadAmount{"1.2345", "KWD", "at most 3 decimals"},
        BadAmount{"1.23456", "CLF", "at most 4 decimals"},
        // In Vietnam this is a quarter of a million, not 250.
        BadAmount{"250.000", "VND", "at most 0 decimals"},
        BadAmount{"1.000", "EUR", "at most 2 decimals"}, BadAmount{"", "EUR", "plain amount"},
        BadAmount{"-", "EUR", "plain amount"}, BadAmount{".", "EUR", "plain amount"},
        BadAmount{"+1", "EUR", "plain amount"}, BadAmount{"--1", "EUR", "plain amount"},
        BadAmount{"1-", "EUR", "plain amount"}, BadAmount{" 1", "EUR", "plain amount"},
        BadAmount{"1 ", "EUR", "plain amount"}, BadAmount{"1,5", "EUR", "plain amount"},
        BadAmount{"1,000.00", "EUR", "plain amount"}, BadAmount{"1.000.00", "EUR", "plain amount"},
        BadAmount{"1e3", "EUR", "plain amount"}, BadAmount{"0x10", "EUR", "plain amount"},
        BadAmount{"nan", "EUR", "plain amount"}, BadAmount{"EUR 1", "EUR", "plain amount"},
        BadAmount{"\xE2\x82\xAC"
                  "1",
                  "EUR", "plain"},
        BadAmount{"100000000.01", "EUR", "at most 100000000.00 EUR"},
        BadAmount{"-100000000.01", "EUR", "at most 100000000.00 EUR"},
        BadAmount{"10000000001", "JPY", "at most 10000000000 JPY"},
        BadAmount{"1000000001", "EUR", "at most 100000000.00 EUR"},
        BadAmount{"9223372036854775808", "EUR", "at most 100000000.00 EUR"},
        BadAmount{"99999999999999999999999999999999", "JPY", "at most 10000000000 JPY"},
        BadAmount{"1", "", "ISO 4217 currency"}, BadAmount{"1", "EURO", "ISO 4217 currency"},
        BadAmount{"1", "XXX", "not \"XXX\""}, BadAmount{"1", "E\xC3\x9C", "ISO 4217 currency"}));

TEST(Money, TheCurrencyIsTakenInAnyCaseAndKeptInUpperCase) {
  EXPECT_EQ(*ParseMoney("1", "eUr"), (Money{100, "EUR"}));
}

TEST(Money, IsWrittenWithAllDigitsOfItsCurrency) {
  EXPECT_EQ(FormatMoney({1375, "EUR"}), "13.75 EUR");
  EXPECT_EQ(FormatMoney({5, "EUR"}), "0.05 EUR");
  EXPECT_EQ(FormatMoney({-5, "EUR"}), "-0.05 EUR");
  EXPECT_EQ(FormatMoney({0, "EUR"}), "0.00 EUR");
  EXPECT_EQ(FormatMoney({1375, "JPY"}), "1375 JPY");
  EXPECT_EQ(FormatMoney({1005, "KWD"}), "1.005 KWD");
  EXPECT_EQ(FormatMoney({-12345, "CLF"}), "-1.2345 CLF");
}

TEST(Money, WhatIsWrittenIsReadBack) {
  for (const char* currency : {"EUR", "JPY", "KWD", "CLF"}) {
    for (const int64_t units : {int64_t{0}, int64_t{1}, int64_t{-9}, int64_t{12'345'678},
                                kMaxMinorUnits, -kMaxMinorUnits}) {
      const std::string text = FormatMoney({units, currency});
      const auto read = ParseMoney(text.substr(0, text.find(' ')), currency);
      ASSERT_TRUE(read.ok()) << text << ": " << read.status();
      EXPECT_EQ(*read, (Money{units, currency})) << text;
    }
  }
}

TEST(Rounding, GoesToTheEvenOneOfTwoAsNear) {
  struct Case {
    int64_t numerator, denominator, quotient;
  };
  for (const Case& c : std::vector<Case>{// Python integers.
                                         {5, 2, 2},
                                         {7, 2, 4},
                                         {-5, 2, -2},
                                         {-7, 2, -4},
                                         {1, 2, 0},
                                         {3, 2, 2},
                                         {1005, 10, 100},
                                         // 1.2345 and 1.2355 KWD as fils: Python Decimal.
                                         {12345, 10, 1234},
                                         {12355, 10, 1236},
                                         // As far as int64 goes: Python integers.
                                         {kMost, 2, 4'611'686'018'427'387'904},
                                         {kLeast, 1, kLeast},
                                         {kMost, kMost, 1},
                                         {kLeast, kMost, -1},
                                         {kMost / 2, kMost, 0}}) {
    EXPECT_EQ(DivideHalfEven(c.numerator, c.denominator), c.quotient)
        << c.numerator << " / " << c.denominator;
  }
}

TEST(Rounding, IsNeverFurtherThanHalfAndThenEven) {
  for (int64_t denominator = 1; denominator <= 24; ++denominator) {
    for (int64_t numerator = -100; numerator <= 100; ++numerator) {
      const int64_t quotient = DivideHalfEven(numerator, denominator);
      const int64_t off = 2 * std::abs(numerator - quotient * denominator);
      ASSERT_LE(off, denominator) << numerator << " / " << denominator << " is not " << quotient;
      if (off == denominator) {
        ASSERT_EQ(quotient % 2, 0) << numerator << " / " << denominator;
      }
    }
  }
}

TEST(Multiplying, RoundsTheExactProductOnce) {
  struct Case {
    int64_t minor_units, numerator, denominator, result;
  };
  for (const Case& c : std::vector<Case>{
           // Python integers.
           {12345, 149'325, 100'000, 18434},
           {1000, 66845, 100'000, 668},
           {kMost, kMost, kMost, kMost},
           {kMost, 2, 4, 4'611'686'018'427'387'904},
           {kLeast, 1, 3, -3'074'457'345'618'258'603},
           {kMost, 1'000'000'007, 1'000'000'009, 9'223'372'018'408'031'899},
           {-kMost, 999'999'999'999'999'999, 1'000'000'000'000'000'000, -9'223'372'036'854'775'798},
           {kLeast, kMost, kMost, kLeast},
           {0, kLeast, 1, 0}}) {
    const auto result = MultiplyHalfEven(c.minor_units, c.numerator, c.denominator);
    ASSERT_TRUE(result.ok()) << result.status();
    EXPECT_EQ(*result, c.result) << c.minor_units << " * " << c.numerator << " / " << c.denominator;
  }
}

TEST(Multiplying, RefusesWhatDoesNotFit) {
  for (const auto& [minor_units, numerator] : std::vector<std::pair<int64_t, int64_t>>{
           {kMost, 2}, {kLeast, -1}, {kMost, kMost}, {kLeast, kLeast}, {kLeast, 2}}) {
    const auto result = MultiplyHalfEven(minor_units, numerator, 1);
    ASSERT_TRUE(absl::IsOutOfRange(result.status())) << minor_units << " * " << numerator;
    EXPECT_THAT(std::string(result.status().message()), HasSubstr("within 64 bits"));
  }
}

std::vector<int64_t> Split(int64_t whole, const std::vector<int64_t>& weights) {
  return SplitByWeights(whole, weights);
}

TEST(Split, LeavesNothingOver) {
  // Python integers.
  EXPECT_THAT(Split(1000, {1, 1, 1}), ElementsAre(334, 333, 333));
  EXPECT_THAT(Split(100, {5, 3, 2, 1}), ElementsAre(46, 27, 18, 9));
  EXPECT_THAT(Split(1, {1, 1}), ElementsAre(1, 0));
  EXPECT_THAT(Split(10007, {33, 33, 34}), ElementsAre(3302, 3302, 3403));
}

TEST(Split, AtItsEdges) {
  EXPECT_THAT(Split(7, {3}), ElementsAre(7));
  EXPECT_THAT(Split(0, {1, 2}), ElementsAre(0, 0));
  EXPECT_THAT(Split(5, {0, 1, 0, 1}), ElementsAre(0, 3, 0, 2));
  EXPECT_THAT(Split(-1000, {1, 1, 1}), ElementsAre(-334, -333, -333));
  EXPECT_THAT(Split(kMost, {kMost - 1, 1}), ElementsAre(kMost - 1, 1));
  EXPECT_THAT(Split(kLeast, {1, 1}), ElementsAre(kLeast / 2, kLeast / 2));
}

TEST(Split, GivesEachPartItsShareLessOrMoreThanOneUnit) {
  std::mt19937_64 random(7);
  for (int round = 0; round < 20'000; ++round) {
    std::vector<int64_t> weights(1 + random() % 6);
    for (int64_t& weight : weights) weight = static_cast<int64_t>(random() % 12);
    weights[random() % weights.size()] += 1;
    const auto whole = static_cast<int64_t>(random() % 400) - 200;
    const auto sum = std::accumulate(weights.begin(), weights.end(), int64_t{0});
    const std::vector<int64_t> parts = Split(whole, weights);
    ASSERT_EQ(std::accumulate(parts.begin(), parts.end(), int64_t{0}), whole);
    for (size_t i = 0; i < parts.size(); ++i) {
      ASSERT_LT(std::abs(parts[i] * sum - whole * weights[i]), sum)
          << weights[i] << " of " << sum << " parts of " << whole;
    }
  }
}

TEST(Split, GivesWhatIsLeftToTheLargestRemaindersAndOfEqualOnesToTheFirst) {
  std::mt19937_64 random(8);
  for (int round = 0; round < 20'000; ++round) {
    std::vector<int64_t> weights(2 + random() % 5);
    for (int64_t& weight : weights) weight = 1 + static_cast<int64_t>(random() % 6);
    const auto whole = static_cast<int64_t>(random() % 200);
    const auto sum = std::accumulate(weights.begin(), weights.end(), int64_t{0});
    const std::vector<int64_t> parts = Split(whole, weights);
    for (size_t i = 1; i < parts.size(); ++i) {
      for (size_t before = 0; before < i; ++before) {
        const bool one_more = parts[i] > whole * weights[i] / sum;
        const bool none = parts[before] == whole * weights[before] / sum;
        if (one_more && none) {
          ASSERT_GT(whole * weights[i] % sum, whole * weights[before] % sum);
        } else if (!one_more && !none) {
          ASSERT_LE(whole * weights[i] % sum, whole * weights[before] % sum);
        }
      }
    }
  }
}

TEST(Currency, HoldsThreeLettersAndNothingOfWhatIsLonger) {
  EXPECT_EQ(sizeof(Currency), 4u);
  const Currency euro = "EUR";
  EXPECT_EQ(euro.code(), "EUR");
  EXPECT_EQ(std::string(euro), "EUR");
  EXPECT_EQ(euro, std::string("EUR"));
  EXPECT_LT(euro, "USD") << "by their letters";
  EXPECT_LT("EEK", euro);
  for (const Currency none : {Currency(), Currency(""), Currency("EURO")}) {
    EXPECT_TRUE(none.empty());
    EXPECT_EQ(none.code(), "");
  }
}

TEST(Currency, IsReadInAnyCaseAndNamedWhenUnknown) {
  EXPECT_EQ(*ParseCurrency("kWd"), "KWD");
  for (const char* text : {"", "EURO", "XXX", " EUR"}) {
    const auto currency = ParseCurrency(text);
    ASSERT_TRUE(absl::IsInvalidArgument(currency.status())) << text;
    EXPECT_THAT(std::string(currency.status().message()), HasSubstr("such as EUR, not \"")) << text;
  }
}

}  // namespace
}  // namespace plumblane
