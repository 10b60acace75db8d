#include "client/erase.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_join.h>
#include <unistd.h>

#include <string>
#include <vector>

#include "client/ask.h"
#include "client/show.h"
#include "client/text.h"

namespace plumblane::client {
namespace {

constexpr int kPatienceSeconds = 3600;

grpc::Status Erase(const Connection& connection, const EraseOptions& options, bool validate_only,
                   v1::EraseOrdersResponse& response) {
  v1::EraseOrdersRequest request;
  request.set_shop(options.shop);
  request.mutable_order_ids()->Assign(options.orders.begin(), options.orders.end());
  request.set_validate_only(validate_only);
  CallContext context;
  return connection.operations()->EraseOrders(&context, request, &response);
}

grpc::Status Erase(const Connection& connection, const EraseOptions& options, bool validate_only,
                   v1::EraseSupplierResponse& response) {
  v1::EraseSupplierRequest request;
  request.set_supplier(options.supplier);
  request.set_validate_only(validate_only);
  CallContext context(kPatienceSeconds);
  return connection.operations()->EraseSupplier(&context, request, &response);
}

// Those that there is nothing to do to.
std::string OthersText(const v1::EraseOrdersResponse& answer) {
  std::string text;
  const auto add = [&text](const auto& ids, const char* what) {
    if (!ids.empty()) absl::StrAppend(&text, what, absl::StrJoin(ids, ", "), "\n");
  };
  add(answer.unknown_order_ids(), "never known: ");
  add(answer.not_kept_order_ids(),
      "no longer kept before; what they count cannot be taken out any more: ");
  return text;
}

std::string ShowErased(const v1::EraseOrdersResponse& answer, int /*width*/) {
  return absl::StrCat(Counted(answer.erased_order_ids_size(), "order"), " erased\n",
                      OthersText(answer));
}

std::string WhatText(const v1::EraseSupplierResponse& answer) {
  std::vector<std::string> what = {Counted(answer.order_count(), "order")};
  const auto add = [&what](int64_t count, const char* noun, const char* rest) {
    if (count > 0) what.push_back(absl::StrCat(Counted(count, noun), rest));
  };
  add(answer.purged_part_count(), "order", " purged before");
  add(answer.assignment_count(), "order", " with an assignment that names it");
  add(answer.agreed_row_count(), "row", " of quotes, terms, pauses or item codes");
  add(answer.alert_count(), "alert", "");
  return Listed(what);
}

std::string SharedText(const v1::EraseSupplierResponse& answer) {
  if (answer.shared_order_count() == 0) return "";
  return absl::StrCat("; ", Counted(answer.shared_order_count(), "order"),
                      " of these with a part of another supplier, which goes too");
}

std::string ShowSupplierErased(const v1::EraseSupplierResponse& answer, int width) {
  return Wrapped(absl::StrCat("erased: ", WhatText(answer), SharedText(answer)), width);
}

// Whether to do it; not asked where nothing would go.
bool MayGo(const std::string& question, const Io& io) {
  io.err << Wrapped(absl::StrCat("erase ", question, "? It cannot be taken back."), io.width)
         << "[yes/no] " << std::flush;
  if (IsYes(io.in_fd)) return true;
  io.err << "nothing was changed\n";
  return false;
}

ExitCode EraseOrders(const Invocation& invocation, const Connection& connection, const Io& io) {
  const EraseOptions& options = invocation.erase;
  v1::EraseOrdersResponse answer;
  if (!options.yes) {
    if (grpc::Status status = Erase(connection, options, true, answer); !status.ok()) {
      return Fail(status, connection, io);
    }
    io.out << OthersText(answer) << std::flush;
    if (answer.erased_order_ids().empty()) return kFailed;
    if (!MayGo(Counted(answer.erased_order_ids_size(), "order"), io)) return kFailed;
    answer.Clear();
  }
  const grpc::Status status = Erase(connection, options, false, answer);
  return Print(status, answer, ShowErased, invocation.json, connection, io);
}

ExitCode EraseSupplier(const Invocation& invocation, const Connection& connection, const Io& io) {
  const EraseOptions& options = invocation.erase;
  v1::EraseSupplierResponse answer;
  if (!options.yes) {
    if (grpc::Status status = Erase(connection, options, true, answer); !status.ok()) {
      return Fail(status, connection, io);
    }
    if (!MayGo(absl::StrCat(options.supplier, ": ", WhatText(answer), SharedText(answer)), io)) {
      return kFailed;
    }
    answer.Clear();
  }
  const grpc::Status status = Erase(connection, options, false, answer);
  return Print(status, answer, ShowSupplierErased, invocation.json, connection, io);
}

}  // namespace

ExitCode RunErase(const Invocation& invocation, const Connection& connection, const Io& io) {
  if (!invocation.erase.yes && (isatty(io.in_fd) != 1 || invocation.json)) {
    io.err << "this erases for good: say --yes where nobody can be asked\n";
    return kUsage;
  }
  return invocation.erase.supplier.empty() ? EraseOrders(invocation, connection, io)
                                           : EraseSupplier(invocation, connection, io);
}

}  // namespace plumblane::client
