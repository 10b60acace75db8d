#include "client/run.h"

#include <absl/strings/str_cat.h>

#include <cstdlib>

#include "client/agreements.h"
#include "client/alerts.h"
#include "client/assign.h"
#include "client/chase.h"
#include "client/cli.h"
#include "client/completions.h"
#include "client/erase.h"
#include "client/excuses.h"
#include "client/export.h"
#include "client/follow.h"
#include "client/manual.h"
#include "client/map_command.h"
#include "client/rank.h"
#include "client/record.h"
#include "client/review.h"
#include "client/scores.h"
#include "client/send.h"
#include "client/sends.h"
#include "client/settings.h"
#include "client/show.h"
#include "client/show_backtest.h"
#include "client/show_order.h"
#include "client/show_status.h"
#include "client/table.h"
#include "client/text.h"
#include "client/today.h"
#include "client/upkeep.h"
#include "client/watch.h"

namespace plumblane::client {
namespace {

constexpr int kBacktestPatienceSeconds = 600;

ExitCode RunOrder(const Invocation& invocation, const Connection& connection, const Io& io) {
  const std::string shop = invocation.order.shop.empty() ? kDefaultShop : invocation.order.shop;
  v1::GetOrderRequest request;
  request.set_shop(shop);
  request.set_order_id(invocation.order.order_id);
  CallContext context;
  v1::Order order;
  const grpc::Status status = connection.orders()->GetOrder(&context, request, &order);
  if (status.error_code() == grpc::StatusCode::NOT_FOUND) {
    io.err << status.error_message() << "; name another shop with --shop\n";
    return kFailed;
  }
  return Print(status, order, ShowOrder, invocation.json, connection, io);
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
  return Print(status, answer, ShowBacktest, invocation.json, connection, io);
}

ExitCode RunStatus(const Invocation& invocation, const Connection& connection, const Io& io) {
  CallContext context;
  v1::ServerStatus answer;
  const grpc::Status status = connection.operations()->GetStatus(&context, {}, &answer);
  return Print(
      status, answer,
      [&](const v1::ServerStatus& told, int width) {
        return ShowStatus(told, connection.address(), width);
      },
      invocation.json, connection, io);
}

}  // namespace

namespace {

// Waits out a take-over.
constexpr absl::Duration kOwnerPatience = absl::Seconds(20);

// What the owner of a shared log alone can do. Sending looks for it by itself.
bool Changes(Verb verb) {
  switch (verb) {
    case Verb::kSendsUndo:
    case Verb::kErase:
    case Verb::kRecord:
    case Verb::kExcuseAdd:
    case Verb::kExcuseLoad:
    case Verb::kExcuseWithdraw:
    case Verb::kAssign:
    case Verb::kAlertsAcknowledge:
    case Verb::kAlertsShelve:
    case Verb::kAlertsAccept:
    case Verb::kQuotesLoad:
    case Verb::kTermsLoad:
    case Verb::kPause:
    case Verb::kResume:
    case Verb::kRatesLoad:
    case Verb::kItemsLoad:
    case Verb::kCostsLoad:
      return true;
    default:
      return false;
  }
}

}  // namespace

ExitCode Run(const Invocation& invocation, Servers& servers, const Io& io) {
  if (Changes(invocation.verb)) (void)servers.SeekOwner(kOwnerPatience);
  Connection& connection = servers.at();
  switch (invocation.verb) {
    case Verb::kToday:
      return RunToday(invocation.json, connection, io);
    case Verb::kSend:
      return invocation.send.follow.empty()
                 ? RunSend(invocation.send, invocation.json, servers, io)
                 : RunFollow(invocation.send, invocation.json, servers, io);
    case Verb::kSends:
    case Verb::kSendsUndo:
      return RunSends(invocation, connection, io);
    case Verb::kErase:
      return RunErase(invocation, connection, io);
    case Verb::kVerify:
    case Verb::kBackup:
      return RunUpkeep(invocation, connection, io);
    case Verb::kMap:
      return RunMap(invocation.propose, invocation.json, io);
    case Verb::kRecord:
      return RunRecord(invocation.record, invocation.json, connection, io);
    case Verb::kSuppliers:
    case Verb::kSupplier:
    case Verb::kLanes:
    case Verb::kLane:
      return RunScores(invocation, connection, io);
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
    case Verb::kUnderway:
    case Verb::kClaims:
      return RunChase(invocation, connection, io);
    case Verb::kAlerts:
    case Verb::kAlertsAcknowledge:
    case Verb::kAlertsShelve:
    case Verb::kAlertsAccept:
    case Verb::kAlertsWatch:
    case Verb::kAlertsWatches:
    case Verb::kAlertsDeliveries:
      return RunAlerts(invocation, connection, io);
    case Verb::kReview:
      return RunReview(invocation, connection, io);
    case Verb::kExportScores:
    case Verb::kExportCohorts:
    case Verb::kExportEvents:
    case Verb::kExportAssignments:
      return RunExport(invocation, connection, io);
    case Verb::kWatch:
      return RunWatch(invocation, connection, io);
    case Verb::kCompletions:
    case Verb::kManual:
      break;  // need no daemon: RunCommandLine
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

namespace {

absl::StatusOr<Settings> SettingsOfUser() {
  const std::string path = SettingsPath();
  if (path.empty()) return Settings();
  return ReadSettings(path, /*must_exist=*/std::getenv("PLUMBLANE_SETTINGS") != nullptr);
}

}  // namespace

ExitCode RunCommandLine(const std::vector<std::string>& arguments, const Io& io) {
  const absl::StatusOr<Settings> settings = SettingsOfUser();
  const std::variant<Invocation, Leave> parsed =
      ParseCommandLine(arguments, settings.value_or(Settings()));
  if (const Leave* leave = std::get_if<Leave>(&parsed)) {
    io.out << leave->out;
    io.err << leave->err;
    return leave->exit_code;
  }
  const Invocation& invocation = std::get<Invocation>(parsed);
  if (invocation.verb == Verb::kCompletions || invocation.verb == Verb::kManual) {
    const Command commands = DescribeCommands();
    io.out << (invocation.verb == Verb::kManual ? ManualPage(commands, Version())
                                                : Completions(commands, invocation.shell));
    return kDone;
  }
  if (!settings.ok()) {
    io.err << settings.status().message() << "\n";
    return kUsage;
  }
  // Before the library starts threads of its own, which inherit it.
  if (!invocation.send.follow.empty()) BlockStopSignals();
  const std::vector<std::string> addresses =
      SplitServers(ServerAddress(invocation.server, settings->server));
  const absl::StatusOr<Access> access = ReadAccess(invocation.access, settings->access);
  absl::Status may = access.status();
  if (addresses.empty()) may = absl::InvalidArgumentError("--server: expected an address");
  for (const std::string& address : addresses) {
    if (may.ok()) may = CheckAccess(address, *access);
  }
  if (!may.ok()) {
    io.err << may.message() << "\n";
    return kUsage;
  }
  Servers servers(addresses, *access);
  const bool waits_itself = invocation.verb == Verb::kSend || invocation.verb == Verb::kMap;
  if (addresses.size() > 1 && !waits_itself && !servers.WaitUntilReady()) {
    io.err << Explain({grpc::StatusCode::UNAVAILABLE, "no answer"}, servers.Place()) << "\n";
    return kOutOfReach;
  }
  // How each of them is is asked of itself.
  if (addresses.size() > 1 && !waits_itself && invocation.verb != Verb::kStatus) {
    servers.SeekWhole();
  }
  const Io plain{io.out, io.err, io.in_fd, false, kPlainWidth};
  const ExitCode code = Run(invocation, servers, invocation.plain ? plain : io);
  const std::string remark = servers.at().remark().text();
  // The status says so itself.
  if (!remark.empty() && invocation.verb != Verb::kStatus) {
    io.err << remark << "\n";
  }
  return code;
}

}  // namespace plumblane::client
