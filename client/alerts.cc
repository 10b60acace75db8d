#include "client/alerts.h"

#include <absl/strings/str_cat.h>

#include <algorithm>

#include "base/lane.h"
#include "client/moment.h"
#include "client/paging.h"
#include "client/show.h"
#include "client/show_alerts.h"
#include "client/show_deliveries.h"
#include "client/text.h"

namespace plumblane::client {
namespace {

ExitCode RunList(const Invocation& invocation, const Connection& connection, const Io& io) {
  const ChaseOptions& options = invocation.chase;
  v1::ListAlertsRequest request;
  request.set_with_closed(options.all);
  request.set_supplier(options.supplier);
  if (options.lane) *request.mutable_lane() = ToLane(*options.lane);
  v1::ListAlertsResponse all;
  const grpc::Status status =
      ListAll(connection.alerts(), &v1::Alerts::Stub::ListAlerts,
              &v1::ListAlertsResponse::mutable_alerts, std::move(request), all);
  const std::string none =
      NoneFor(options.all ? "alerts" : "open alerts",
              {options.supplier, options.lane ? FormatLaneQuery(*options.lane) : ""});
  const ExitCode code = Print(
      status, all,
      [&](const v1::ListAlertsResponse& list, int width) {
        return list.alerts().empty() && !none.empty() ? none : ShowAlerts(list, options.all, width);
      },
      invocation.json, connection, io);
  if (code != kDone) return code;
  const bool is_active =
      std::any_of(all.alerts().begin(), all.alerts().end(),
                  [](const v1::Alert& alert) { return alert.state() == v1::Alert::STATE_ACTIVE; });
  return is_active ? kConditionHolds : kDone;
}

// Tells the daemon what somebody decided, and says what became of the alert.
template <typename Request>
ExitCode Decide(const Invocation& invocation, Request request,
                grpc::Status (v1::Alerts::Stub::*call)(grpc::ClientContext*, const Request&,
                                                       v1::Alert*),
                const Connection& connection, const Io& io) {
  request.set_alert_id(invocation.alert.id);
  request.set_note(invocation.alert.note);
  CallContext context;
  v1::Alert alert;
  const grpc::Status status = (connection.alerts()->*call)(&context, request, &alert);
  if (status.error_code() == grpc::StatusCode::NOT_FOUND) {
    io.err << "there is no alert " << Quoted(invocation.alert.id)
           << "; see plumblane alerts --all\n";
    return kFailed;
  }
  return Print(
      status, alert,
      [](const v1::Alert& told, int) {
        return absl::StrCat("alert ", told.alert_id(), ": ", AlertStateText(told), "\n");
      },
      invocation.json, connection, io);
}

ExitCode RunShelve(const Invocation& invocation, const Connection& connection, const Io& io) {
  v1::ShelveAlertRequest request;
  request.set_until_date(invocation.alert.until);
  return Decide(invocation, std::move(request), &v1::Alerts::Stub::ShelveAlert, connection, io);
}

// Until the daemon ends it, or nobody reads any more.
ExitCode RunWatch(const Invocation& invocation, const Connection& connection, const Io& io) {
  v1::WatchAlertsRequest request;
  request.set_after_cursor(invocation.alert.after);
  grpc::ClientContext context;  // without deadline
  const auto reader = connection.alerts()->WatchAlerts(&context, request);
  v1::AlertNotice notice;
  while (io.out && reader->Read(&notice)) {
    if (invocation.json) {
      PrintJsonLine(notice, io);
    } else {
      io.out << NoticeLine(notice);
    }
    io.out.flush();
  }
  if (!io.out) context.TryCancel();
  const grpc::Status status = reader->Finish();
  if (!io.out) return kFailed;
  if (status.ok()) return kDone;
  const ExitCode code = Fail(status, connection, io);
  if (status.error_code() == grpc::StatusCode::OUT_OF_RANGE) {
    io.err << "Watch without --after; plumblane alerts --all tells what was missed.\n";
  }
  return code;
}

ExitCode RunWatches(const Invocation& invocation, const Connection& connection, const Io& io) {
  CallContext context;
  v1::ListWatchesResponse answer;
  const grpc::Status status = connection.alerts()->ListWatches(&context, {}, &answer);
  return Print(status, answer, ShowWatches, invocation.json, connection, io);
}

ExitCode RunDeliveries(const Invocation& invocation, const Connection& connection, const Io& io) {
  CallContext context;
  v1::ListDeliveriesResponse answer;
  const grpc::Status status = connection.alerts()->ListDeliveries(&context, {}, &answer);
  return Print(status, answer, ShowDeliveries, invocation.json, connection, io);
}

}  // namespace

ExitCode RunAlerts(const Invocation& invocation, const Connection& connection, const Io& io) {
  switch (invocation.verb) {
    case Verb::kAlertsAcknowledge:
      return Decide(invocation, v1::AcknowledgeAlertRequest(), &v1::Alerts::Stub::AcknowledgeAlert,
                    connection, io);
    case Verb::kAlertsShelve:
      return RunShelve(invocation, connection, io);
    case Verb::kAlertsAccept:
      return Decide(invocation, v1::AcceptAlertRequest(), &v1::Alerts::Stub::AcceptAlert,
                    connection, io);
    case Verb::kAlertsWatch:
      return RunWatch(invocation, connection, io);
    case Verb::kAlertsWatches:
      return RunWatches(invocation, connection, io);
    case Verb::kAlertsDeliveries:
      return RunDeliveries(invocation, connection, io);
    default:
      return RunList(invocation, connection, io);
  }
}

}  // namespace plumblane::client
