#include "orders/event.h"

#include <iterator>
#include <tuple>

#include "base/hash.h"

namespace plumblane {
namespace {

constexpr std::string_view kTypeNames[] = {"",          "paid",      "shipped",
                                           "delivered", "disputed",  "answered",
                                           "refunded",  "cancelled", "retracted"};
constexpr std::string_view kReasonNames[] = {
    "",        "late",         "not_received",  "damaged",
    "quality", "wrong_item",   "missing_part",  "counterfeit",
    "unsafe",  "lost",         "wrong_address", "refused",
    "customs", "changed_mind", "out_of_stock",  "other"};

template <typename Enum, size_t N>
std::optional<Enum> Named(const std::string_view (&names)[N], std::string_view name) {
  for (size_t i = 1; i < N; ++i) {
    if (names[i] == name) return static_cast<Enum>(i);
  }
  return std::nullopt;
}

// Each field is preceded by its tag and closed by its length, so no two different events feed the
// same bytes.
class Hasher {
 public:
  void Text(char tag, std::string_view text) {
    hash_.Byte(static_cast<unsigned char>(tag));
    hash_.Text(text);
    hash_.Number(text.size());
  }
  void Int(char tag, int64_t value) {
    hash_.Byte(static_cast<unsigned char>(tag));
    hash_.Number(static_cast<uint64_t>(value));
  }
  void Sum(char tag, const std::optional<Money>& money) {
    if (!money) return;
    Int(tag, money->minor_units);
    Text(tag, money->currency);
  }
  uint64_t value() const { return hash_.value(); }

 private:
  StableHash hash_;
};

}  // namespace

std::string_view NameOf(EventType type) { return kTypeNames[static_cast<size_t>(type)]; }
std::string_view NameOf(Reason reason) { return kReasonNames[static_cast<size_t>(reason)]; }
std::optional<EventType> EventTypeNamed(std::string_view name) {
  return Named<EventType>(kTypeNames, name);
}
std::optional<Reason> ReasonNamed(std::string_view name) {
  return Named<Reason>(kReasonNames, name);
}

bool Earlier(const Event& a, const Event& b) {
  return std::tie(a.time, a.source, a.event_id, a.content_hash) <
         std::tie(b.time, b.source, b.event_id, b.content_hash);
}

uint64_t ContentHash(const OrderKey& order, const Event& event, const SentDates& dates) {
  Hasher hasher;
  hasher.Text('S', order.shop);
  hasher.Text('O', order.order_id);
  hasher.Text('s', event.source);
  hasher.Text('e', event.event_id);
  hasher.Int('p', event.part);
  hasher.Int('t', static_cast<int64_t>(event.type));
  if (dates.time) {
    hasher.Int('A', dates.time->number);
  } else {
    hasher.Int('T', event.time.millis);
  }
  hasher.Text('u', event.supplier);
  hasher.Text('o', event.origin);
  hasher.Text('d', event.destination);
  hasher.Text('v', event.service);
  if (event.promise_days) {
    hasher.Int('D', *event.promise_days);
  } else if (dates.promise) {
    hasher.Int('B', dates.promise->number);
  } else if (event.promise && !event.promise_implied) {
    hasher.Int('P', event.promise->millis);
  }
  hasher.Text('i', event.item);
  if (event.units) hasher.Int('n', *event.units);
  hasher.Sum('c', event.cost);
  hasher.Sum('a', event.sale);
  hasher.Sum('l', event.claim);
  hasher.Sum('f', event.refund);
  hasher.Int('b', event.refund_by_shop ? 1 : 0);
  hasher.Int('r', event.replaces);
  hasher.Text('k', event.tracking);
  hasher.Int('y', static_cast<int64_t>(event.reason));
  hasher.Text('x', event.retracts);
  return hasher.value();
}

}  // namespace plumblane
