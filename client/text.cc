#include "client/text.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_format.h>

#include <algorithm>
#include <cmath>

#include "base/lane.h"
#include "base/money.h"

namespace plumblane::client {
namespace {

constexpr double kThinWeight = 10;
constexpr double kHour = 3600, kDay = 86'400;

double Seconds(const google::protobuf::Duration& duration) {
  return static_cast<double>(duration.seconds()) + duration.nanos() / 1e9;
}

// "2.8", "12": two or three digits are as much as anyone reads.
std::string Rounded(double value) {
  return value < 9.95 ? absl::StrFormat("%.1f", value) : absl::StrFormat("%.0f", value);
}

std::string SecondsText(double seconds) {
  if (seconds < kHour) return absl::StrFormat("%.0f min", seconds / 60);
  if (seconds < kDay) return absl::StrCat(Rounded(seconds / kHour), " h");
  return absl::StrCat(Rounded(seconds / kDay), " d");
}

// Length of the character that starts at `i`, 0 where the bytes are not UTF-8.
size_t CharacterLength(std::string_view text, size_t i) {
  const auto byte = [&](size_t k) { return static_cast<unsigned char>(text[k]); };
  const unsigned char lead = byte(i);
  const size_t length = lead < 0x80   ? 1
                        : lead < 0xC2 ? 0
                        : lead < 0xE0 ? 2
                        : lead < 0xF0 ? 3
                        : lead < 0xF5 ? 4
                                      : 0;
  if (length == 0 || i + length > text.size()) return 0;
  for (size_t k = 1; k < length; ++k) {
    if ((byte(i + k) & 0xC0) != 0x80) return 0;
  }
  if (lead == 0xE0 && byte(i + 1) < 0xA0) return 0;  // overlong
  if (lead == 0xED && byte(i + 1) > 0x9F) return 0;  // surrogates
  if (lead == 0xF0 && byte(i + 1) < 0x90) return 0;  // overlong
  if (lead == 0xF4 && byte(i + 1) > 0x8F) return 0;  // beyond Unicode
  return length;
}

}  // namespace

std::string Thousands(int64_t count) {
  const std::string digits = absl::StrCat(count);
  std::string text;
  for (size_t i = 0; i < digits.size(); ++i) {
    const size_t left = digits.size() - i;
    if (i > 0 && left % 3 == 0 && digits[i - 1] != '-') text += ',';
    text += digits[i];
  }
  return text;
}

std::string Counted(int64_t count, std::string_view singular, std::string_view plural) {
  std::string text = Thousands(count) + " ";
  if (count == 1) return text.append(singular);
  return plural.empty() ? text.append(singular).append("s") : text.append(plural);
}

std::string PercentNumber(double share) {
  const double percent = share * 100;
  if (percent > 0 && percent < 0.05) return "<0.1";
  std::string text = percent < 9.95 || percent > 99.05 ? absl::StrFormat("%.1f", percent)
                                                       : absl::StrFormat("%.0f", percent);
  if (text == "0.0") return "0";
  if (text == "100.0") return percent < 100 ? "99.9" : "100";
  return text;
}

std::string Percent(double share) { return PercentNumber(share) + " %"; }

std::string ExactPercent(double share) { return absl::StrFormat("%.6g %%", share * 100); }

std::string DaysText(double days) {
  const std::string number = absl::StrFormat("%.6g", days);
  return number + (number == "1" ? " day" : " days");
}

std::string HitText(const std::string& measure) {
  const std::pair<std::string_view, const char*> words[] = {{"on_time", "late"},
                                                            {"defect", "bad or lost"},
                                                            {"handling", "slow to leave"},
                                                            {"delivery", "slow to arrive"}};
  for (const auto& [name, text] : words) {
    if (measure == name) return text;
  }
  return "";
}

std::string TargetText(const v1::TargetReading& reading) {
  const std::string& measure = reading.measure();
  std::string wanted = measure, missed = "missed";
  if (measure == "on_time") {
    wanted = "on time at least " + ExactPercent(reading.target());
    missed = "below target";
  } else if (measure == "defect") {
    wanted = absl::StrCat("at most ", ExactPercent(reading.target()), " bad or lost");
    missed = "above target";
  } else if (measure == "delivery" || measure == "response") {
    wanted = absl::StrCat("9 in 10 ", measure == "delivery" ? "delivered" : "answered", " within ",
                          DaysText(reading.target()));
    missed = "takes longer";
  }
  switch (reading.standing()) {
    case v1::TargetReading::STANDING_MET:
      return wanted + ": kept";
    case v1::TargetReading::STANDING_MISSED:
      return absl::StrCat(wanted, ": ", missed);
    case v1::TargetReading::STANDING_MET_NOT_SURE:
      return wanted + ": kept, not sure";
    case v1::TargetReading::STANDING_MISSED_NOT_SURE:
      return absl::StrCat(wanted, ": ", missed, ", not sure");
    default:
      return wanted + ": too few orders to tell";
  }
}

bool IsEmpty(const v1::Rate& rate) { return !rate.has_estimate() || rate.order_count() == 0; }

bool IsThin(const v1::Rate& rate) { return IsEmpty(rate) || rate.weight() < kThinWeight; }

std::string RateText(const v1::Rate& rate) {
  if (IsEmpty(rate)) return kNoOrders;
  std::string text = Percent(rate.estimate());
  if (rate.has_low() && rate.has_high()) {
    absl::StrAppend(&text, " (", PercentNumber(rate.low()), "-", PercentNumber(rate.high()), ")");
  }
  return absl::StrCat(text, " of ", Thousands(rate.order_count()));
}

std::string DurationText(const google::protobuf::Duration& duration) {
  return SecondsText(Seconds(duration));
}

std::string AtLeastText(const google::protobuf::Duration& duration) {
  const double seconds = Seconds(duration);
  if (seconds < 60) return "";
  const double unit = seconds < kHour ? 60 : seconds < kDay ? kHour : kDay;
  const double step = seconds < 10 * unit && unit > 60 ? unit / 10 : unit;
  // A hair above the step, so that rounding to text does not fall below it.
  return SecondsText(std::floor(seconds / step * (1 + 1e-12)) * step);
}

std::string ShortTimes(const v1::Times& times) {
  if (times.entered_count() == 0) return kNoOrders;
  const std::string longer = AtLeastText(times.longest_watch());
  if (times.median_too_few()) return "?";
  if (!times.has_median() || !times.median_reached()) {
    return longer.empty() ? kNotReached : ">" + longer;
  }
  const std::string median = DurationText(times.median());
  if (times.p90_too_few()) return median + " / ?";
  if (!times.has_p90()) return median + " / " + (longer.empty() ? "-" : ">" + longer);
  const std::string p90 = DurationText(times.p90());
  const size_t unit = median.find(' ');
  const bool same_unit = median.substr(unit) == p90.substr(p90.find(' '));
  return (same_unit ? median.substr(0, unit) : median) + " / " + p90;
}

std::string LongTimes(const v1::Times& times) {
  if (times.entered_count() == 0) return kNoOrders;
  const std::string done = absl::StrCat("; ", Thousands(times.finished_count()), " of ",
                                        Thousands(times.entered_count()), " done");
  if (times.median_too_few()) return kTooFew + done;
  const std::string longer = AtLeastText(times.longest_watch());
  const std::string not_reached =
      longer.empty() ? kNotReached : absl::StrCat(kNotReached, ": longer than ", longer);
  if (!times.has_median() || !times.median_reached()) return "half " + not_reached + done;
  return absl::StrCat("half within ", DurationText(times.median()), ", 9 in 10",
                      times.p90_too_few() ? absl::StrCat(": ", kTooFew)
                      : times.has_p90()   ? " within " + DurationText(times.p90())
                                          : " " + not_reached,
                      done);
}

std::string TimeText(const google::protobuf::Timestamp& time) {
  const Instant t = ToInstant(time);
  if (t.millis % kMillisPerDay == 0) return FormatDay(DayOf(t));
  return MinuteText(time) + " UTC";
}

std::string MinuteText(const google::protobuf::Timestamp& time) {
  const std::string text = FormatInstant(ToInstant(time));
  return text.substr(0, 10) + " " + text.substr(11, 5);
}

std::string HalfLifeText(const google::protobuf::Duration& half_life) {
  const double seconds = Seconds(half_life);
  const bool in_hours = seconds < 2 * kDay && std::fmod(seconds, kDay) != 0;
  const double value = seconds / (in_hours ? kHour : kDay);
  const std::string number = absl::StrFormat("%.6g", value);
  return absl::StrCat(number, in_hours ? " hour" : " day", number == "1" ? "" : "s");
}

std::string MoneyText(const v1::Money& money) {
  if (MinorUnitDigits(money.currency_code())) {
    return FormatMoney({money.minor_units(), money.currency_code()});
  }
  return absl::StrCat(money.minor_units(), " minor units of ", money.currency_code());
}

std::string AmountText(double minor_units, const std::string& currency) {
  const std::string text = FormatMoney({std::llround(minor_units), currency});
  return text.substr(0, text.find(' '));
}

std::string FineAmountText(double minor_units, const std::string& currency) {
  const int digits = MinorUnitDigits(currency).value_or(0);
  const std::string text = absl::StrFormat("%.*f", digits + 2, minor_units / std::pow(10, digits));
  return text.find_first_of("123456789") == std::string::npos && text[0] == '-' ? text.substr(1)
                                                                                : text;
}

std::string LaneText(const v1::Lane& lane) {
  LaneQuery query{lane.origin(), lane.destination(), std::nullopt};
  if (lane.has_service()) query.service = lane.service();
  return FormatLaneQuery(query);
}

std::string Listed(const std::vector<std::string>& words) {
  std::string text;
  for (size_t i = 0; i < words.size(); ++i) {
    if (i > 0) text += i + 1 == words.size() ? " and " : ", ";
    text += words[i];
  }
  return text;
}

std::string Quoted(std::string_view text) {
  std::string shown;
  int characters = 0;
  for (size_t i = 0; i < text.size();) {
    if (++characters > 40) {
      shown += "...";
      break;
    }
    const size_t length = CharacterLength(text, i);
    const auto lead = static_cast<unsigned char>(text[i]);
    const bool control =
        lead < 0x20 || lead == 0x7F ||
        (length == 2 && lead == 0xC2 && static_cast<unsigned char>(text[i + 1]) < 0xA0);
    if (length == 0 || control) {
      shown += '?';
    } else {
      shown += text.substr(i, length);
    }
    i += length == 0 ? 1 : length;
  }
  return "\"" + shown + "\"";
}

bool IsUtf8(std::string_view text, size_t* position) {
  for (size_t i = 0; i < text.size();) {
    const size_t length = CharacterLength(text, i);
    if (length == 0) {
      if (position != nullptr) *position = i + 1;
      return false;
    }
    i += length;
  }
  return true;
}

google::protobuf::Timestamp ToTimestamp(Instant t) {
  google::protobuf::Timestamp time;
  time.set_seconds(t.millis / kMillisPerSecond);
  time.set_nanos(static_cast<int32_t>(t.millis % kMillisPerSecond) * 1'000'000);
  return time;
}

Instant ToInstant(const google::protobuf::Timestamp& time) {
  const int64_t seconds = std::clamp<int64_t>(time.seconds(), 0, kLatestInstant.millis / 1000);
  return {seconds * kMillisPerSecond + time.nanos() / 1'000'000};
}

}  // namespace plumblane::client
