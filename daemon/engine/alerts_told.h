// What was told of alerts and what users said of them: facts of the log, and the state they make.
//
// An alert itself is a function of cells (alert_book.h) and may move when these are corrected; what
// was told is kept as it was told. A notice is one such fact. Notices are numbered by cursors,
// from 1 on without gaps, kept for good, and never rewritten: they are the list a reader resumes
// from, and all state of alerts is the fold of them (AlertsTold). The one exception: of a supplier
// that is erased they are emptied, and readers pass them over (erased_supplier.h).
//
//   kRaised       told first, or again after it was taken back: then nobody has acknowledged it
//   kRevised      a correction, or other settings, made the facts told before wrong; `revision` is
//                 how, in words. `unfounded`: as counted now it would not have opened
//   kReturned     the rate is back
//   kActiveAgain  a shelf has ended, the alert is still open
//   kAcknowledged, kShelved, kAccepted   what a user said
//
// Pure; AlertsTold is a plain value. Numbers of the enums are part of the bytes on disk: never
// renumber.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <set>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "alerting/watch.h"
#include "base/lane.h"
#include "base/time.h"
#include "cohorts/cell.h"

namespace plumblane {

enum class AlertMeasure : uint8_t {
  kOnTime = 1,
  kDefect = 2,
  kHandling = 3,     // not shipped within the usual time
  kDelivery = 4,     // not delivered within it
  kUnsafe = 5,       // one report is enough
  kCounterfeit = 6,  // likewise
  kSilence = 7,      // no event while orders wait
};
inline constexpr AlertMeasure kLastAlertMeasure = AlertMeasure::kSilence;

// "on_time".
std::string_view NameOf(AlertMeasure measure);

// What is watched: a supplier, a lane over its services, or a pool of slow lanes.
struct WatchKey {
  std::string supplier;             // "" for a lane or pool
  std::string origin, destination;  // both "" for a supplier, one of them for a pool
  AlertMeasure measure = AlertMeasure::kOnTime;
  auto operator<=>(const WatchKey&) const = default;
  bool IsPool() const { return supplier.empty() && origin.empty() != destination.empty(); }
};

// 16 hexadecimal digits: a hash of subject, measure and opening day.
std::string AlertIdOf(const WatchKey& key, Day opened);

// What is said of the chart behind an alert.
struct ChartFacts {
  Day designed;  // the day of its plan
  double normal_rate = 0, false_alarms_a_year = 0, days_to_hear = 0;
  bool operator==(const ChartFacts&) const = default;
};

struct AlertNotice {
  enum class Kind : uint8_t {
    kRaised = 1,
    kRevised = 2,
    kReturned = 3,
    kAcknowledged = 4,
    kShelved = 5,
    kAccepted = 6,
    kActiveAgain = 7,
  };
  Kind kind = Kind::kRaised;
  std::string alert_id;
  Instant time;
  WatchKey key;
  // kRaised, kRevised, kReturned: what is told, known from days up to `told_through`.
  AlertFacts facts = {};
  ChartFacts chart = {};
  std::vector<Lane> pooled = {};  // of a pool, when it opened; ascending
  Day told_through = {};
  bool unfounded = false;
  std::string revision = {};
  // kAcknowledged, kShelved, kAccepted.
  std::string note = {};
  // kShelved: the day it ends. kAccepted: the last day the watch had taken.
  std::optional<Day> day = {};
  // IsQuiet when it was taken: kept and listed, but not sent out.
  bool quiet = false;
  bool operator==(const AlertNotice&) const = default;
};

struct ToldAlert {
  WatchKey key;
  AlertFacts facts;  // as told last
  ChartFacts chart;
  std::vector<Lane> pooled;
  Day told_through;
  bool unfounded = false;
  std::string revision;  // the last one; "" = none
  Instant raise_time, update_time;
  bool acknowledged = false;
  std::optional<Day> shelved_until, accepted;
  std::string note;
  bool quiet = false;  // so is all that was told of it
  bool operator==(const ToldAlert&) const = default;

  bool is_open() const { return !unfounded && facts.ending == Ending::kOpen; }
  bool Covers(const Pair& pair) const;  // its subject has the orders of the pair
  bool is_shelved(Day today) const { return is_open() && shelved_until && today < *shelved_until; }
};

struct AlertsTold {
  std::map<std::string, ToldAlert> by_id;
  std::map<WatchKey, std::set<std::string>> by_key;  // ids
  int64_t last_cursor = 0;

  // Takes the notice with the cursor last_cursor + 1. False, and nothing changes, when it says
  // nothing of an alert that is known, or acknowledges, shelves or accepts one that is not open.
  bool Take(const AlertNotice& notice);

  // The days on which users accepted what this watch showed, ascending; for Watch::Advance. They
  // hold whatever became of the alert.
  std::vector<Day> AcceptedDays(const WatchKey& key) const;

  bool operator==(const AlertsTold&) const = default;
};

// What there is to tell of one watch, given what was told of it: its alerts, made from days up to
// `through`. Nothing while `through` lies before what was known when it was told: then the clock or
// the news went back, and nothing can be said. Ascending by opening day.
std::vector<AlertNotice> NewsOf(const WatchKey& key, const AlertsTold& told,
                                std::span<const Alert> alerts, Day through, Instant now);

// Whether a notice tells only of what lies in the past: of an alert that opened before the day on
// which history was taken last, by what was known up to that day. The day it was taken, not the
// last one it tells of: while a file is being read, orders whose deliveries stand further down look
// late up to yesterday. What is told by later days is present again: that a quiet alert has
// returned, or that a shelf has ended. What users say of a quiet alert is quiet. Once one notice of
// an alert was not, no later one is.
bool IsQuiet(const AlertNotice& notice, const AlertsTold& told, std::optional<Instant> history);

// kActiveAgain for each alert whose shelf has ended.
std::vector<AlertNotice> ShelvesEnded(const AlertsTold& told, Instant now);

}  // namespace plumblane
