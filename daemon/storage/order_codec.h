// Events and order records as bytes.
//
//   record  number of events, then each event; sorted by (time, source, event_id)
//   event   part (number), type (1 byte), time (number, millis), content hash (big64), source
//           (text), event_id (text), mask (number), then for each bit of the mask, lowest first:
//
//    0 supplier text        7 item text        14 refund by the shop, no bytes
//    1 origin text          8 units number     15 replaces number
//    2 destination text     9 cost money       16 tracking text
//    3 service text        10 sale money       17 retracts text
//    4 promise number      11 reason 1 byte    18 revision number, millis
//    5 promise implied,    12 claim money         19 quoted money
//      no bytes            13 refund money        20 supplier_item text
//    6 promise_days number                        21 tellings
//   money   minor units (signed), currency (text)
//   tellings  how many (number), then each: of an event with a revision, how many millis before it
//           (number); the send (number)
//
// Times and amounts are within what intake takes (1970 to 9999, promises two years more; up to
// kMaxMinorUnits); other ones are damage, as is a part that
// replaces itself or a later one.
//
// Never renumber a bit; a new field takes the next one.
#pragma once

#include <absl/status/statusor.h>

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "orders/event.h"
#include "orders/plain_order.h"

namespace plumblane {

std::string EncodeEvent(const Event& event);
absl::StatusOr<Event> DecodeEvent(std::string_view bytes);

// REQUIRES: sorted by Earlier().
std::string EncodeOrder(const std::vector<Event>& events);
absl::StatusOr<std::vector<Event>> DecodeOrder(std::string_view bytes);

// What the record says when its order is plain (orders/plain_order.h), a tenth of the cost of
// decoding it; none when it is not, or is malformed. Points into `bytes`.
std::optional<PlainOrder> ReadPlainOrder(std::string_view bytes);

}  // namespace plumblane
