// The grammar of all keys. Ids hold no control characters (base/ids.h), so a zero byte ends each.
//
//   orders  shop 0 order_id
//   cells   supplier 0 origin 0 destination 0 service 0 measure(1) page(big32)
//           page = day / kDaysPerPage; the sum over all pairs has four empty texts
//   index   'p' lane supplier                 the pairs by lane; value: number of order parts
//           'o' supplier 0 lane day(big32) part   open orders by promised day (0xFFFFFFFF = none)
//           'd' lane day(big32) part              all orders with a promise by promised day
//           'c' supplier 0 lane day(big32) part   claims unanswered or owed, by day of dispute
//           'l' supplier 0 lane day(big32) part   late or bad and not claimed, by the day from
//                                                 which claim days count (orders/standing.h)
//           't' tracking 0 part
//           's' supplier                          value: latest event time, signed millis
//           'a' part                              value: its assignment
//           'b' time(big64) part                  assignments by time, latest first: the time
//                                                 counts down from 2^64 - 1, in millis
//           'n' send(big64) shop 0 order_id       orders of which the send told something
//           'x' hash(16)                          an order no longer kept; value: since which day
//           'y' lane supplier                     of the parts that 'p' counts: no longer kept
//           'z' (a key of cells)                  what those add to the cells; of each pair, not
//                                                 of the sum over all pairs
//           where lane is origin 0 destination 0 service 0
//           and part is   shop 0 order_id 0 part(big16)
//   meta    "format", "progress", "store", "log", "source/" source, "excuse/" excuse_id,
//           "agreement/" sequence(big64) index(big32)   a load: which one of its log entry
//           "notice/" cursor(big64)                     what was told of alerts
//           "delivered/" sink                           value: cursor, signed
//           "send/" number(big64)                       latest first: it counts down from 2^64 - 1
//   log     sequence(big64)
//
// So one supplier's, one lane's (through 'p') and one pair's cells are each read without passing
// over others.
#pragma once

#include <absl/status/statusor.h>

#include <optional>
#include <string>
#include <string_view>

#include "base/ids.h"
#include "cohorts/cell.h"
#include "orders/fold.h"

namespace plumblane {

std::string OrderRecordKey(const OrderKey& order);
// REQUIRES: made by it.
OrderKey ParseOrderRecordKey(std::string_view record_key);
// Of the record keys of a shop; "" = of all.
std::string ShopPrefix(std::string_view shop);

// The page of cells that holds `key.day`.
std::string CellPageKey(const CellKey& key);
// All pages of a pair; of one measure of it. Prefixes nest.
std::string CellPrefix(const Pair& pair);
std::string CellPrefix(const Pair& pair, Measure measure);
struct CellPage {
  Pair pair;
  Measure measure;
  Day first_day;
};
absl::StatusOr<CellPage> ParseCellPageKey(std::string_view key);
// Its first day alone, where the prefix of a measure is known already. Error DATA_LOSS.
absl::StatusOr<Day> ParseCellPageDay(std::string_view key, std::string_view prefix);

std::string PairKey(const Pair& pair);
inline constexpr std::string_view kPairPrefix = "p";
absl::StatusOr<Pair> ParsePairKey(std::string_view key);

std::string SupplierKey(std::string_view supplier);
std::string SourceKey(std::string_view source);
std::string ExcuseKey(std::string_view excuse_id);
std::string AgreementKey(uint64_t sequence, size_t index);
std::string NoticeKey(int64_t cursor);
std::string DeliveredKey(std::string_view sink);
std::string SendKey(int64_t send);
// REQUIRES: made by it.
int64_t ParseSendKey(std::string_view key);
inline constexpr std::string_view kSendPrefix = "send/";
inline constexpr std::string_view kDeliveredPrefix = "delivered/";
inline constexpr std::string_view kNoticePrefix = "notice/";
inline constexpr std::string_view kSourcePrefix = "source/";
inline constexpr std::string_view kExcusePrefix = "excuse/";
inline constexpr std::string_view kAgreementPrefix = "agreement/";
inline constexpr std::string_view kFormatKey = "format";
inline constexpr std::string_view kProgressKey = "progress";
inline constexpr std::string_view kStoreIdKey = "store";

std::string LogKey(uint64_t sequence);

// Index keys of one part: open, due, its claim (while it counts), and its tracking numbers. Those
// that `other`, the same part at another moment, has as well are left out.
std::vector<std::string> IndexKeys(const OrderKey& order, const PartState& part,
                                   const PartState* other = nullptr);
// The part an index key of kinds 'o', 'd' or 't' ends with.
struct IndexedPart {
  OrderKey order;
  int part;
};
std::string TrackingPrefix(std::string_view tracking);
std::string DuePrefix(const Lane& lane);
absl::StatusOr<IndexedPart> ParseTrackingKey(std::string_view key);
struct DuePart {
  Day day;
  IndexedPart part;
};
absl::StatusOr<DuePart> ParseDueKey(std::string_view key);
// From this day on, within DuePrefix.
std::string DueKeyFrom(const Lane& lane, Day day);

// Kinds 'o', 'c' and 'l': parts by pair and day.
enum class PairIndex : char { kOpen = 'o', kClaims = 'c', kUnclaimed = 'l' };
// All of the kind; those of one supplier; of one pair. Prefixes nest.
std::string PairIndexPrefix(PairIndex kind, const std::string& supplier = "");
std::string PairIndexPrefix(PairIndex kind, const Pair& pair);
// From this day on, within the prefix of a pair.
std::string PairIndexFrom(PairIndex kind, const Pair& pair, Day day);
struct PairedPart {
  Pair pair;
  std::optional<Day> day;  // none: without promise, kind 'o' only
  IndexedPart part;
};
absl::StatusOr<PairedPart> ParsePairIndexKey(std::string_view key);

std::string SendOrdersPrefix(int64_t send);
std::string SendOrderKey(int64_t send, const OrderKey& order);
// REQUIRES: made by it.
OrderKey ParseSendOrderKey(std::string_view key);

// Orders no longer kept (engine/leaving.h). An order's is a hash: nothing can be read from it.
std::string GoneKey(const OrderKey& order);
inline constexpr std::string_view kGonePairPrefix = "y";
std::string GonePairKey(const Pair& pair);
absl::StatusOr<Pair> ParseGonePairKey(std::string_view key);
inline constexpr std::string_view kGonePagePrefix = "z";
std::string GonePageKey(const CellKey& key);
absl::StatusOr<CellPage> ParseGonePageKey(std::string_view key);

inline constexpr std::string_view kAssignmentPrefix = "a";
std::string AssignmentKey(const OrderKey& order, int part);
// Of all parts of the order, ascending.
std::string AssignmentPrefix(const OrderKey& order);
inline constexpr std::string_view kAssignedPrefix = "b";
std::string AssignedKey(Instant time, const OrderKey& order, int part);
// The latest of `time` or before, within kAssignedPrefix.
std::string AssignedKeyFrom(Instant time);
struct AssignedPart {
  Instant time;
  IndexedPart part;
};
absl::StatusOr<AssignedPart> ParseAssignedKey(std::string_view key);

}  // namespace plumblane
