#include "client/today.h"

#include "client/paging.h"
#include "client/show.h"
#include "client/show_today.h"

namespace plumblane::client {
namespace {

grpc::Status Ask(const Connection& connection, Today& today) {
  grpc::Status status =
      ListAll(connection.alerts(), &v1::Alerts::Stub::ListAlerts,
              &v1::ListAlertsResponse::mutable_alerts, v1::ListAlertsRequest(), today.alerts);
  if (!status.ok()) return status;
  v1::ListUnderwayRequest late;
  late.set_late_only(true);
  status = ListAll(connection.orders(), &v1::Orders::Stub::ListUnderway,
                   &v1::ListUnderwayResponse::mutable_orders, late, today.underway);
  if (!status.ok()) return status;
  status = ListAll(connection.orders(), &v1::Orders::Stub::ListClaims,
                   &v1::ListClaimsResponse::mutable_claims, v1::ListClaimsRequest(), today.claims);
  if (!status.ok()) return status;
  status = ListAll(connection.agreements(), &v1::Agreements::Stub::ListQuotes,
                   &v1::ListQuotesResponse::mutable_quotes, v1::ListQuotesRequest(), today.quotes);
  if (!status.ok()) return status;
  CallContext terms;
  status = connection.agreements()->ListTerms(&terms, {}, &today.terms);
  if (!status.ok()) return status;
  CallContext operations;
  return connection.operations()->GetStatus(&operations, {}, &today.status);
}

}  // namespace

ExitCode RunToday(bool json, const Connection& connection, const Io& io) {
  Today today;
  const grpc::Status status = Ask(connection, today);
  if (!status.ok()) return Fail(status, connection, io);
  if (json) {
    PrintJsonObject({{"alerts", &today.alerts},
                     {"underway", &today.underway},
                     {"claims", &today.claims},
                     {"quotes", &today.quotes},
                     {"terms", &today.terms},
                     {"status", &today.status}},
                    io);
  } else {
    io.out << ShowToday(today, io.width);
  }
  return kDone;
}

}  // namespace plumblane::client
