#include "storage/keys.h"

#include <algorithm>
#include <cstdlib>
#include <limits>

#include "base/hash.h"
#include "orders/standing.h"
#include "storage/bytes.h"
#include "storage/cell_codec.h"

namespace plumblane {
namespace {

constexpr uint32_t kNoDay = 0xFFFFFFFF;
constexpr int64_t kFarthestPage = std::numeric_limits<int32_t>::max() / kDaysPerPage - 1;

class KeyWriter : public ByteWriter {
 public:
  KeyWriter() : ByteWriter(64) {}  // most keys are shorter
  KeyWriter& Id(std::string_view text) {
    Raw(text);
    Byte(0);
    return *this;
  }
  KeyWriter& Ends(const Lane& lane) {
    return Id(lane.origin).Id(lane.destination).Id(lane.service);
  }
  KeyWriter& OfPair(const Pair& pair) { return Id(pair.supplier).Ends(pair.lane); }
  void DayOf(Day day) { Big(static_cast<uint32_t>(day.number), 4); }
  void Part(const OrderKey& order, int part) {
    Id(order.shop).Id(order.order_id).Big(static_cast<uint64_t>(part), 2);
  }
};

absl::Status BadKey(std::string_view what) {
  return absl::DataLossError("malformed key of " + std::string(what));
}

Lane ReadLane(ByteReader& reader) {
  Lane lane;
  lane.origin = reader.UntilZero();
  lane.destination = reader.UntilZero();
  lane.service = reader.UntilZero();
  return lane;
}

IndexedPart ReadPart(ByteReader& reader) {
  IndexedPart part;
  part.order.shop = reader.UntilZero();
  part.order.order_id = reader.UntilZero();
  part.part = static_cast<int>(reader.Big(2));
  return part;
}

bool IsOpen(const PartState& part) {
  return part.paid && !part.delivered && !part.cancelled && !part.refunded_by_supplier;
}

// Under which kind its claim is found, and which day.
std::optional<std::pair<PairIndex, Day>> ClaimIndexOf(const PartState& part) {
  switch (ClaimStandingOf(part)) {
    case ClaimStanding::kUnanswered:
    case ClaimStanding::kOwed:
      return std::pair(PairIndex::kClaims, DayOf(*part.disputed));
    case ClaimStanding::kUnclaimed:
      return std::pair(PairIndex::kUnclaimed, UnclaimedOf(part)->since);
    case ClaimStanding::kNone:
    case ClaimStanding::kSettled:
      break;
  }
  return std::nullopt;
}

}  // namespace

std::string OrderRecordKey(const OrderKey& order) {
  return KeyWriter().Id(order.shop).Take() + order.order_id;
}

std::string ShopPrefix(std::string_view shop) {
  return shop.empty() ? std::string() : std::string(shop) + '\0';
}

OrderKey ParseOrderRecordKey(std::string_view record_key) {
  const size_t zero = record_key.find('\0');
  return {std::string(record_key.substr(0, zero)), std::string(record_key.substr(zero + 1))};
}

std::string CellPageKey(const CellKey& key) {
  KeyWriter writer;
  writer.OfPair(key.pair).Byte(static_cast<uint8_t>(key.measure));
  writer.Big(static_cast<uint32_t>(PageOf(key.day)), 4);
  return writer.Take();
}

std::string CellPrefix(const Pair& pair) { return KeyWriter().OfPair(pair).Take(); }

std::string CellPrefix(const Pair& pair, Measure measure) {
  KeyWriter writer;
  writer.OfPair(pair).Byte(static_cast<uint8_t>(measure));
  return writer.Take();
}

absl::StatusOr<CellPage> ParseCellPageKey(std::string_view key) {
  ByteReader reader(key);
  CellPage page;
  page.pair.supplier = reader.UntilZero();
  page.pair.lane = ReadLane(reader);
  page.measure = static_cast<Measure>(reader.Byte());
  const auto number = static_cast<int32_t>(reader.Big(4));
  if (!reader.done() || IndexOf(page.measure) < 0 || IndexOf(page.measure) >= kMeasureCount ||
      std::abs(int64_t{number}) > kFarthestPage) {
    return BadKey("a cell page");
  }
  page.first_day = FirstDayOf(number);
  return page;
}

absl::StatusOr<Day> ParseCellPageDay(std::string_view key, std::string_view prefix) {
  if (!key.starts_with(prefix)) return BadKey("a cell page");
  ByteReader reader(key.substr(prefix.size()));
  const auto number = static_cast<int32_t>(reader.Big(4));
  if (!reader.done() || std::abs(int64_t{number}) > kFarthestPage) return BadKey("a cell page");
  return FirstDayOf(number);
}

namespace {

std::string PairKeyOf(std::string_view prefix, const Pair& pair) {
  KeyWriter writer;
  writer.Raw(prefix);
  writer.Ends(pair.lane).Raw(pair.supplier);
  return writer.Take();
}

absl::StatusOr<Pair> ParsePairKeyOf(std::string_view prefix, std::string_view key) {
  if (!key.starts_with(prefix)) return BadKey("a pair");
  ByteReader reader(key.substr(prefix.size()));
  Pair pair;
  pair.lane = ReadLane(reader);
  if (!reader.ok()) return BadKey("a pair");
  const Lane& lane = pair.lane;
  pair.supplier = key.substr(kPairPrefix.size() + lane.origin.size() + lane.destination.size() +
                             lane.service.size() + 3);
  if (pair.supplier.find('\0') != std::string::npos) return BadKey("a pair");
  return pair;
}

}  // namespace

std::string PairKey(const Pair& pair) { return PairKeyOf(kPairPrefix, pair); }
absl::StatusOr<Pair> ParsePairKey(std::string_view key) { return ParsePairKeyOf(kPairPrefix, key); }

std::string GoneKey(const OrderKey& order) {
  const std::string key = OrderRecordKey(order);
  KeyWriter writer;
  writer.Byte('x');
  for (const unsigned char first : {1, 2}) {
    StableHash hash;
    hash.Byte(first);
    hash.Text(key);
    writer.Big(hash.value(), 8);
  }
  return writer.Take();
}

std::string GonePairKey(const Pair& pair) { return PairKeyOf(kGonePairPrefix, pair); }
absl::StatusOr<Pair> ParseGonePairKey(std::string_view key) {
  return ParsePairKeyOf(kGonePairPrefix, key);
}

std::string GonePageKey(const CellKey& key) {
  return std::string(kGonePagePrefix) + CellPageKey(key);
}
absl::StatusOr<CellPage> ParseGonePageKey(std::string_view key) {
  if (!key.starts_with(kGonePagePrefix)) return BadKey("a cell page");
  return ParseCellPageKey(key.substr(kGonePagePrefix.size()));
}

std::string SupplierKey(std::string_view supplier) { return "s" + std::string(supplier); }
std::string SourceKey(std::string_view source) {
  return std::string(kSourcePrefix) + std::string(source);
}
std::string ExcuseKey(std::string_view excuse_id) {
  return std::string(kExcusePrefix) + std::string(excuse_id);
}

std::string AgreementKey(uint64_t sequence, size_t index) {
  KeyWriter writer;
  writer.Raw(kAgreementPrefix);
  writer.Big(sequence, 8);
  writer.Big(index, 4);
  return writer.Take();
}

std::string DeliveredKey(std::string_view sink) {
  return std::string(kDeliveredPrefix) + std::string(sink);
}

std::string NoticeKey(int64_t cursor) {
  KeyWriter writer;
  writer.Raw(kNoticePrefix);
  writer.Big(static_cast<uint64_t>(cursor), 8);
  return writer.Take();
}

std::string SendKey(int64_t send) {
  KeyWriter writer;
  writer.Raw(kSendPrefix);
  writer.Big(~static_cast<uint64_t>(send), 8);
  return writer.Take();
}

int64_t ParseSendKey(std::string_view key) {
  return static_cast<int64_t>(~ByteReader(key.substr(kSendPrefix.size())).Big(8));
}

std::string SendOrdersPrefix(int64_t send) {
  KeyWriter writer;
  writer.Byte('n');
  writer.Big(static_cast<uint64_t>(send), 8);
  return writer.Take();
}

std::string SendOrderKey(int64_t send, const OrderKey& order) {
  return SendOrdersPrefix(send) + OrderRecordKey(order);
}

OrderKey ParseSendOrderKey(std::string_view key) {
  return ParseOrderRecordKey(key.substr(SendOrdersPrefix(0).size()));
}

std::string LogKey(uint64_t sequence) {
  ByteWriter writer;
  writer.Big(sequence, 8);
  return writer.Take();
}

std::vector<std::string> IndexKeys(const OrderKey& order, const PartState& part,
                                   const PartState* other) {
  std::vector<std::string> keys;
  for (const std::string& tracking : part.tracking) {
    if (other && std::binary_search(other->tracking.begin(), other->tracking.end(), tracking)) {
      continue;
    }
    KeyWriter writer;
    writer.Byte('t');
    writer.Id(tracking).Part(order, part.part);
    keys.push_back(writer.Take());
  }
  if (!part.counts()) return keys;
  if (other && !other->counts()) other = nullptr;
  const bool is_same_lane = other && other->lane == part.lane;
  const bool is_same_due = is_same_lane && other->promised_day == part.promised_day;
  const bool is_same_pair = is_same_lane && other->supplier == part.supplier;
  if (part.promised_day && !is_same_due) {
    KeyWriter writer;
    writer.Byte('d');
    writer.Ends(part.lane).DayOf(*part.promised_day);
    writer.Part(order, part.part);
    keys.push_back(writer.Take());
  }
  const auto add = [&](PairIndex kind, std::optional<Day> day) {
    KeyWriter writer;
    writer.Byte(static_cast<uint8_t>(kind));
    writer.Id(part.supplier).Ends(part.lane);
    writer.Big(day ? static_cast<uint32_t>(day->number) : kNoDay, 4);
    writer.Part(order, part.part);
    keys.push_back(writer.Take());
  };
  if (IsOpen(part) && !(is_same_pair && is_same_due && IsOpen(*other))) {
    add(PairIndex::kOpen, part.promised_day);
  }
  const auto claim = ClaimIndexOf(part);
  if (claim && !(is_same_pair && ClaimIndexOf(*other) == claim)) add(claim->first, claim->second);
  return keys;
}

std::string PairIndexPrefix(PairIndex kind, const std::string& supplier) {
  KeyWriter writer;
  writer.Byte(static_cast<uint8_t>(kind));
  if (!supplier.empty()) writer.Id(supplier);
  return writer.Take();
}

std::string PairIndexPrefix(PairIndex kind, const Pair& pair) {
  KeyWriter writer;
  writer.Byte(static_cast<uint8_t>(kind));
  return writer.OfPair(pair).Take();
}

std::string PairIndexFrom(PairIndex kind, const Pair& pair, Day day) {
  KeyWriter writer;
  writer.Raw(PairIndexPrefix(kind, pair));
  writer.DayOf(day);
  return writer.Take();
}

absl::StatusOr<PairedPart> ParsePairIndexKey(std::string_view key) {
  ByteReader reader(key.substr(std::min<size_t>(1, key.size())));
  PairedPart paired;
  paired.pair.supplier = reader.UntilZero();
  paired.pair.lane = ReadLane(reader);
  const auto day = static_cast<uint32_t>(reader.Big(4));
  if (day != kNoDay) paired.day = Day{static_cast<int32_t>(day)};
  paired.part = ReadPart(reader);
  if (!reader.done()) return BadKey("an order of a pair");
  return paired;
}

std::string TrackingPrefix(std::string_view tracking) {
  return "t" + KeyWriter().Id(tracking).Take();
}

std::string DuePrefix(const Lane& lane) { return "d" + KeyWriter().Ends(lane).Take(); }

std::string DueKeyFrom(const Lane& lane, Day day) {
  KeyWriter writer;
  writer.Raw(DuePrefix(lane));
  writer.DayOf(day);
  return writer.Take();
}

absl::StatusOr<IndexedPart> ParseTrackingKey(std::string_view key) {
  ByteReader reader(key.substr(std::min<size_t>(1, key.size())));
  reader.UntilZero();
  IndexedPart part = ReadPart(reader);
  if (!reader.done()) return BadKey("a tracking number");
  return part;
}

absl::StatusOr<DuePart> ParseDueKey(std::string_view key) {
  ByteReader reader(key.substr(std::min<size_t>(1, key.size())));
  ReadLane(reader);
  DuePart due;
  due.day = {static_cast<int32_t>(reader.Big(4))};
  due.part = ReadPart(reader);
  if (!reader.done()) return BadKey("a due order");
  return due;
}

std::string AssignmentKey(const OrderKey& order, int part) {
  KeyWriter writer;
  writer.Raw(kAssignmentPrefix);
  writer.Part(order, part);
  return writer.Take();
}

std::string AssignmentPrefix(const OrderKey& order) {
  constexpr size_t kPartBytes = 2;
  std::string key = AssignmentKey(order, 0);
  key.resize(key.size() - kPartBytes);
  return key;
}

std::string AssignedKey(Instant time, const OrderKey& order, int part) {
  KeyWriter writer;
  writer.Raw(AssignedKeyFrom(time));
  writer.Part(order, part);
  return writer.Take();
}

std::string AssignedKeyFrom(Instant time) {
  KeyWriter writer;
  writer.Raw(kAssignedPrefix);
  writer.Big(~static_cast<uint64_t>(time.millis), 8);
  return writer.Take();
}

absl::StatusOr<AssignedPart> ParseAssignedKey(std::string_view key) {
  ByteReader reader(key.substr(std::min<size_t>(1, key.size())));
  AssignedPart assigned;
  assigned.time = {static_cast<int64_t>(~reader.Big(8))};
  assigned.part = ReadPart(reader);
  if (!reader.done()) return BadKey("an assignment");
  return assigned;
}

}  // namespace plumblane
