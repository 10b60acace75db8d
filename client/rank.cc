#include "client/rank.h"

#include <absl/strings/str_cat.h>

#include "client/moment.h"
#include "client/option_values.h"
#include "client/show.h"
#include "client/show_cost_rank.h"
#include "client/show_rank.h"

namespace plumblane::client {
namespace {

v1::RankSuppliersRequest RequestFor(const Invocation& invocation) {
  const WantedOrder& order = invocation.rank.order;
  v1::RankSuppliersRequest request;
  request.set_destination(order.destination);
  request.set_origin(order.origin);
  if (order.service) request.set_service(*order.service);
  request.set_item(order.item);
  request.set_unit_count(order.units.value_or(0));
  request.set_shop(order.shop);
  if (!order.sale.empty()) *request.mutable_sale() = *ParseAmount(order.sale, order.currency);
  if (invocation.rank.limit) request.set_limit(*invocation.rank.limit);
  SetMoment(invocation, request);
  return request;
}

ExitCode SayNoCandidate(const WantedOrder& order, const v1::RankSuppliersResponse& answer,
                        const Io& io) {
  if (answer.excluded().empty()) {
    io.err << "no supplier has had an order to " << order.destination << WayText(order)
           << " yet; see plumblane lanes for where there have been some\n";
  } else {
    io.err << "no supplier can get an order to " << order.destination << WayText(order) << ":\n"
           << ExcludedText(answer.excluded(), io.width);
  }
  return kNoSupplier;
}

}  // namespace

std::string WayText(const WantedOrder& order) {
  std::string text = order.origin.empty() ? "" : " from " + order.origin;
  if (!order.service) return text;
  return text + (order.service->empty() ? " without a service" : " by service " + *order.service);
}

ExitCode RunRank(const Invocation& invocation, const Connection& connection, const Io& io) {
  const WantedOrder& order = invocation.rank.order;
  CallContext context;
  v1::RankSuppliersResponse answer;
  grpc::Status status =
      connection.sourcing()->RankSuppliers(&context, RequestFor(invocation), &answer);
  if (!status.ok()) return Fail(status, connection, io);
  if (invocation.json) PrintJson(answer, io);
  if (answer.candidates().empty()) return SayNoCandidate(order, answer, io);
  if (invocation.json) return kDone;
  if (answer.order() != v1::RankSuppliersResponse::ORDER_EXPECTED_COST) {
    io.out << ShowRank(answer, order.destination, invocation.explain, io.width);
    return kDone;
  }
  v1::CostSettings settings;
  if (invocation.explain) {
    CallContext another;
    status = connection.agreements()->GetCosts(&another, {}, &settings);
    if (!status.ok()) return Fail(status, connection, io);
  }
  io.out << ShowCostRank(answer, order.destination, invocation.explain ? &settings : nullptr,
                         io.width);
  return kDone;
}

}  // namespace plumblane::client
