#include "client/scores.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_join.h>

#include <algorithm>
#include <optional>

#include "client/moment.h"
#include "client/paging.h"
#include "client/show.h"
#include "client/show_alerts.h"
#include "client/show_risk.h"
#include "client/show_scores.h"
#include "client/text.h"
#include "client/words.h"

namespace plumblane::client {
namespace {

grpc::Status ListScores(const Invocation& invocation, const Connection& connection,
                        v1::ListScoresRequest::Collection collection, v1::ListScoresResponse& all) {
  v1::ListScoresRequest request;
  request.set_collection(collection);
  SetMoment(invocation, request);
  const SuppliersOptions& options = invocation.suppliers;
  if (options.lane) *request.mutable_lane() = ToLane(*options.lane);
  request.set_tag(options.tag);
  request.set_min_order_count(options.min_orders.value_or(0));
  return ListAll(connection.scores(), &v1::Scores::Stub::ListScores,
                 &v1::ListScoresResponse::mutable_scores, std::move(request), all);
}

ExitCode RunLanes(const Invocation& invocation, const Connection& connection, const Io& io) {
  v1::ListScoresResponse answer;
  const grpc::Status status =
      ListScores(invocation, connection, v1::ListScoresRequest::COLLECTION_LANES, answer);
  const ExitCode code = Print(
      status, answer,
      [](const v1::ListScoresResponse& list, int width) {
        return ShowScoreTable({list.scores().begin(), list.scores().end()}, Naming::kLane, width);
      },
      invocation.json, connection, io);
  // Watches are as of now; below scores of an earlier moment they would mislead.
  if (code != kDone || invocation.json || invocation.as_of || answer.scores().empty()) return code;
  CallContext context;
  v1::ListWatchesResponse watches;
  const grpc::Status told = connection.alerts()->ListWatches(&context, {}, &watches);
  if (!told.ok()) {
    io.err << "how soon a worsening would be heard of is not known: ";
    return Fail(told, connection, io);
  }
  io.out << ShowHeardOfLanes(watches, io.width);
  return kDone;
}

// What the score is sorted by, the more the earlier; none for want of orders.
std::optional<double> Merit(const v1::Score& score, SupplierSort sort) {
  switch (sort) {
    case SupplierSort::kName:
      break;
    case SupplierSort::kOnTime:
      if (!IsEmpty(score.on_time())) return score.on_time().estimate();
      break;
    case SupplierSort::kDefect:
      if (!IsEmpty(score.defect())) return -score.defect().estimate();
      break;
    case SupplierSort::kOrders:
      return static_cast<double>(score.on_time().order_count());
    case SupplierSort::kUnderWay:
      return static_cast<double>(score.underway_count());
  }
  return std::nullopt;
}

// They come by name, which stays the order of equals.
void Sort(SupplierSort sort, v1::ListScoresResponse& answer) {
  auto& scores = *answer.mutable_scores();
  std::stable_sort(scores.pointer_begin(), scores.pointer_end(),
                   [sort](const v1::Score* a, const v1::Score* b) {
                     return Merit(*a, sort) > Merit(*b, sort);  // none is less than any
                   });
}

// "on VN-DE, tagged toys, with at least 20 settled orders", "" for all.
std::string WhichText(const SuppliersOptions& options) {
  std::vector<std::string> parts;
  if (options.lane) parts.push_back("on " + FormatLaneQuery(*options.lane));
  if (!options.tag.empty()) parts.push_back("tagged " + options.tag);
  if (options.min_orders) {
    parts.push_back("with at least " + Counted(*options.min_orders, "settled order"));
  }
  return absl::StrJoin(parts, ", ");
}

ExitCode RunSuppliers(const Invocation& invocation, const Connection& connection, const Io& io) {
  const SuppliersOptions& options = invocation.suppliers;
  v1::ListScoresResponse answer;
  const grpc::Status status =
      ListScores(invocation, connection, v1::ListScoresRequest::COLLECTION_SUPPLIERS, answer);
  if (!status.ok()) return Fail(status, connection, io);
  Sort(options.sort, answer);
  const std::string which = WhichText(options);
  if (invocation.json) {
    PrintJson(answer, io);
  } else if (!which.empty() && answer.scores().empty()) {
    io.out << "no supplier " << which << "\n";
  } else {
    if (!which.empty()) io.out << "Suppliers " << which << "\n\n";
    io.out << ShowScoreTable({answer.scores().begin(), answer.scores().end()}, Naming::kSupplier,
                             io.width, options.sort == SupplierSort::kUnderWay);
  }
  return kDone;
}

// `supplier` "" = all.
grpc::Status GetRisk(const std::string& supplier, const std::optional<int>& days,
                     const Connection& connection, v1::Risk& risk) {
  v1::GetRiskRequest request;
  request.set_supplier(supplier);
  request.set_days(days.value_or(0));
  CallContext context;
  return connection.sourcing()->GetRisk(&context, request, &risk);
}

ExitCode RunRisk(const Invocation& invocation, const Connection& connection, const Io& io) {
  v1::Risk risk;
  const grpc::Status status = GetRisk("", invocation.suppliers.days, connection, risk);
  return Print(status, risk, ShowRisk, invocation.json, connection, io);
}

// No order names it: perhaps it is spelled otherwise.
ExitCode SayUnknown(const Invocation& invocation, const Connection& connection, const Io& io) {
  const bool is_supplier = invocation.verb == Verb::kSupplier;
  const std::string name = is_supplier ? invocation.supplier : FormatLaneQuery(*invocation.lane);
  v1::ListScoresResponse known;
  std::vector<std::string> names;
  if (ListScores(invocation, connection,
                 is_supplier ? v1::ListScoresRequest::COLLECTION_SUPPLIERS
                             : v1::ListScoresRequest::COLLECTION_LANES,
                 known)
          .ok()) {
    for (const v1::Score& score : known.scores()) {
      names.push_back(is_supplier ? score.supplier_id() : LaneText(score.lane()));
    }
  }
  const std::string nearest = DidYouMean(name, names);
  io.err << "no order names " << (is_supplier ? "supplier " : "lane ") << Quoted(name)
         << (nearest.empty() ? "." : nearest) << " See plumblane "
         << (is_supplier ? "suppliers" : "lanes") << ".\n";
  return kFailed;
}

ExitCode RunScore(const Invocation& invocation, const Connection& connection, const Io& io) {
  v1::GetScoreRequest request;
  request.set_name(invocation.verb == Verb::kSupplier
                       ? "suppliers/" + invocation.supplier
                       : "lanes/" + FormatLaneQuery(*invocation.lane));
  SetMoment(invocation, request);
  for (const double days : invocation.within_days) request.add_within_days(days);
  CallContext context;
  v1::Score score;
  const grpc::Status status = connection.scores()->GetScore(&context, request, &score);
  if (status.error_code() == grpc::StatusCode::NOT_FOUND) {
    return SayUnknown(invocation, connection, io);
  }
  if (!status.ok()) return Fail(status, connection, io);
  if (invocation.json) {
    PrintJson(score, io);
    return kDone;
  }
  // Risk is of now; beside the score of an earlier moment it would mislead.
  const bool asks_risk = invocation.verb == Verb::kSupplier && !invocation.as_of;
  v1::Risk risk;
  const grpc::Status told =
      asks_risk ? GetRisk(invocation.supplier, std::nullopt, connection, risk) : grpc::Status::OK;
  io.out << ShowScore(score, invocation.explain, io.width,
                      asks_risk && told.ok() ? &risk : nullptr);
  if (told.ok()) return kDone;
  io.err << "what is at risk with it is not known: ";
  return Fail(told, connection, io);
}

}  // namespace

ExitCode RunScores(const Invocation& invocation, const Connection& connection, const Io& io) {
  switch (invocation.verb) {
    case Verb::kSuppliers:
      return invocation.suppliers.risk ? RunRisk(invocation, connection, io)
                                       : RunSuppliers(invocation, connection, io);
    case Verb::kLanes:
      return RunLanes(invocation, connection, io);
    default:
      return RunScore(invocation, connection, io);
  }
}

}  // namespace plumblane::client
