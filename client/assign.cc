#include "client/assign.h"

#include <absl/strings/str_cat.h>

#include <algorithm>
#include <vector>

#include "base/whole_file.h"
#include "client/agreement_rows.h"
#include "client/option_values.h"
#include "client/paging.h"
#include "client/picks.h"
#include "client/rank.h"
#include "client/show.h"
#include "client/show_assign.h"
#include "client/show_cost_rank.h"
#include "client/text.h"
#include "client/words.h"

namespace plumblane::client {
namespace {

constexpr size_t kMostOrders = 1000;  // in one request
constexpr int kAssignPatienceSeconds = 120;

std::string ShopOf(const AssignOptions& options) {
  if (!options.order.shop.empty()) return options.order.shop;
  return options.one && !options.one->shop.empty() ? options.one->shop : kDefaultShop;
}

bool IsNoneEligible(const v1::AssignOrderResult& result) {
  return result.code() == v1::AssignOrderResult::CODE_NONE_ELIGIBLE;
}

// ---- one order --------------------------------------------------------------------------------

v1::AssignOrdersRequest RequestFor(const AssignOptions& options) {
  const WantedOrder& wanted = options.order;
  v1::AssignOrdersRequest request;
  v1::OrderToAssign& order = *request.add_orders();
  order.set_shop(ShopOf(options));
  order.set_order_id(options.one->order_id);
  order.set_destination(wanted.destination);
  order.set_item(wanted.item);
  order.set_unit_count(wanted.units.value_or(0));
  if (!wanted.sale.empty()) *order.mutable_sale() = *ParseAmount(wanted.sale, wanted.currency);
  order.set_origin(wanted.origin);
  if (wanted.service) order.set_service(*wanted.service);
  request.set_dry_run(options.dry_run);
  request.set_supplier(options.supplier);
  request.set_reason(options.reason);
  request.set_instead_of(options.instead_of);
  return request;
}

ExitCode SayWhyNot(const v1::AssignOrderResult& result, const AssignOptions& options,
                   const Io& io) {
  const std::string order = FormatOrder({ShopOf(options), options.one->order_id});
  if (!IsNoneEligible(result)) {
    io.err << "order " << order << " was not assigned: "
           << (result.field().empty() ? "" : FileField(result.field()) + ": ") << result.problem()
           << "\n";
    return kSomeRejected;
  }
  io.err << "no supplier can get order " << order << " to " << options.order.destination
         << WayText(options.order) << ":\n"
         << (result.excluded().empty() ? "- " + result.problem() + "\n"
                                       : ExcludedText(result.excluded(), io.width));
  return kNoSupplier;
}

ExitCode AssignOne(const Invocation& invocation, const Connection& connection, const Io& io) {
  const AssignOptions& options = invocation.assign;
  CallContext context(kAssignPatienceSeconds);
  v1::AssignOrdersResponse answer;
  const grpc::Status status =
      connection.sourcing()->AssignOrders(&context, RequestFor(options), &answer);
  if (!status.ok()) return Fail(status, connection, io);
  if (answer.results().empty()) {
    io.err << "the daemon gave no answer for the order\n";
    return kFailed;
  }
  if (invocation.json) PrintJson(answer, io);
  const v1::AssignOrderResult& result = answer.results(0);
  if (!result.has_assignment()) return SayWhyNot(result, options, io);
  if (!invocation.json) io.out << ShowPick(result, options.dry_run, io.width);
  return kDone;
}

// ---- all orders of a file ---------------------------------------------------------------------

// The orders of the rows; what is wrong with one is its result.
std::vector<Pick> ReadOrders(const std::vector<RowOrRejection>& rows, const std::string& shop) {
  std::vector<Pick> picks;
  for (const RowOrRejection& each : rows) {
    Pick& pick = picks.emplace_back();
    std::optional<Complaint> bad;
    int64_t line = 0;
    if (const Rejection* rejection = std::get_if<Rejection>(&each)) {
      bad = rejection->complaint;
      line = rejection->line;
    } else {
      const Row& row = std::get<Row>(each);
      bad = ReadOpenOrder(row, shop, pick.order);
      line = row.line;
    }
    if (!bad) continue;
    pick.result.set_code(v1::AssignOrderResult::CODE_BAD_VALUE);
    pick.result.set_problem(absl::StrCat(
        "line ", line, ": ", bad->field.empty() ? "" : bad->field + ": ", bad->message));
  }
  return picks;
}

// Asks for all orders that could be read, so many at a time.
grpc::Status Decide(const AssignOptions& options, const Connection& connection,
                    std::vector<Pick>& picks, size_t* decided) {
  std::vector<Pick*> open;
  for (Pick& pick : picks) {
    if (pick.result.code() == v1::AssignOrderResult::CODE_UNSPECIFIED) open.push_back(&pick);
  }
  for (size_t first = 0; first < open.size(); first += kMostOrders) {
    const size_t end = std::min(open.size(), first + kMostOrders);
    v1::AssignOrdersRequest request;
    request.set_dry_run(options.dry_run);
    for (size_t i = first; i < end; ++i) *request.add_orders() = open[i]->order;
    CallContext context(kAssignPatienceSeconds);
    v1::AssignOrdersResponse answer;
    const grpc::Status status = connection.sourcing()->AssignOrders(&context, request, &answer);
    if (!status.ok()) return status;
    if (static_cast<size_t>(answer.results_size()) != end - first) {
      return {grpc::StatusCode::INTERNAL, "the daemon did not answer for every order"};
    }
    for (size_t i = first; i < end; ++i) {
      open[i]->result = std::move(*answer.mutable_results(static_cast<int>(i - first)));
      if (!open[i]->result.field().empty()) {
        open[i]->result.set_field(FileField(open[i]->result.field()));
      }
    }
    *decided = end;
  }
  return grpc::Status::OK;
}

struct Tally {
  int64_t assigned = 0, existed = 0, trials = 0, none_eligible = 0, wrong = 0;
};

Tally CountPicks(const std::vector<Pick>& picks) {
  Tally tally;
  for (const Pick& pick : picks) {
    const v1::AssignOrderResult& result = pick.result;
    if (!result.has_assignment()) {
      ++(IsNoneEligible(result) ? tally.none_eligible : tally.wrong);
      continue;
    }
    ++(result.existed() ? tally.existed : tally.assigned);
    if (result.assignment().trial()) ++tally.trials;
  }
  return tally;
}

// The orders without a supplier, and why.
void SayProblems(const std::vector<Pick>& picks, const Io& io) {
  for (const Pick& pick : picks) {
    const v1::AssignOrderResult& result = pick.result;
    if (result.has_assignment()) continue;
    const std::string field = result.field().empty() ? "" : result.field() + ": ";
    const std::string order =
        pick.order.order_id().empty()
            ? ""
            : "order " + FormatOrder({pick.order.shop(), pick.order.order_id()}) + ": ";
    io.err << order << field << result.problem() << "\n"
           << ExcludedText(result.excluded(), io.width);
  }
}

std::string TallyText(const Tally& tally, bool dry_run) {
  std::string text =
      absl::StrCat(Counted(tally.assigned, "order"), dry_run ? " would be assigned" : " assigned");
  const auto add = [&](int64_t count, const std::string& what) {
    if (count > 0) absl::StrAppend(&text, ", ", Thousands(count), what);
  };
  add(tally.existed, " assigned before");
  add(tally.none_eligible, " without a supplier");
  add(tally.wrong, " wrong");
  if (tally.trials > 0) absl::StrAppend(&text, "; ", Counted(tally.trials, "trial"), " among them");
  return text + "\n";
}

// Where the picks go. With JSON standard output is the answer's.
bool WritePicks(const Invocation& invocation, const std::vector<Pick>& picks, const Io& io) {
  const std::string text = PicksText(picks, invocation.csv.style());
  if (invocation.json) {
    v1::AssignOrdersResponse all;
    for (const Pick& pick : picks) *all.add_results() = pick.result;
    PrintJson(all, io);
  }
  if (invocation.assign.picks.empty()) {
    if (!invocation.json) io.out << text;
    return true;
  }
  const std::string mistake = WriteWhole(invocation.assign.picks, text);
  if (!mistake.empty()) io.err << mistake << "\n";
  return mistake.empty();
}

ExitCode AssignFile(const Invocation& invocation, const Connection& connection, const Io& io) {
  const AssignOptions& options = invocation.assign;
  const auto read = ReadTable(options.file, OpenOrderColumns(), io);
  if (const Refusal* refusal = std::get_if<Refusal>(&read)) {
    io.err << refusal->message << "\n";
    return refusal->exit_code;
  }
  std::vector<Pick> picks =
      ReadOrders(std::get<std::vector<RowOrRejection>>(read), ShopOf(options));
  size_t decided = 0;
  const grpc::Status status = Decide(options, connection, picks, &decided);
  if (!status.ok()) {
    if (decided > 0 && !options.dry_run) {
      io.err << Counted(static_cast<int64_t>(decided), "order")
             << " went through before this; run it again, they keep their supplier\n";
    }
    return Fail(status, connection, io);
  }
  SayProblems(picks, io);
  if (!WritePicks(invocation, picks, io)) return kFailed;
  const Tally tally = CountPicks(picks);
  io.err << TallyText(tally, options.dry_run);
  if (tally.none_eligible > 0) return kNoSupplier;
  return tally.wrong > 0 ? kSomeRejected : kDone;
}

// ---- what was assigned ------------------------------------------------------------------------

ExitCode RunAssignments(const Invocation& invocation, const Connection& connection, const Io& io) {
  const AssignmentsOptions& options = invocation.assignments;
  v1::ListAssignmentsRequest request;
  request.set_supplier(options.supplier);
  if (options.since) *request.mutable_from_time() = ToTimestamp(StartOf(*options.since));
  if (options.until) *request.mutable_to_time() = ToTimestamp(EndOf(*options.until));
  v1::ListAssignmentsResponse all;
  const grpc::Status status =
      ListAll(connection.sourcing(), &v1::Sourcing::Stub::ListAssignments,
              &v1::ListAssignmentsResponse::mutable_assignments, std::move(request), all);
  return Print(status, all, ShowAssignments, invocation.json, connection, io);
}

}  // namespace

ExitCode RunAssign(const Invocation& invocation, const Connection& connection, const Io& io) {
  if (invocation.verb == Verb::kAssignments) return RunAssignments(invocation, connection, io);
  return invocation.assign.one ? AssignOne(invocation, connection, io)
                               : AssignFile(invocation, connection, io);
}

}  // namespace plumblane::client
