// date_forms.h: what is read is a date there is, and is written so that it is read again as the
// same.

#include "client/date_forms.h"

#include "base/time.h"
#include "client/column_facts.h"
#include "fuzz/fuzz.h"

namespace {

using namespace plumblane::client;

void CheckTime(const WrittenTime& time) {
  FUZZ_CHECK(time.year >= 1970 && time.year <= 9999);
  const absl::CivilDay day(time.year, time.month, time.day);
  FUZZ_CHECK(day.year() == time.year && day.month() == time.month && day.day() == time.day);
  if (time.millis) FUZZ_CHECK(*time.millis >= 0 && *time.millis < plumblane::kMillisPerDay);
  if (time.offset_minutes) FUZZ_CHECK(std::abs(*time.offset_minutes) < 15 * 60);
  const std::string written = ToEventTime(time, absl::UTCTimeZone());
  const auto again = ReadTime(written, DateForm::kYearFirst);
  if (!time.millis) {
    FUZZ_CHECK(again && again->year == time.year && again->month == time.month &&
               again->day == time.day && !again->millis);
    return;
  }
  // The first hours of 1970 may lie before it in UTC, the last of 9999 behind it.
  if (time.year == 1970 || time.year == 9999) return;
  FUZZ_CHECK(again && again->offset_minutes == 0);
  FUZZ_CHECK(ToEventTime(*again, absl::UTCTimeZone()) == written);
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const uint8_t* data, size_t size) {
  const std::string text = plumblane::fuzz::Input(data, size).Rest();
  const unsigned forms = FormsOf(text);
  for (const DateForm form : kDateForms) {
    const auto time = ReadTime(text, form);
    FUZZ_CHECK(time.has_value() == ((forms & BitOf(form)) != 0));
    if (time) CheckTime(*time);
  }
  ColumnFacts facts;
  facts.Take(text);
  FUZZ_CHECK(facts.date_forms() == (text.empty() ? std::vector<DateForm>() : FormsIn(forms)));
  return 0;
}
