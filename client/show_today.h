// What needs somebody now, most urgent kind first; kinds that need nobody are left out.
//
//   alerts     active ones, with their sentence
//   chase      orders overdue, likely late or slow to leave, by number, per supplier
//   claims     to file within kSoonDays, unanswered, and money owed, per supplier
//   quotes     those that end within kSoonDays; whether another follows is not looked at
//   limits     monthly limits used to kNearLimit, what is assigned and not yet paid included
//   feeds      those that tell of deliveries and have said nothing for kSilentFeedDays while
//              orders are under way
//
// Pure; `width` is the number of columns to fit into.
#pragma once

#include <string>

#include "plumblane/v1/agreements.pb.h"
#include "plumblane/v1/alerts.pb.h"
#include "plumblane/v1/operations.pb.h"
#include "plumblane/v1/orders.pb.h"

namespace plumblane::client {

inline constexpr int kSoonDays = 14;
inline constexpr double kNearLimit = .8;

struct Today {
  v1::ListAlertsResponse alerts;      // open ones
  v1::ListUnderwayResponse underway;  // late ones; counts over all
  v1::ListClaimsResponse claims;      // without settled ones
  v1::ListQuotesResponse quotes;      // those that hold or will
  v1::ListTermsResponse terms;
  v1::ServerStatus status;
};

std::string ShowToday(const Today& today, int width);

}  // namespace plumblane::client
