// Numbers, times and stray texts as a person reads them.
//
// Rules: a share without orders is "no orders yet", never 0; a share comes with its interval and
// the number of orders behind it; a time that too many unfinished orders hide is "not reached", one
// of fewer than five orders "too few to tell".
// Times are UTC and say so.
//
// Pure and thread-safe.
#pragma once

#include <google/protobuf/duration.pb.h>
#include <google/protobuf/timestamp.pb.h>

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "base/time.h"
#include "plumblane/v1/event.pb.h"
#include "plumblane/v1/scores.pb.h"

namespace plumblane::client {

inline constexpr char kNoOrders[] = "no orders yet";
inline constexpr char kNotReached[] = "not reached";
inline constexpr char kTooFew[] = "too few to tell";

// "8,412".
std::string Thousands(int64_t count);

// "1 order", "8,412 orders". `plural` defaults to `singular` with an s.
std::string Counted(int64_t count, std::string_view singular, std::string_view plural = "");

// A share as percent without its sign: "92"; one decimal below 10 and above 99, where it matters.
std::string PercentNumber(double share);

// "92 %".
std::string Percent(double share);

// The same with all its digits: "92.5 %", for what was agreed rather than counted.
std::string ExactPercent(double share);

// "1 day", "2.5 days".
std::string DaysText(double days);

// How a hit of the measure is called, "late", "bad or lost"; "" for a measure that has no rate.
std::string HitText(const std::string& measure);

// "on time at least 92 %: below target, not sure".
std::string TargetText(const v1::TargetReading& reading);

// True when no order stands behind the rate.
bool IsEmpty(const v1::Rate& rate);

// True when so little stands behind the rate that its estimate leans on its prior: fewer than 10
// orders, older ones counted in part.
bool IsThin(const v1::Rate& rate);

// "92 % (88-95) of 412", or "no orders yet".
std::string RateText(const v1::Rate& rate);

// "25 min", "11 h", "2.1 d".
std::string DurationText(const google::protobuf::Duration& duration);

// "41 d": at least so long, cut where DurationText rounds; "" below a minute.
std::string AtLeastText(const google::protobuf::Duration& duration);

// Half and nine in ten for a table: "2.8 / 5.2 d", "2.8 d / >41 d" (not reached, it takes longer
// than that), "2.8 d / ?" (too few to tell), ">41 d" and "?" where half is not told either, "no
// orders yet"; "2.8 d / -" and "not reached" when it is not known how long orders were watched.
std::string ShortTimes(const v1::Times& times);

// The same in words: "half within 2.8 d, 9 in 10 within 5.2 d; 531 of 551 done", "half within
// 2.8 d, 9 in 10 not reached: longer than 41 d; 20 of 40 done".
std::string LongTimes(const v1::Times& times);

// "2026-09-28 14:02 UTC"; a midnight is the date alone.
std::string TimeText(const google::protobuf::Timestamp& time);

// "2026-09-28 14:02", for columns whose header names the zone.
std::string MinuteText(const google::protobuf::Timestamp& time);

// "45 days", "1 day", "36 hours".
std::string HalfLifeText(const google::protobuf::Duration& half_life);

// "13.75 EUR"; the bare number for a currency that is not known here.
std::string MoneyText(const v1::Money& money);

// Minor units, parts of them too, in major ones with as many decimals as the currency has: "16.40";
// with two more for sums that somebody does again: "16.3972".
std::string AmountText(double minor_units, const std::string& currency);
std::string FineAmountText(double minor_units, const std::string& currency);

// "VN-DE", "VN-DE/express", "VN-DE/-".
std::string LaneText(const v1::Lane& lane);

// Words joined as in a sentence: "a", "a and b", "a, b and c".
std::string Listed(const std::vector<std::string>& words);

// A stray text in quotes, fit for a terminal: at most 40 characters, control bytes and broken UTF-8
// as "?".
std::string Quoted(std::string_view text);

// Whole UTF-8 text? If not, `*position` (from 1) is the first byte that is not.
bool IsUtf8(std::string_view text, size_t* position = nullptr);

google::protobuf::Timestamp ToTimestamp(Instant t);
Instant ToInstant(const google::protobuf::Timestamp& time);

}  // namespace plumblane::client
