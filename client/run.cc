#include "client/run.h"

#include <absl/strings/str_cat.h>

#include "client/agreements.h"
#include "client/assign.h"
#include "client/cli.h"
#include "client/excuses.h"
#include "client/moment.h"
#include "client/rank.h"
#include "client/record.h"
#include "client/send.h"
#include "client/show.h"
#include "client/show_backtest.h"
#include "client/show_order.h"
#include "client/show_scores.h"
#include "client/show_status.h"
#include "client/text.h"
#include "client/words.h"

namespace plumblane::client {
namespace {

constexpr int kPageSize = 1000;
constexpr int kBacktestPatienceSeconds = 600;

// All pages as one.
grpc::Status ListScores(const Invocation& invocation, const Connection& connection,
                        v1::ListScoresRequest::Collection collection, v1::ListScoresResponse& all) {
  v1::ListScoresRequest request;
  request.set_collection(collection);
  request.set_page_size(kPageSize);
  SetMoment(invocation, request);
  while (true) {
    CallContext context;
    v1::ListScoresResponse page;
    const grpc::Status status = connection.scores()->ListScores(&context, request, &page);
    if (!status.ok()) return status;
    for (v1::Score& score : *page.mutable_scores()) *all.add_scores() = std::move(score);
    if (page.next_page_token().empty()) return status;
    request.set_page_token(page.next_page_token());
  }
}

ExitCode RunList(const Invocation& invocation, const Connection& connection, const Io& io) {
  const bool suppliers = invocation.verb == Verb::kSuppliers;
  v1::ListScoresResponse answer;
  const grpc::Status status = ListScores(invocation, connection,
                                         suppliers ? v1::ListScoresRequest::COLLECTION_SUPPLIERS
                                                   : v1::ListScoresRequest::COLLECTION_LANES,
                                         answer);
  if (!status.ok()) return Fail(status, connection, io);
  if (invocation.json) {
    PrintJson(answer, io);
  } else {
    io.out << ShowScoreTable({answer.scores().begin(), answer.scores().end()},
                             suppliers ? Naming::kSupplier : Naming::kLane, io.width);
  }
  return kDone;
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
  } else {
    io.out << ShowScore(score, invocation.explain, io.width);
  }
  return kDone;
}

ExitCode RunOrder(const Invocation& invocation, const Connection& connection, const Io& io) {
  const std::string shop = invocation.order.shop.empty() ? kDefaultShop : invocation.order.shop;
  v1::GetOrderRequest request;
  request.set_shop(shop);
  request.set_order_id(invocation.order.order_id);
  CallContext context;
  v1::Order order;
  const grpc::Status status = connection.orders()->GetOrder(&context, request, &order);
  if (status.error_code() == grpc::StatusCode::NOT_FOUND) {
    io.err << "shop " << Quoted(shop) << " has no order " << Quoted(request.order_id())
           << "; name another shop with --shop\n";
    return kFailed;
  }
  if (!status.ok()) return Fail(status, connection, io);
  if (invocation.json) {
    PrintJson(order, io);
  } else {
    io.out << ShowOrder(order, io.width);
  }
  return kDone;
}

ExitCode RunBacktest(const Invocation& invocation, const Connection& connection, const Io& io) {
  const BacktestOptions& options = invocation.backtest;
  v1::BacktestRequest request;
  if (invocation.as_of) *request.mutable_as_of_time() = ToTimestamp(*invocation.as_of);
  for (const auto& half_life : options.half_lives) *request.add_half_lives() = half_life;
  if (options.days_ahead) request.set_days_ahead(*options.days_ahead);
  if (options.first_days) request.set_first_days(*options.first_days);
  CallContext context(kBacktestPatienceSeconds);
  v1::BacktestResponse answer;
  const grpc::Status status = connection.scores()->Backtest(&context, request, &answer);
  if (!status.ok()) return Fail(status, connection, io);
  if (invocation.json) {
    PrintJson(answer, io);
  } else {
    io.out << ShowBacktest(answer, io.width);
  }
  return kDone;
}

ExitCode RunStatus(const Invocation& invocation, const Connection& connection, const Io& io) {
  CallContext context;
  v1::ServerStatus answer;
  const grpc::Status status = connection.operations()->GetStatus(&context, {}, &answer);
  if (!status.ok()) return Fail(status, connection, io);
  if (invocation.json) {
    PrintJson(answer, io);
  } else {
    io.out << ShowStatus(answer, connection.address(), io.width);
  }
  return kDone;
}

}  // namespace

ExitCode Run(const Invocation& invocation, Connection& connection, const Io& io) {
  switch (invocation.verb) {
    case Verb::kSend:
      return RunSend(invocation.send, invocation.json, connection, io);
    case Verb::kRecord:
      return RunRecord(invocation.record, invocation.json, connection, io);
    case Verb::kSuppliers:
    case Verb::kLanes:
      return RunList(invocation, connection, io);
    case Verb::kSupplier:
    case Verb::kLane:
      return RunScore(invocation, connection, io);
    case Verb::kOrder:
      return RunOrder(invocation, connection, io);
    case Verb::kRank:
      return RunRank(invocation, connection, io);
    case Verb::kBacktest:
      return RunBacktest(invocation, connection, io);
    case Verb::kStatus:
      return RunStatus(invocation, connection, io);
    case Verb::kExcuseAdd:
    case Verb::kExcuseLoad:
    case Verb::kExcuseList:
    case Verb::kExcuseWithdraw:
      return RunExcuse(invocation, connection, io);
    case Verb::kAssign:
    case Verb::kAssignments:
      return RunAssign(invocation, connection, io);
    case Verb::kQuotesLoad:
    case Verb::kQuotesList:
    case Verb::kTermsLoad:
    case Verb::kTermsList:
    case Verb::kPause:
    case Verb::kResume:
    case Verb::kRatesLoad:
    case Verb::kRatesList:
    case Verb::kItemsLoad:
    case Verb::kItemsList:
    case Verb::kCostsLoad:
    case Verb::kCostsShow:
    case Verb::kCostsPropose:
      return RunAgreements(invocation, connection, io);
  }
  return kUsage;
}

ExitCode RunCommandLine(const std::vector<std::string>& arguments, const Io& io) {
  const std::variant<Invocation, Leave> parsed = ParseCommandLine(arguments);
  if (const Leave* leave = std::get_if<Leave>(&parsed)) {
    io.out << leave->out;
    io.err << leave->err;
    return leave->exit_code;
  }
  const Invocation& invocation = std::get<Invocation>(parsed);
  Connection connection(ServerAddress(invocation.server));
  return Run(invocation, connection, io);
}

}  // namespace plumblane::client
