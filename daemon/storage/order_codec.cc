#include "storage/order_codec.h"

#include <utility>

#include "storage/bytes.h"

namespace plumblane {
namespace {

constexpr size_t kUsualBytes = 128;  // of most events

enum Bit {
  kSupplier,
  kOrigin,
  kDestination,
  kService,
  kPromise,
  kPromiseImplied,
  kPromiseDays,
  kItem,
  kUnits,
  kCost,
  kSale,
  kReason,
  kClaim,
  kRefund,
  kRefundByShop,
  kReplaces,
  kTracking,
  kRetracts,
  kRevision,
  kQuoted,
  kSupplierItem,
  kTellings,
  kBitCount
};

// Names to `out` the fields that the event has, in the order in which they are written.
template <typename Out>
void EachField(const Event& event, Out& out) {
  out.Text(kSupplier, event.supplier);
  out.Text(kOrigin, event.origin);
  out.Text(kDestination, event.destination);
  out.Text(kService, event.service);
  out.Time(kPromise, event.promise);
  out.Flag(kPromiseImplied, event.promise_implied);
  out.Number(kPromiseDays, event.promise_days);
  out.Text(kItem, event.item);
  out.Number(kUnits, event.units);
  out.Sum(kCost, event.cost);
  out.Sum(kSale, event.sale);
  out.Number(kReason, static_cast<uint64_t>(event.reason));
  out.Sum(kClaim, event.claim);
  out.Sum(kRefund, event.refund);
  out.Flag(kRefundByShop, event.refund_by_shop);
  out.Number(kReplaces, static_cast<uint64_t>(event.replaces));
  out.Text(kTracking, event.tracking);
  out.Text(kRetracts, event.retracts);
  out.Time(kRevision, event.revision);
  out.Sum(kQuoted, event.quoted);
  out.Text(kSupplierItem, event.supplier_item);
  out.Tellings(kTellings, event);
}

// Which fields there are.
class FieldMask {
 public:
  void Text(Bit bit, const std::string& text) { Set(bit, !text.empty()); }
  void Number(Bit bit, uint64_t value) { Set(bit, value != 0); }
  template <typename T>
  void Number(Bit bit, const std::optional<T>& value) {
    Set(bit, value.has_value());
  }
  void Time(Bit bit, const std::optional<Instant>& time) { Set(bit, time.has_value()); }
  void Sum(Bit bit, const std::optional<Money>& money) { Set(bit, money.has_value()); }
  void Flag(Bit bit, bool flag) { Set(bit, flag); }
  void Tellings(Bit bit, const Event& event) { Set(bit, !event.tellings.empty()); }
  bool Has(Bit bit) const { return (value_ >> bit) & 1; }
  uint64_t value() const { return value_; }

 private:
  void Set(Bit bit, bool is_there) { value_ |= uint64_t{is_there} << bit; }

  uint64_t value_ = 0;
};

// Writes those that the mask names.
class FieldWriter {
 public:
  FieldWriter(const FieldMask& mask, ByteWriter& writer) : mask_(mask), writer_(writer) {}

  void Text(Bit bit, const std::string& text) {
    if (mask_.Has(bit)) writer_.Text(text);
  }
  void Number(Bit bit, uint64_t value) {
    if (mask_.Has(bit)) writer_.Number(value);
  }
  template <typename T>
  void Number(Bit bit, const std::optional<T>& value) {
    if (mask_.Has(bit)) writer_.Number(static_cast<uint64_t>(*value));
  }
  void Time(Bit bit, const std::optional<Instant>& time) {
    if (mask_.Has(bit)) writer_.Number(static_cast<uint64_t>(time->millis));
  }
  void Sum(Bit bit, const std::optional<Money>& money) {
    if (!mask_.Has(bit)) return;
    writer_.Signed(money->minor_units);
    writer_.Text(money->currency);
  }
  void Flag(Bit /*bit*/, bool /*flag*/) {}  // the mask says it all
  void Tellings(Bit bit, const Event& event) {
    if (!mask_.Has(bit)) return;
    writer_.Number(event.tellings.size());
    for (const Telling& telling : event.tellings) {
      if (event.revision) {
        writer_.Number(static_cast<uint64_t>(event.revision->millis - telling.revision.millis));
      }
      writer_.Number(static_cast<uint64_t>(telling.send));
    }
  }

 private:
  const FieldMask& mask_;
  ByteWriter& writer_;
};

void WriteEvent(ByteWriter& writer, const Event& event) {
  writer.Number(static_cast<uint64_t>(event.part));
  writer.Byte(static_cast<uint8_t>(event.type));
  writer.Number(static_cast<uint64_t>(event.time.millis));
  writer.Big(event.content_hash, 8);
  writer.Text(event.source);
  writer.Text(event.event_id);
  FieldMask mask;
  EachField(event, mask);
  writer.Number(mask.value());
  FieldWriter fields(mask, writer);
  EachField(event, fields);
}

// A promise may lie two years after its event.
bool IsLawful(Instant time) {
  constexpr Instant kLatest = kLatestInstant + 2 * 366 * kMillisPerDay;
  return time >= kEarliestInstant && time <= kLatest;
}

// Reads the fields that the mask names, in the same order.
class FieldReader {
 public:
  explicit FieldReader(ByteReader& reader) : reader_(reader), mask_(reader.Number()) {}

  bool Has(Bit bit) const { return (mask_ >> bit) & 1; }
  void Text(Bit bit, auto& text) {
    if (Has(bit)) text = reader_.Text();
  }
  template <typename T>
  void Number(Bit bit, std::optional<T>& value) {
    if (Has(bit)) value = static_cast<T>(reader_.Number());
  }
  void Time(Bit bit, std::optional<Instant>& time) {
    if (!Has(bit)) return;
    time = Instant{static_cast<int64_t>(reader_.Number())};
    lawful_ &= IsLawful(*time);
  }
  template <typename T>
  void Sum(Bit bit, std::optional<T>& money) {
    if (!Has(bit)) return;
    money.emplace();
    money->minor_units = reader_.Signed();
    const std::string_view currency = reader_.Text();
    lawful_ &= currency.size() <= 3;
    money->currency = currency;
    lawful_ &= money->minor_units >= -kMaxMinorUnits && money->minor_units <= kMaxMinorUnits;
  }
  void Tellings(Bit bit, Event& event) {
    if (!Has(bit)) return;
    for (uint64_t left = reader_.Number(); left > 0 && reader_.ok(); --left) {
      Telling& telling = event.tellings.emplace_back();
      if (event.revision) {
        const uint64_t before = reader_.Number();
        lawful_ &= before <= static_cast<uint64_t>(event.revision->millis);
        if (lawful_) telling.revision = {event.revision->millis - static_cast<int64_t>(before)};
      }
      telling.send = static_cast<int64_t>(reader_.Number());
    }
  }
  // Of an event without a revision.
  void PassTellings(Bit bit) {
    if (!Has(bit)) return;
    for (uint64_t left = reader_.Number(); left > 0 && reader_.ok(); --left) reader_.Number();
  }
  bool known() const { return (mask_ >> kBitCount) == 0; }
  // What was read is within what intake takes, so that it can be reckoned with.
  bool lawful() const { return lawful_; }

 private:
  ByteReader& reader_;
  uint64_t mask_;
  bool lawful_ = true;
};

bool ReadEvent(ByteReader& reader, Event& event) {
  event.part = static_cast<int>(reader.Number());
  event.type = static_cast<EventType>(reader.Byte());
  event.time = {static_cast<int64_t>(reader.Number())};
  event.content_hash = reader.Big(8);
  event.source = reader.Text();
  event.event_id = reader.Text();
  FieldReader fields(reader);
  fields.Text(kSupplier, event.supplier);
  fields.Text(kOrigin, event.origin);
  fields.Text(kDestination, event.destination);
  fields.Text(kService, event.service);
  fields.Time(kPromise, event.promise);
  event.promise_implied = fields.Has(kPromiseImplied);
  fields.Number(kPromiseDays, event.promise_days);
  fields.Text(kItem, event.item);
  fields.Number(kUnits, event.units);
  fields.Sum(kCost, event.cost);
  fields.Sum(kSale, event.sale);
  if (fields.Has(kReason)) event.reason = static_cast<Reason>(reader.Byte());
  fields.Sum(kClaim, event.claim);
  fields.Sum(kRefund, event.refund);
  event.refund_by_shop = fields.Has(kRefundByShop);
  if (fields.Has(kReplaces)) event.replaces = static_cast<int>(reader.Number());
  fields.Text(kTracking, event.tracking);
  fields.Text(kRetracts, event.retracts);
  fields.Time(kRevision, event.revision);
  fields.Sum(kQuoted, event.quoted);
  fields.Text(kSupplierItem, event.supplier_item);
  fields.Tellings(kTellings, event);
  return reader.ok() && fields.known() && fields.lawful() && IsLawful(event.time) &&
         event.type >= EventType::kPaid && event.type <= EventType::kRetracted &&
         event.reason <= Reason::kOther && event.part >= 1 && event.replaces >= 0 &&
         event.replaces < event.part && event.part <= kMaxPart;
}

// The fields of an event whose facts are kept where no earlier one stated them.
class PlainFields {
 public:
  PlainFields(ByteReader& reader, PlainOrder& order) : fields_(reader), order_(order) {}

  // False: what they say makes the order no plain one.
  bool Read(Instant time) {
    if (fields_.Has(kRevision) || fields_.Has(kReplaces) || !fields_.known()) return false;
    Text(kSupplier, order_.supplier);
    Text(kOrigin, order_.origin);
    Text(kDestination, order_.destination);
    Text(kService, order_.service);
    std::optional<Instant> promise;
    fields_.Time(kPromise, promise);
    const bool implied = fields_.Has(kPromiseImplied);
    if (promise && (!order_.promise || (order_.promise->implied && !implied))) {
      order_.promise = {*promise, implied, time <= *promise};
    }
    Pass(kPromiseDays);
    Text(kItem, order_.item);
    Pass(kUnits);
    Sum(kCost, order_.cost);
    std::optional<PlainSum> passed;
    Sum(kSale, passed);
    if (fields_.Has(kReason)) return false;
    Sum(kClaim, passed);
    Sum(kRefund, passed);
    std::string_view text;
    Text(kTracking, text);
    Text(kRetracts, text);
    Sum(kQuoted, order_.quoted);
    Text(kSupplierItem, text);
    fields_.PassTellings(kTellings);
    return fields_.lawful();
  }

 private:
  void Text(Bit bit, std::string_view& fact) {
    std::string_view said;
    fields_.Text(bit, said);
    if (fact.empty()) fact = said;
  }
  void Sum(Bit bit, std::optional<PlainSum>& fact) {
    std::optional<PlainSum> said;
    fields_.Sum(bit, said);
    if (!fact) fact = said;
  }
  void Pass(Bit bit) {
    std::optional<uint64_t> number;
    fields_.Number(bit, number);
  }

  FieldReader fields_;
  PlainOrder& order_;
};

// False: it makes the order no plain one.
bool ReadPlainEvent(ByteReader& reader, bool first, PlainOrder& order) {
  const auto part = static_cast<int>(reader.Number());
  if (first) order.part = part;
  if (part != order.part || part < 1 || part > kMaxPart) return false;
  const auto type = static_cast<EventType>(reader.Byte());
  const Instant time{static_cast<int64_t>(reader.Number())};
  std::optional<Instant>* at = type == EventType::kPaid        ? &order.paid
                               : type == EventType::kShipped   ? &order.shipped
                               : type == EventType::kDelivered ? &order.delivered
                                                               : nullptr;
  if (at == nullptr || !IsLawful(time)) return false;
  if (!*at) *at = time;
  reader.Big(8);
  reader.Text();
  reader.Text();
  return PlainFields(reader, order).Read(time);
}

absl::Status Malformed() { return absl::DataLossError("malformed order record"); }

}  // namespace

std::string EncodeEvent(const Event& event) {
  ByteWriter writer(kUsualBytes);
  WriteEvent(writer, event);
  return writer.Take();
}

absl::StatusOr<Event> DecodeEvent(std::string_view bytes) {
  ByteReader reader(bytes);
  Event event;
  if (!ReadEvent(reader, event) || !reader.done()) return Malformed();
  return event;
}

std::string EncodeOrder(const std::vector<Event>& events) {
  ByteWriter writer(events.size() * kUsualBytes);
  writer.Number(events.size());
  for (const Event& event : events) WriteEvent(writer, event);
  return writer.Take();
}

absl::StatusOr<std::vector<Event>> DecodeOrder(std::string_view bytes) {
  ByteReader reader(bytes);
  const uint64_t size = reader.Number();
  std::vector<Event> events;
  for (uint64_t i = 0; i < size; ++i) {
    if (!ReadEvent(reader, events.emplace_back())) return Malformed();
  }
  if (!reader.done()) return Malformed();
  return events;
}

std::optional<PlainOrder> ReadPlainOrder(std::string_view bytes) {
  ByteReader reader(bytes);
  const uint64_t size = reader.Number();
  std::optional<PlainOrder> order(std::in_place);
  for (uint64_t i = 0; i < size && reader.ok(); ++i) {
    if (!ReadPlainEvent(reader, i == 0, *order)) return std::nullopt;
  }
  if (!reader.done()) order.reset();
  return order;
}

}  // namespace plumblane
