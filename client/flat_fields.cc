#include "client/flat_fields.h"

#include <absl/status/statusor.h>
#include <absl/strings/numbers.h>
#include <absl/strings/str_cat.h>
#include <absl/strings/str_join.h>

#include "base/ids.h"
#include "base/lane.h"
#include "client/text.h"
#include "client/words.h"

namespace plumblane::client {
namespace {

using Outcome = std::optional<Complaint>;
using Text = std::string* (v1::Event::*)();

constexpr int64_t kMaxPromiseDays = 365, kMaxUnits = 1'000'000;

Complaint BadValue(const Cell& cell, const absl::Status& status) {
  return client::BadValue(cell, std::string(status.message()));
}

template <Text kField, absl::Status (*kCheck)(std::string_view)>
Outcome Checked(const Cell& cell, Draft& draft, Amounts&) {
  if (cell.kind == Cell::Kind::kDecimal) {
    return client::BadValue(cell, "expected a text; write it in quotes");
  }
  if (const absl::Status status = kCheck(cell.value); !status.ok()) return BadValue(cell, status);
  *(draft.event.*kField)() = cell.value;
  return std::nullopt;
}

template <Text kField>
Outcome Id(const Cell& cell, Draft& draft, Amounts& amounts) {
  return Checked<kField, CheckId>(cell, draft, amounts);
}

template <Text kField>
Outcome LongId(const Cell& cell, Draft& draft, Amounts& amounts) {
  return Checked<kField, CheckEventId>(cell, draft, amounts);
}

template <Text kField, absl::StatusOr<std::string> (*kParse)(std::string_view)>
Outcome Parsed(const Cell& cell, Draft& draft, Amounts&) {
  absl::StatusOr<std::string> parsed = kParse(cell.value);
  if (!parsed.ok()) return BadValue(cell, parsed.status());
  *(draft.event.*kField)() = *std::move(parsed);
  return std::nullopt;
}

template <typename Int, void (v1::Event::*kField)(Int), int64_t kLow, int64_t kHigh>
Outcome Integer(const Cell& cell, Draft& draft, Amounts&) {
  int64_t number = 0;
  if (!absl::SimpleAtoi(cell.value, &number) || number < kLow || number > kHigh) {
    return client::BadValue(cell,
                            absl::StrCat("expected a whole number from ", kLow, " to ", kHigh));
  }
  (draft.event.*kField)(static_cast<Int>(number));
  return std::nullopt;
}

// A moment, or a bare date left open.
template <google::protobuf::Timestamp* (v1::Event::*kField)(), std::optional<Day> Draft::*kDate>
Outcome Time(const Cell& cell, Draft& draft, Amounts&) {
  if (LooksLikeDay(cell.value)) {
    const absl::StatusOr<Day> day = ParseDay(cell.value);
    if (!day.ok()) return BadValue(cell, day.status());
    draft.*kDate = *day;
    return std::nullopt;
  }
  const absl::StatusOr<Instant> instant = ParseInstant(cell.value);
  if (!instant.ok()) {
    const bool is_out_of_range =
        instant.status().message().find("years") != absl::string_view::npos;
    if (is_out_of_range) return BadValue(cell, instant.status());
    return client::BadValue(cell,
                            "expected a date alone, or date, \"T\", time and the offset from "
                            "UTC, such as 2026-03-05T14:00:00+01:00");
  }
  *(draft.event.*kField)() = ToTimestamp(*instant);
  return std::nullopt;
}

template <std::optional<Cell> Amounts::*kField>
Outcome Amount(const Cell& cell, Draft&, Amounts& amounts) {
  amounts.*kField = cell;
  return std::nullopt;
}

Outcome Currency(const Cell& cell, Draft&, Amounts& amounts) {
  amounts.currency = cell.value;
  return std::nullopt;
}

Outcome Type(const Cell& cell, Draft& draft, Amounts&) {
  const std::optional<v1::EventType> type = TypeNamed(cell.value);
  if (!type) {
    return client::BadValue(cell, "expected one of " + absl::StrJoin(TypeNames(), ", "));
  }
  draft.event.set_type(*type);
  return std::nullopt;
}

Outcome ReasonWord(const Cell& cell, Draft& draft, Amounts&) {
  const std::optional<v1::Reason> reason = ReasonNamed(cell.value);
  if (!reason) {
    return client::BadValue(cell, "expected one of " + absl::StrJoin(ReasonNames(), ", "));
  }
  draft.event.set_reason(*reason);
  return std::nullopt;
}

Outcome Side(const Cell& cell, Draft& draft, Amounts&) {
  if (cell.value != "supplier" && cell.value != "shop") {
    return client::BadValue(cell, "expected supplier or shop");
  }
  const bool by_shop = cell.value == "shop";
  draft.event.set_refund_side(by_shop ? v1::REFUND_SIDE_SHOP : v1::REFUND_SIDE_SUPPLIER);
  return std::nullopt;
}

struct Field {
  std::string_view name;
  SetField set;
};

// In the order of words.cc.
constexpr Field kFields[] = {
    {"event_id", LongId<&v1::Event::mutable_event_id>},
    {"source", Id<&v1::Event::mutable_source>},
    {"shop", Id<&v1::Event::mutable_shop>},
    {"order_id", Id<&v1::Event::mutable_order_id>},
    {"part", Integer<int32_t, &v1::Event::set_part, 1, kMaxPart>},
    {"type", Type},
    {"time", Time<&v1::Event::mutable_event_time, &Draft::date>},
    {"supplier", Id<&v1::Event::mutable_supplier>},
    {"origin", Parsed<&v1::Event::mutable_origin, ParseLaneEnd>},
    {"destination", Parsed<&v1::Event::mutable_destination, ParseLaneEnd>},
    {"service", Parsed<&v1::Event::mutable_service, ParseService>},
    {"promise", Time<&v1::Event::mutable_promise_time, &Draft::promise_date>},
    {"promise_days", Integer<int32_t, &v1::Event::set_promise_days, 0, kMaxPromiseDays>},
    {"item", LongId<&v1::Event::mutable_item>},
    {"units", Integer<int64_t, &v1::Event::set_unit_count, 1, kMaxUnits>},
    {"cost", Amount<&Amounts::cost>},
    {"sale", Amount<&Amounts::sale>},
    {"currency", Currency},
    {"replaces", Integer<int32_t, &v1::Event::set_replaces, 1, kMaxPart - 1>},
    {"tracking", LongId<&v1::Event::mutable_tracking>},
    {"refund", Amount<&Amounts::refund>},
    {"by", Side},
    {"claim", Amount<&Amounts::claim>},
    {"reason", ReasonWord},
    {"retracts", LongId<&v1::Event::mutable_retracts>},
    {"revision", Time<&v1::Event::mutable_revision_time, &Draft::revision_date>},
};

}  // namespace

SetField SetterOf(std::string_view name) {
  for (const Field& field : kFields) {
    if (field.name == name) return field.set;
  }
  return nullptr;
}

Complaint BadValue(const Cell& cell, const std::string& expected) {
  const std::string said = cell.kind == Cell::Kind::kOther ? cell.value : Quoted(cell.value);
  return {"BAD_VALUE", cell.field, absl::StrCat(expected, ", not ", said)};
}

}  // namespace plumblane::client
