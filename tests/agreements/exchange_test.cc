// Exchange rates: what is taken, exact products, and which rate holds on a day.
#include "agreements/exchange.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <limits>
#include <random>

namespace plumblane {
namespace {

using ::testing::HasSubstr;

constexpr Day kDay{20'000};

ExchangeRate Rate(const char* from, const char* to, const char* rate, Day date = kDay) {
  const auto read = ParseExchangeRate(from, to, rate, date);
  EXPECT_TRUE(read.ok()) << rate << ": " << read.status();
  return *read;
}

TEST(ExchangeRate, IsReadExactlyAndWrittenShort) {
  struct Form {
    const char* text;
    int64_t units;
    int decimals;
    const char* shortest;
  };
  for (const Form& form : std::vector<Form>{
           {"0.9213", 9213, 4, "0.9213"},
           {"0.92130", 9213, 4, "0.9213"},
           {"27450", 27450, 0, "27450"},
           {"27450.00", 27450, 0, "27450"},
           {"007.50", 75, 1, "7.5"},
           {"1", 1, 0, "1"},
           {"0.000000000001", 1, 12, "0.000000000001"},
           {"999999999999", 999'999'999'999, 0, "999999999999"},
           {"999999999999.999999", 999'999'999'999'999'999, 6, "999999999999.999999"},
           {"123456.123456789012", 123'456'123'456'789'012, 12, "123456.123456789012"}}) {
    const ExchangeRate rate = Rate("EUR", "VND", form.text);
    EXPECT_EQ(rate, (ExchangeRate{"EUR", "VND", form.units, form.decimals, kDay})) << form.text;
    EXPECT_EQ(FormatRate(rate), form.shortest);
  }
}

TEST(ExchangeRate, OfAnotherFormIsRefused) {
  for (const char* text : {"",
                           "0",
                           "0.0",
                           "000.000",
                           "-1",
                           "+1",
                           "1e3",
                           "1,5",
                           " 1",
                           "1 ",
                           "1 0",
                           ".5",
                           "5.",
                           ".",
                           "1.2.3",
                           "0x1",
                           "nan",
                           "inf",
                           "1/2",
                           "0.0000000000001",
                           "0.5000000000000",
                           "1000000000000",
                           "0000000000001",
                           "999999999999.9999999",
                           "123456789012.123456789012",
                           "99999999999999999999999999"}) {
    const auto rate = ParseExchangeRate("EUR", "USD", text, kDay);
    ASSERT_TRUE(absl::IsInvalidArgument(rate.status())) << "\"" << text << "\"";
    EXPECT_THAT(std::string(rate.status().message()),
                HasSubstr("expected a plain decimal above 0, such as 0.9213"));
    EXPECT_THAT(std::string(rate.status().message()), HasSubstr("\"" + std::string(text) + "\""));
  }
}

TEST(ExchangeRate, IsBetweenTwoCurrenciesThereAre) {
  EXPECT_EQ(Rate("eur", "Vnd", "1"), Rate("EUR", "VND", "1"));
  const auto message = [](const char* from, const char* to) {
    return std::string(ParseExchangeRate(from, to, "1", kDay).status().message());
  };
  EXPECT_THAT(message("EURO", "USD"), HasSubstr("such as EUR, not \"EURO\""));
  EXPECT_THAT(message("EUR", "XAU"), HasSubstr("such as EUR, not \"XAU\""));
  EXPECT_THAT(message("EUR", "eur"), HasSubstr("two different currencies, not EUR twice"));
}

struct Sum {
  int64_t minor_units;
  const char* from;
  const char* to;
  const char* rate;
  int64_t there;
  int64_t back;  // of `minor_units` of `to`, in `from`
};

class Converted : public ::testing::TestWithParam<Sum> {};

TEST_P(Converted, IsRoundedOnceAtTheEnd) {
  const Sum& sum = GetParam();
  const ExchangeRate rate = Rate(sum.from, sum.to, sum.rate);
  const auto there = ConvertMinorUnits(sum.minor_units, rate, false);
  ASSERT_TRUE(there.ok()) << there.status();
  EXPECT_EQ(*there, sum.there) << sum.minor_units << " " << sum.from << " at " << sum.rate;
  const auto back = ConvertMinorUnits(sum.minor_units, rate, true);
  ASSERT_TRUE(back.ok()) << back.status();
  EXPECT_EQ(*back, sum.back) << sum.minor_units << " " << sum.to << " at " << sum.rate;
}

// Python fractions.Fraction, rounded by round() (half to even).
INSTANTIATE_TEST_SUITE_P(
    Exchange, Converted,
    ::testing::Values(Sum{12'345, "USD", "JPY", "149.325", 18'434, 8'267},
                      Sum{1'000, "JPY", "USD", "0.0066845", 668, 1'496},
                      // 1.2345 and 1.2355 as fils.
                      Sum{12'345, "CLF", "KWD", "1", 1'234, 123'450},
                      Sum{12'355, "CLF", "KWD", "1", 1'236, 123'550},
                      // Halves to the even one, either sign.
                      Sum{5, "EUR", "USD", "0.5", 2, 10}, Sum{7, "EUR", "USD", "0.5", 4, 14},
                      Sum{-5, "EUR", "USD", "0.5", -2, -10}, Sum{-7, "EUR", "USD", "0.5", -4, -14},
                      Sum{5, "EUR", "USD", "2", 10, 2}, Sum{7, "EUR", "USD", "2", 14, 4},
                      // From 0 to 4 digits and back.
                      Sum{1'234, "JPY", "CLF", "0.00017", 2'098, 726},
                      Sum{1, "JPY", "CLF", "999999999999", 9'999'999'999'990'000, 0},
                      Sum{999, "JPY", "CLF", "3", 29'970'000, 0},
                      Sum{7'777'777, "CLF", "JPY", "5873.21", 4'568'052, 13'242'804},
                      Sum{99'999, "JPY", "KWD", "0.0020485", 204'848, 48'816},
                      Sum{99'999, "KWD", "JPY", "488.1621", 48'816, 204'848},
                      Sum{12'345, "KWD", "CLF", "0.0825", 10'185, 14'964},
                      Sum{1'375, "EUR", "VND", "27450.123456", 377'439, 5},
                      // As far as it goes.
                      Sum{10'000'000'000, "EUR", "VND", "99999999.9999999999",
                          10'000'000'000'000'000, 10'000},
                      Sum{9'223'372'036'000'000'000, "EUR", "USD", "0.999999999999",
                          9'223'372'035'990'776'628, 9'223'372'036'009'223'372},
                      Sum{0, "EUR", "USD", "1.1", 0, 0}));

TEST(Exchange, BeyondInt64IsAnError) {
  constexpr int64_t kMost = std::numeric_limits<int64_t>::max();
  const ExchangeRate rate = Rate("EUR", "JPY", "149.325");
  EXPECT_TRUE(absl::IsOutOfRange(ConvertMinorUnits(kMost, rate, false).status()));
  EXPECT_TRUE(absl::IsOutOfRange(ConvertMinorUnits(-kMost, rate, false).status()));
  EXPECT_TRUE(ConvertMinorUnits(kMost, rate, true).ok());
  ExchangeBook book;
  book.Load({rate});
  EXPECT_TRUE(absl::IsOutOfRange(book.Convert({kMost, "EUR"}, "JPY", kDay).status()));
}

class Rates : public ::testing::Test {
 protected:
  // The sum in `to`, and by which rate; "" for none.
  void ExpectAt(const char* rate, bool inverse, int64_t minor_units, Day day,
                const char* from = "EUR", const char* to = "USD") {
    const auto conversion = book_.Convert({10'000, from}, to, day);
    ASSERT_TRUE(conversion.ok()) << conversion.status();
    EXPECT_EQ(conversion->money, (Money{minor_units, to}));
    ASSERT_NE(conversion->rate, nullptr);
    EXPECT_EQ(FormatRate(*conversion->rate), rate);
    EXPECT_EQ(conversion->inverse, inverse);
  }

  ExchangeBook book_;
};

TEST_F(Rates, ConvertsAtTheLatestRateOfTheDayOrBefore) {
  book_.Load({Rate("EUR", "USD", "1.2", kDay + 10), Rate("EUR", "USD", "1.1", kDay),
              Rate("EUR", "USD", "1.3", kDay + 20), Rate("EUR", "SEK", "11", kDay + 12)});
  ExpectAt("1.1", false, 11'000, kDay);
  ExpectAt("1.1", false, 11'000, kDay + 9);
  ExpectAt("1.2", false, 12'000, kDay + 10);
  ExpectAt("1.3", false, 13'000, kDay + 400);
  EXPECT_TRUE(absl::IsNotFound(book_.Convert({1, "EUR"}, "USD", kDay - 1).status()));
}

TEST_F(Rates, TakesARateEitherWayRound) {
  book_.Load({Rate("USD", "EUR", "0.8", kDay)});
  ExpectAt("0.8", true, 12'500, kDay);
  ExpectAt("0.8", false, 8'000, kDay, "USD", "EUR");
}

TEST_F(Rates, TakesTheLaterOfTwoGivenBothWays) {
  book_.Load({Rate("EUR", "USD", "1.2", kDay), Rate("USD", "EUR", "0.8", kDay + 1),
              Rate("EUR", "USD", "1.3", kDay + 2)});
  ExpectAt("1.2", false, 12'000, kDay);
  ExpectAt("0.8", true, 12'500, kDay + 1);
  ExpectAt("1.3", false, 13'000, kDay + 2);
}

TEST_F(Rates, TakesTheOneAskedForOfTwoOfOneDay) {
  book_.Load({Rate("USD", "EUR", "0.8"), Rate("EUR", "USD", "1.2")});
  ExpectAt("1.2", false, 12'000, kDay);
  ExpectAt("0.8", false, 8'000, kDay, "USD", "EUR");
}

TEST_F(Rates, ALaterRateOfTheSameDayReplacesTheEarlier) {
  book_.Load({Rate("EUR", "USD", "1.2"), Rate("EUR", "USD", "1.3")});
  ExpectAt("1.3", false, 13'000, kDay);
  book_.Load({Rate("EUR", "USD", "1.4")});
  ExpectAt("1.4", false, 14'000, kDay);
  EXPECT_EQ(book_.all().at({"EUR", "USD"}).size(), 1u);
}

TEST_F(Rates, TheSameCurrencyNeedsNoRate) {
  const auto conversion = book_.Convert({12'345, "EUR"}, "EUR", kDay);
  ASSERT_TRUE(conversion.ok());
  EXPECT_EQ(conversion->money, (Money{12'345, "EUR"}));
  EXPECT_EQ(conversion->rate, nullptr);
}

TEST_F(Rates, AMissingRateIsNamedAndNotFoundByWayOfAThirdCurrency) {
  book_.Load({Rate("EUR", "USD", "1.2"), Rate("USD", "VND", "25000")});
  const auto conversion = book_.Convert({1, "EUR"}, "VND", kDay);
  ASSERT_TRUE(absl::IsNotFound(conversion.status()));
  EXPECT_EQ(std::string(conversion.status().message()),
            "expected a rate of EUR and VND of " + FormatDay(kDay) + " or before; there is none");
}

// At a rate of 1.5 or more, half a unit off there is less than half a unit off back here.
TEST(Exchange, ThereAndBackIsTheSameSumWhereTheRateIsAboveOne) {
  std::mt19937_64 random(5);
  for (int round = 0; round < 5'000; ++round) {
    const auto minor_units = static_cast<int64_t>(random() % 10'000'000) - 5'000'000;
    const std::string text = std::to_string(1 + random() % 999) + ".5";
    const ExchangeRate rate = Rate("USD", "EUR", text.c_str());
    const auto there = ConvertMinorUnits(minor_units, rate, false);
    ASSERT_TRUE(there.ok());
    ASSERT_EQ(ConvertMinorUnits(*there, rate, true).value(), minor_units) << text;
  }
}

}  // namespace
}  // namespace plumblane
