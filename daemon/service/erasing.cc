// Operations: EraseOrders and EraseSupplier.
#include <absl/strings/str_cat.h>
#include <spdlog/spdlog.h>

#include <memory>
#include <set>

#include "engine/erased_supplier.h"
#include "engine/leaving.h"
#include "service/query_services.h"
#include "service/read_question.h"
#include "service/status.h"
#include "storage/keys.h"

namespace plumblane {
namespace {

constexpr int kMostOrders = 1000;  // by one log entry

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

void WriteTraces(const SupplierTraces& traces, v1::EraseSupplierResponse* out) {
  out->set_order_count(traces.orders);
  out->set_shared_order_count(traces.shared_orders);
  out->set_purged_part_count(traces.purged_parts);
  out->set_assignment_count(traces.assignments);
  out->set_agreed_row_count(traces.agreed_rows);
  out->set_alert_count(traces.alerts);
}

// Step by step until it is done, or the call is.
absl::Status Erase(Desk& engine, const std::string& supplier,
                   const std::function<bool()>& give_up) {
  const auto submit = [&](Submission submission) {
    if (give_up()) return absl::CancelledError("cut short; ask again to finish it");
    return SubmitAndWait(engine, std::move(submission)).status;
  };
  std::string place;
  do {
    auto orders = SomeOrdersNaming(engine.Look().snapshot(), supplier, kMostOrders, give_up, place);
    if (!orders.ok()) return orders.status();
    if (orders->empty()) continue;
    Submission step;
    step.erased = *std::move(orders);
    if (absl::Status status = submit(std::move(step)); !status.ok()) return status;
  } while (!place.empty());
  do {
    auto orders = SomeAssignedNaming(engine.Look().snapshot(), supplier, kMostOrders, place);
    if (!orders.ok()) return orders.status();
    if (orders->empty()) continue;
    Submission step;
    step.erased_suppliers.push_back({supplier, *std::move(orders), false});
    if (absl::Status status = submit(std::move(step)); !status.ok()) return status;
  } while (!place.empty());
  Submission last;
  last.erased_suppliers.push_back({supplier, {}, true});
  return submit(std::move(last));
}

absl::Status EraseOrTell(Desk& engine, const v1::EraseSupplierRequest& request,
                         const std::function<bool()>& give_up,
                         v1::EraseSupplierResponse* response) {
  if (request.supplier().empty()) return absl::InvalidArgumentError("supplier: expected one");
  if (absl::Status bad = CheckSupplier(request.supplier()); !bad.ok()) return bad;
  const View view = engine.Look();
  const auto traces =
      TracesOf(view.snapshot(), view.catalog(), view.rules().fold, request.supplier(), give_up);
  if (!traces.ok()) return traces.status();
  if (traces->empty()) {
    return absl::NotFoundError(absl::StrCat("nothing names supplier ", request.supplier()));
  }
  WriteTraces(*traces, response);
  if (request.validate_only()) return absl::OkStatus();
  const absl::Status status = Erase(engine, request.supplier(), give_up);
  if (status.ok()) spdlog::info("a supplier was erased on request: {} orders", traces->orders);
  return status;
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

grpc::ServerUnaryReactor* OperationsService::EraseSupplier(grpc::CallbackServerContext* context,
                                                           const v1::EraseSupplierRequest* request,
                                                           v1::EraseSupplierResponse* response) {
  grpc::ServerUnaryReactor* reactor = context->DefaultReactor();
  const auto status = std::make_shared<absl::Status>();
  const auto work = [this, status, context, request, response] {
    *status = EraseOrTell(
        engine_, *request, [context] { return context->IsCancelled(); }, response);
  };
  if (!erasures_.Start(work, [status, reactor] { reactor->Finish(ToGrpc(*status)); })) {
    reactor->Finish({grpc::RESOURCE_EXHAUSTED, "a supplier is being erased; ask again later"});
  }
  return reactor;
}

}  // namespace plumblane
