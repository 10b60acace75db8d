#include "service/read_event.h"

#include <absl/strings/str_cat.h>

#include <optional>

#include "base/ids.h"
#include "base/lane.h"
#include "base/money.h"

namespace plumblane {
namespace {

constexpr int kMaxPromiseDays = 365;
constexpr int64_t kMaxPromiseMillis = kMillisPerDay * 366 * 2;

// Reads one event; the first failed check is kept and the rest is skipped.
class EventReader {
 public:
  EventReader(const v1::Event& in, const Zones& zones, Instant received, OrderEvent& out)
      : in_(in), zones_(zones), received_(received), out_(out) {}

  std::optional<Rejection> Read() {
    ReadIdentity();
    ReadTime();
    ReadFacts();
    ReadPromise();
    ReadOutcome();
    if (rejection_) return std::move(rejection_);
    event().content_hash = ContentHash(out_.order, event(), dates_);
    // Only now: the hash is of what was sent.
    if (event().promise_days) {
      event().promise =
          zones_.PromiseAfter(event().time, *event().promise_days, event().destination);
    }
    return std::nullopt;
  }

 private:
  Event& event() { return out_.event; }

  void Reject(std::string_view code, std::string_view field, std::string_view message) {
    if (!rejection_) rejection_ = {std::string(code), std::string(field), std::string(message)};
  }
  void Missing(std::string_view field, std::string_view message) {
    Reject("MISSING_FIELD", field, message);
  }
  void Bad(std::string_view field, std::string_view message) {
    Reject("BAD_VALUE", field, message);
  }
  void Check(std::string_view field, const absl::Status& status) {
    if (!status.ok()) Bad(field, std::string(status.message()));
  }

  void ReadIdentity() {
    if (in_.event_id().empty()) Missing("event_id", "expected 1 to 128 printable characters");
    Check("event_id", CheckEventId(in_.event_id()));
    event().event_id = in_.event_id();
    event().source = in_.source().empty() ? kDefaultSource : in_.source();
    Check("source", CheckId(event().source));
    out_.order.shop = in_.shop().empty() ? kDefaultShop : in_.shop();
    Check("shop", CheckId(out_.order.shop));
    if (in_.order_id().empty()) Missing("order_id", "expected the order this happened to");
    Check("order_id", CheckId(in_.order_id()));
    out_.order.order_id = in_.order_id();
    if (in_.part() < 0 || in_.part() > kMaxPart) {
      Bad("part", absl::StrCat("expected 1 to ", kMaxPart));
    }
    event().part = in_.part() == 0 ? 1 : in_.part();
    if (in_.type() == v1::EVENT_TYPE_UNSPECIFIED) Missing("type", "expected what happened");
    if (in_.type() < 0 || in_.type() > v1::EVENT_TYPE_RETRACTED) {
      Bad("type", "expected one of the eight event types");
    }
    event().type = static_cast<EventType>(in_.type());
  }

  std::optional<Instant> Time(std::string_view field, const google::protobuf::Timestamp& in) {
    constexpr int64_t kLatestSecond = kLatestInstant.millis / kMillisPerSecond;
    if (in.seconds() < 0 || in.seconds() > kLatestSecond || in.nanos() < 0 ||
        in.nanos() > 999'999'999) {
      Bad(field, "expected a time in the years 1970 to 9999");
      return std::nullopt;
    }
    return Instant{in.seconds() * kMillisPerSecond + in.nanos() / 1'000'000};
  }

  std::optional<Day> Date(std::string_view field, const std::string& in) {
    if (in.empty()) return std::nullopt;
    const auto day = ParseDay(in);
    Check(field, day.status());
    return day.ok() ? std::optional(*day) : std::nullopt;
  }

  // No later than the clock of the receiver, a day for clocks that are not exact.
  void NotAhead(std::string_view field, Instant time) {
    if (time <= received_ + kMaxAheadMillis) return;
    Reject("TIME_AHEAD", field,
           absl::StrCat(FormatInstant(time), " lies more than a day ahead of now, ",
                        FormatInstant(received_)));
  }

  void ReadTime() {
    if (!in_.has_event_time()) {
      Missing("event_time", "expected when it happened");
      return;
    }
    event().time = Time("event_time", in_.event_time()).value_or(Instant{});
    NotAhead("event_time", event().time);
    dates_.time = Date("event_date", in_.event_date());
    if (in_.has_revision_time()) {
      event().revision = Time("revision_time", in_.revision_time());
      if (event().revision) NotAhead("revision_time", *event().revision);
    }
  }

  void LaneEnd(std::string_view field, const std::string& in, std::string& out) {
    if (in.empty()) return;
    auto end = ParseLaneEnd(in);
    Check(field, end.status());
    if (end.ok()) out = *std::move(end);
  }

  std::optional<Money> Sum(std::string_view field, bool present, const v1::Money& in) {
    if (!present) return std::nullopt;
    std::string code = in.currency_code();
    for (char& c : code) c = static_cast<char>(c >= 'a' && c <= 'z' ? c - 'a' + 'A' : c);
    if (!MinorUnitDigits(code)) {
      Bad(std::string(field) + ".currency_code", "expected an ISO 4217 currency such as EUR");
    } else if (in.minor_units() < 0 || in.minor_units() > kMaxMinorUnits) {
      Bad(std::string(field) + ".minor_units", absl::StrCat("expected 0 to ", kMaxMinorUnits));
    }
    return Money{in.minor_units(), code};
  }

  void ReadFacts() {
    if (!in_.supplier().empty()) Check("supplier", CheckId(in_.supplier()));
    event().supplier = in_.supplier();
    LaneEnd("origin", in_.origin(), event().origin);
    LaneEnd("destination", in_.destination(), event().destination);
    auto service = ParseService(in_.service());
    Check("service", service.status());
    if (service.ok()) event().service = *std::move(service);
    if (!in_.item().empty()) Check("item", CheckEventId(in_.item()));
    event().item = in_.item();
    if (in_.has_unit_count()) {
      event().units = in_.unit_count();
      if (in_.unit_count() < 1 || in_.unit_count() > kMaxUnits) {
        Bad("unit_count", absl::StrCat("expected 1 to ", kMaxUnits));
      }
    }
    event().cost = Sum("cost", in_.has_cost(), in_.cost());
    event().sale = Sum("sale", in_.has_sale(), in_.sale());
    if (in_.replaces() != 0 && (in_.replaces() < 1 || in_.replaces() >= event().part)) {
      Bad("replaces", "expected a part of the same order below this one's");
    }
    event().replaces = in_.replaces();
    if (!in_.tracking().empty()) Check("tracking", CheckEventId(in_.tracking()));
    event().tracking = in_.tracking();
  }

  void ReadPromise() {
    if (in_.has_promise_time() && in_.has_promise_days()) {
      Reject("FIELD_CONFLICT", "promise_days", "expected promise_time or promise_days, not both");
    }
    dates_.promise = Date("promise_date", in_.promise_date());
    if (dates_.promise && !in_.has_promise_time()) {
      Missing("promise_time", "expected the moment that promise_date stands for");
    }
    if (in_.has_promise_time()) event().promise = Time("promise_time", in_.promise_time());
    if (event().promise && *event().promise > event().time + kMaxPromiseMillis) {
      Bad("promise_time", "expected a moment at most two years after the event");
    }
    if (in_.has_promise_days()) {
      event().promise_days = in_.promise_days();
      if (in_.promise_days() < 0 || in_.promise_days() > kMaxPromiseDays) {
        Bad("promise_days", absl::StrCat("expected 0 to ", kMaxPromiseDays, " days"));
      }
    }
  }

  void OnlyOn(bool present, std::string_view field, bool allowed, std::string_view types) {
    if (present && !allowed) {
      Bad(field, absl::StrCat("expected on ", std::string(types), " only, not on ",
                              std::string(NameOf(event().type))));
    }
  }

  void ReadOutcome() {
    if (rejection_) return;
    const EventType type = event().type;
    OnlyOn(in_.reason() != v1::REASON_UNSPECIFIED, "reason",
           type == EventType::kDisputed || type == EventType::kRefunded ||
               type == EventType::kCancelled,
           "disputed, refunded and cancelled");
    if (in_.reason() < 0 || in_.reason() > v1::REASON_OTHER) {
      Bad("reason", "expected one of the known reasons");
    }
    event().reason = static_cast<Reason>(in_.reason());
    OnlyOn(in_.has_claim(), "claim", type == EventType::kDisputed, "disputed");
    event().claim = Sum("claim", in_.has_claim(), in_.claim());
    OnlyOn(in_.has_refund(), "refund", type == EventType::kRefunded, "refunded");
    event().refund = Sum("refund", in_.has_refund(), in_.refund());
    OnlyOn(in_.refund_side() != v1::REFUND_SIDE_UNSPECIFIED, "refund_side",
           type == EventType::kRefunded, "refunded");
    if (in_.refund_side() < 0 || in_.refund_side() > v1::REFUND_SIDE_SHOP) {
      Bad("refund_side", "expected supplier or shop");
    }
    event().refund_by_shop = in_.refund_side() == v1::REFUND_SIDE_SHOP;
    OnlyOn(!in_.retracts().empty(), "retracts", type == EventType::kRetracted, "retracted");
    if (type == EventType::kRetracted) {
      if (in_.retracts().empty()) Missing("retracts", "expected the event_id taken back");
      Check("retracts", CheckEventId(in_.retracts()));
      if (in_.retracts() == in_.event_id()) Bad("retracts", "expected another event's id");
    }
    event().retracts = in_.retracts();
  }

  const v1::Event& in_;
  const Zones& zones_;
  const Instant received_;
  OrderEvent& out_;
  SentDates dates_;
  std::optional<Rejection> rejection_;
};

}  // namespace

std::optional<Rejection> ReadEvent(const v1::Event& in, const Zones& zones, Instant received,
                                   OrderEvent& out) {
  return EventReader(in, zones, received, out).Read();
}

}  // namespace plumblane
