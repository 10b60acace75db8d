// Operations.EraseOrders.
#include <absl/strings/str_cat.h>
#include <spdlog/spdlog.h>

#include <set>

#include "engine/leaving.h"
#include "service/query_services.h"
#include "service/read_question.h"
#include "service/status.h"
#include "storage/keys.h"

namespace plumblane {
namespace {

constexpr int kMostOrders = 1000;

// What would be done, in `response`, and the orders to do it to.
absl::StatusOr<std::vector<OrderKey>> LookUp(const View& view,
                                             const v1::EraseOrdersRequest& request,
                                             v1::EraseOrdersResponse* response) {
  if (request.order_ids().empty() || request.order_ids_size() > kMostOrders) {
    return absl::InvalidArgumentError(
        absl::StrCat("order_ids: expected 1 to ", kMostOrders, " orders"));
  }
  std::vector<OrderKey> orders;
  std::set<std::string> seen;
  for (const std::string& id : request.order_ids()) {
    if (!seen.insert(id).second) continue;
    const auto order = ReadOrderKey(request.shop(), id);
    if (!order.ok()) return order.status();
    const auto record = view.snapshot().Get(Space::kOrders, OrderRecordKey(*order));
    if (!record.ok()) return record.status();
    if (*record) {
      orders.push_back(*order);
      response->add_erased_order_ids(id);
      continue;
    }
    const auto gone = NotKeptSince(view.snapshot(), *order);
    if (!gone.ok()) return gone.status();
    if (*gone) orders.push_back(*order);  // its assignments and excuses may be there still
    (*gone ? response->add_not_kept_order_ids() : response->add_unknown_order_ids())->assign(id);
  }
  return orders;
}

}  // namespace

grpc::ServerUnaryReactor* OperationsService::EraseOrders(grpc::CallbackServerContext* context,
                                                         const v1::EraseOrdersRequest* request,
                                                         v1::EraseOrdersResponse* response) {
  grpc::ServerUnaryReactor* reactor = context->DefaultReactor();
  auto orders = LookUp(engine_.Look(), *request, response);
  if (!orders.ok() || orders->empty() || request->validate_only()) {
    reactor->Finish(ToGrpc(orders.status()));
    return reactor;
  }
  Submission submission;
  const size_t count = orders->size();
  submission.erased = *std::move(orders);
  SubmitFact(engine_, std::move(submission), reactor,
             [count](const Receipt&) { spdlog::info("{} orders were erased on request", count); });
  return reactor;
}

}  // namespace plumblane
