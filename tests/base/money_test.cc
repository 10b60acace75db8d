// Money: minor units by ISO 4217 (list one), and the amounts people write.
#include "base/money.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace plumblane {
namespace {

using ::testing::AllOf;
using ::testing::HasSubstr;

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

}  // namespace
}  // namespace plumblane
