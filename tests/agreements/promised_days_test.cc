// Promises in days: the forms suppliers write, and the day they come to.
#include "agreements/promised_days.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <chrono>
#include <random>
#include <vector>

namespace plumblane {
namespace {

using ::testing::HasSubstr;

struct Form {
  const char* text;
  PromisedDays promise;
  const char* shortest;
};

class PromiseTaken : public ::testing::TestWithParam<Form> {};

TEST_P(PromiseTaken, IsThatManyDaysAndIsWrittenShort) {
  const Form& form = GetParam();
  const auto promise = ParsePromisedDays(form.text);
  ASSERT_TRUE(promise.ok()) << form.text << ": " << promise.status();
  EXPECT_EQ(*promise, form.promise) << form.text;
  EXPECT_EQ(FormatPromisedDays(*promise), form.shortest);
  EXPECT_EQ(*ParsePromisedDays(form.shortest), *promise);
}

INSTANTIATE_TEST_SUITE_P(
    PromisedDays, PromiseTaken,
    ::testing::Values(Form{"8", {0, 8, false}, "8"}, Form{"0", {0, 0, false}, "0"},
                      Form{"08", {0, 8, false}, "8"}, Form{"365", {0, 365, false}, "365"},
                      // Of a range the upper end.
                      Form{"5-8", {0, 8, false}, "8"}, Form{"8-8", {0, 8, false}, "8"},
                      Form{"1-2+5-8", {2, 8, false}, "2+8"}, Form{"2+5-8", {2, 8, false}, "2+8"},
                      Form{"1-2+8", {2, 8, false}, "2+8"}, Form{"3+0", {3, 0, false}, "3+0"},
                      Form{"0+8", {0, 8, false}, "8"}, Form{"65+300", {65, 300, false}, "65+300"},
                      Form{"8 working", {0, 8, true}, "8 working"},
                      Form{"0 working", {0, 0, true}, "0 working"},
                      Form{"1-2+5-8 working", {2, 8, true}, "2+8 working"},
                      Form{"  1 - 2 +\t5 - 8   working ", {2, 8, true}, "2+8 working"}));

struct BadForm {
  const char* text;
  const char* message;
};

class PromiseRefused : public ::testing::TestWithParam<BadForm> {};

TEST_P(PromiseRefused, SaysWhatWasExpectedAndWhatCame) {
  const BadForm& form = GetParam();
  const auto promise = ParsePromisedDays(form.text);
  ASSERT_FALSE(promise.ok()) << form.text << " was taken as " << FormatPromisedDays(*promise);
  EXPECT_TRUE(absl::IsInvalidArgument(promise.status()));
  EXPECT_THAT(std::string(promise.status().message()), HasSubstr(form.message)) << form.text;
  EXPECT_THAT(std::string(promise.status().message()), HasSubstr(form.text));
}

constexpr const char* kForms = "expected days such as 8, 5-8 or 1-2+5-8";
INSTANTIATE_TEST_SUITE_P(
    PromisedDays, PromiseRefused,
    ::testing::Values(
        BadForm{"", kForms}, BadForm{" ", kForms}, BadForm{"working", kForms},
        BadForm{" working", kForms}, BadForm{"8working", kForms},
        BadForm{"8 working working", kForms}, BadForm{"8 Working", kForms},
        BadForm{"8 working days", kForms}, BadForm{"working 8", kForms}, BadForm{"8 days", kForms},
        BadForm{"-8", kForms}, BadForm{"+8", kForms}, BadForm{"8-", kForms}, BadForm{"8+", kForms},
        BadForm{"2++8", kForms}, BadForm{"2+-8", kForms}, BadForm{"5--8", kForms},
        BadForm{"5-8-9", kForms}, BadForm{"1+2+3", kForms}, BadForm{"1-2+5-8+1", kForms},
        BadForm{"1 0", kForms}, BadForm{"8.5", kForms}, BadForm{"8,5", kForms},
        BadForm{"1e1", kForms}, BadForm{"0x8", kForms}, BadForm{"5\xE2\x80\x93 8", kForms},
        BadForm{"8\n", kForms}, BadForm{"8-5", "the smaller number of a range first"},
        BadForm{"2-1+8", "the smaller number of a range first"},
        BadForm{"2+8-5 working", "the smaller number of a range first"},
        BadForm{"366", "at most 365 days in all"}, BadForm{"66+300", "at most 365 days in all"},
        BadForm{"1-366", "at most 365 days in all"},
        BadForm{"99999999999999999999", "at most 365 days in all"},
        BadForm{"1+18446744073709551617", "at most 365 days in all"}));

Day On(const char* date) { return *ParseDay(date); }

struct Case {
  const char* promise;
  const char* paid;
  std::vector<std::pair<const char*, const char*>> closures;
  const char* promised;
};

class Promised : public ::testing::TestWithParam<Case> {};

TEST_P(Promised, IsThatDay) {
  const Case& c = GetParam();
  std::vector<DayRange> closures;
  for (const auto& [first, last] : c.closures) closures.push_back({On(first), On(last)});
  EXPECT_EQ(FormatDay(PromisedDay(*ParsePromisedDays(c.promise), On(c.paid), closures)), c.promised)
      << c.promise << " paid on " << c.paid;
}

// 2026-03-02 is a Monday.
INSTANTIATE_TEST_SUITE_P(EveryDayCounts, Promised,
                         ::testing::Values(Case{"8", "2026-03-02", {}, "2026-03-10"},
                                           Case{"2+8", "2026-03-02", {}, "2026-03-12"},
                                           Case{"0", "2026-03-02", {}, "2026-03-02"},
                                           Case{"1", "2026-12-31", {}, "2027-01-01"},
                                           Case{"365", "2027-03-01", {}, "2028-02-29"}));
INSTANTIATE_TEST_SUITE_P(WorkingDays, Promised,
                         ::testing::Values(Case{"4 working", "2026-03-02", {}, "2026-03-06"},
                                           Case{"5 working", "2026-03-02", {}, "2026-03-09"},
                                           Case{"1 working", "2026-03-06", {}, "2026-03-09"},
                                           Case{"1 working", "2026-03-07", {}, "2026-03-09"},
                                           Case{"1 working", "2026-03-08", {}, "2026-03-09"},
                                           Case{"2+8 working", "2026-03-05", {}, "2026-03-19"},
                                           // Nothing is waited for.
                                           Case{"0 working", "2026-03-07", {}, "2026-03-07"},
                                           Case{"10 working", "1970-01-01", {}, "1970-01-15"}));
INSTANTIATE_TEST_SUITE_P(
    Closures, Promised,
    ::testing::Values(
        // Paid before, inside, on the last day of, and after.
        Case{"8", "2026-03-03", {{"2026-03-04", "2026-03-10"}}, "2026-03-11"},
        Case{"8", "2026-03-04", {{"2026-03-04", "2026-03-10"}}, "2026-03-19"},
        Case{"8", "2026-03-10", {{"2026-03-04", "2026-03-10"}}, "2026-03-19"},
        Case{"8", "2026-03-11", {{"2026-03-04", "2026-03-10"}}, "2026-03-19"},
        Case{"0", "2026-03-04", {{"2026-03-04", "2026-03-10"}}, "2026-03-11"},
        // Processing stands still, shipping does not.
        Case{"2+8", "2026-03-03", {{"2026-03-04", "2026-03-10"}}, "2026-03-20"},
        Case{"2+8", "2026-03-03", {{"2026-03-05", "2026-03-10"}}, "2026-03-19"},
        Case{"2+8", "2026-03-02", {{"2026-03-05", "2026-03-10"}}, "2026-03-12"},
        Case{"2+0",
             "2026-03-03",
             {{"2026-03-04", "2026-03-04"}, {"2026-03-06", "2026-03-07"}},
             "2026-03-08"},
        // Two that touch; paid in the first.
        Case{"1",
             "2026-03-04",
             {{"2026-03-04", "2026-03-05"}, {"2026-03-06", "2026-03-07"}},
             "2026-03-09"},
        // Reopens on a Saturday: paid then, the first working day is the Monday.
        Case{"1+1 working", "2026-03-04", {{"2026-03-04", "2026-03-06"}}, "2026-03-10"},
        Case{"2+1 working", "2026-03-05", {{"2026-03-09", "2026-03-10"}}, "2026-03-12"},
        Case{"1+0 working", "2026-03-06", {{"2026-03-09", "2026-03-13"}}, "2026-03-16"}));

TEST(FirstOpenDay, IsTheDayItselfOrTheFirstAfterTheClosures) {
  const std::vector<DayRange> closures = {{{10}, {12}}, {{13}, {13}}, {{20}, {20}}};
  for (const auto& [day, open] : std::vector<std::pair<int, int>>{
           {9, 9}, {10, 14}, {12, 14}, {13, 14}, {14, 14}, {20, 21}, {21, 21}}) {
    EXPECT_EQ(FirstOpenDay({day}, closures), Day{open}) << day;
  }
  EXPECT_EQ(FirstOpenDay({10}, {}), Day{10});
}

// Crosses the days off one by one, as on a calendar.
Day NaivePromisedDay(const PromisedDays& promise, Day paid, const std::vector<DayRange>& closures) {
  const auto closed = [&](Day day) {
    for (const DayRange& c : closures) {
      if (c.first <= day && day <= c.last) return true;
    }
    return false;
  };
  const auto counts = [&](Day day) {
    const std::chrono::weekday weekday{std::chrono::sys_days{std::chrono::days{day.number}}};
    return !promise.working_days ||
           (weekday != std::chrono::Saturday && weekday != std::chrono::Sunday);
  };
  Day day = paid;
  while (closed(day)) day = day + 1;
  int processing = promise.processing_days, shipping = promise.shipping_days;
  while (processing > 0 || shipping > 0) {
    day = day + 1;
    if (!counts(day)) continue;
    if (processing == 0) {
      --shipping;
    } else if (!closed(day)) {
      --processing;
    }
  }
  return day;
}

TEST(Promise, IsWhatCrossingOffDaysGives) {
  std::mt19937_64 random(3);
  const auto below = [&random](int bound) { return static_cast<int>(random() % bound); };
  for (int round = 0; round < 20'000; ++round) {
    const PromisedDays promise{below(8), below(15), below(2) == 1};
    std::vector<DayRange> closures;
    for (int first = 20'000 + below(20), i = below(4); i > 0; --i) {
      const int last = first + below(9);
      closures.push_back({{first}, {last}});
      first = last + 1 + below(9);
    }
    const Day paid{20'000 + below(40)};
    ASSERT_EQ(PromisedDay(promise, paid, closures), NaivePromisedDay(promise, paid, closures))
        << FormatPromisedDays(promise) << " paid on " << FormatDay(paid) << ", round " << round;
  }
}

}  // namespace
}  // namespace plumblane
