#include "client/chase.h"

#include "base/lane.h"
#include "client/moment.h"
#include "client/paging.h"
#include "client/show.h"
#include "client/show_chase.h"

namespace plumblane::client {
namespace {

ExitCode RunUnderway(const ChaseOptions& options, bool json, const Connection& connection,
                     const Io& io) {
  v1::ListUnderwayRequest request;
  request.set_supplier(options.supplier);
  if (options.lane) *request.mutable_lane() = ToLane(*options.lane);
  request.set_late_only(options.late);
  v1::ListUnderwayResponse all;
  const grpc::Status status =
      ListAll(connection.orders(), &v1::Orders::Stub::ListUnderway,
              &v1::ListUnderwayResponse::mutable_orders, std::move(request), all);
  const std::string none =
      NoneFor(options.late ? "orders to chase" : "orders under way",
              {options.supplier, options.lane ? FormatLaneQuery(*options.lane) : ""});
  return Print(
      status, all,
      [&](const v1::ListUnderwayResponse& list, int width) {
        return list.orders().empty() && !none.empty() ? none
                                                      : ShowUnderway(list, options.late, width);
      },
      json, connection, io);
}

ExitCode RunClaims(const ChaseOptions& options, bool json, const Connection& connection,
                   const Io& io) {
  v1::ListClaimsRequest request;
  request.set_supplier(options.supplier);
  request.set_with_settled(options.all);
  v1::ListClaimsResponse all;
  const grpc::Status status =
      ListAll(connection.orders(), &v1::Orders::Stub::ListClaims,
              &v1::ListClaimsResponse::mutable_claims, std::move(request), all);
  const std::string none =
      NoneFor(options.all ? "claims" : "claims to file, unanswered or owed", {options.supplier});
  return Print(
      status, all,
      [&](const v1::ListClaimsResponse& list, int width) {
        return list.claims().empty() && !none.empty() ? none : ShowClaims(list, options.all, width);
      },
      json, connection, io);
}

}  // namespace

ExitCode RunChase(const Invocation& invocation, const Connection& connection, const Io& io) {
  return invocation.verb == Verb::kClaims
             ? RunClaims(invocation.chase, invocation.json, connection, io)
             : RunUnderway(invocation.chase, invocation.json, connection, io);
}

}  // namespace plumblane::client
