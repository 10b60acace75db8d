#include "client/erase.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_join.h>
#include <unistd.h>

#include <string>

#include "client/ask.h"
#include "client/show.h"
#include "client/text.h"

namespace plumblane::client {
namespace {

grpc::Status Erase(const Connection& connection, const EraseOptions& options, bool validate_only,
                   v1::EraseOrdersResponse& response) {
  v1::EraseOrdersRequest request;
  request.set_shop(options.shop);
  request.mutable_order_ids()->Assign(options.orders.begin(), options.orders.end());
  request.set_validate_only(validate_only);
  CallContext context;
  return connection.operations()->EraseOrders(&context, request, &response);
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

}  // namespace

ExitCode RunErase(const Invocation& invocation, const Connection& connection, const Io& io) {
  const EraseOptions& options = invocation.erase;
  if (!options.yes && (isatty(io.in_fd) != 1 || invocation.json)) {
    io.err << "this takes orders out for good: say --yes where nobody can be asked\n";
    return kUsage;
  }
  v1::EraseOrdersResponse answer;
  if (!options.yes) {
    if (grpc::Status status = Erase(connection, options, true, answer); !status.ok()) {
      return Fail(status, connection, io);
    }
    io.out << OthersText(answer) << std::flush;
    if (answer.erased_order_ids().empty()) return kFailed;
    io.err << "erase " << Counted(answer.erased_order_ids_size(), "order")
           << "? It cannot be taken back. [yes/no] " << std::flush;
    if (!IsYes(io.in_fd)) {
      io.err << "nothing was changed\n";
      return kFailed;
    }
    answer.Clear();
  }
  const grpc::Status status = Erase(connection, options, false, answer);
  return Print(status, answer, ShowErased, invocation.json, connection, io);
}

}  // namespace plumblane::client
