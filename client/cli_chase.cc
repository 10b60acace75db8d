#include "client/cli_parts.h"
#include "client/option_values.h"

namespace plumblane::client {
namespace {

void AddAlertsUnder(CLI::App& alerts, Invocation& to) {
  AlertOptions& alert = to.alert;
  CLI::App& acknowledge =
      AddCommand(alerts, to, "acknowledge", Verb::kAlertsAcknowledge, "Somebody has seen it");
  CLI::App& shelve =
      AddCommand(alerts, to, "shelve", Verb::kAlertsShelve, "Keep it quiet until a day");
  CLI::App& accept = AddCommand(alerts, to, "accept", Verb::kAlertsAccept,
                                "What came since the change is normal now");
  for (CLI::App* sub : {&acknowledge, &shelve, &accept}) {
    AddParsed(*sub, "ID", "", "The alert, as alerts names it", ParseText, alert.id);
    AddParsed(*sub, "--note", "TEXT", "What should be remembered with it", ParseWords, alert.note);
  }
  AddParsed(shelve, "--until", "DATE", "The day it ends, after today", ParseDate, alert.until)
      ->required();
  CLI::App& watch =
      AddCommand(alerts, to, "watch", Verb::kAlertsWatch, "What happens to alerts, as it happens");
  AddParsed(watch, "--after", "CURSOR", "From after this notice on; else from now on", ParseCursor,
            alert.after);
  AddCommand(alerts, to, "watches", Verb::kAlertsWatches,
             "How soon a worsening would be heard, lane by lane");
  AddCommand(alerts, to, "deliveries", Verb::kAlertsDeliveries,
             "Where notices are sent, and how far each has come");
}

}  // namespace

void AddChase(CLI::App& app, Invocation& to) {
  ChaseOptions& options = to.chase;
  AddCommand(app, to, "today", Verb::kToday, "What needs you now");
  CLI::App& underway = AddCommand(app, to, "underway", Verb::kUnderway,
                                  "Orders not yet delivered, and which to chase");
  underway.add_flag("--late", options.late, "Only overdue, likely late, and slow to leave");
  AddParsed(underway, "--supplier", "SUPPLIER", "Only its", ParseId, options.supplier);
  AddParsed(underway, "--lane", "LANE", "Only on this one: VN-DE, VN-DE/express", ParseLaneQuery,
            options.lane);

  CLI::App& claims =
      AddCommand(app, to, "claims", Verb::kClaims, "Claims to file, unanswered, or owed");
  claims.add_flag("--all", options.all, "With those that are settled");
  AddParsed(claims, "--supplier", "SUPPLIER", "Only its", ParseId, options.supplier);

  CLI::App& alerts = AddCommand(app, to, "alerts", Verb::kAlerts, "Lanes and suppliers gone bad");
  alerts.add_flag("--all", options.all, "With those that are closed");
  AddParsed(alerts, "--supplier", "SUPPLIER", "Only of it", ParseId, options.supplier);
  AddParsed(alerts, "--lane", "LANE", "Only of this one", ParseLaneQuery, options.lane);
  // A command by itself, too: its callback runs after those of the commands under it.
  alerts.callback([&to, &alerts] {
    if (alerts.get_subcommands().empty()) to.verb = Verb::kAlerts;
  });
  AddAlertsUnder(alerts, to);
}

std::string CheckChase(const Invocation& invocation) {
  switch (invocation.verb) {
    case Verb::kAlertsAcknowledge:
    case Verb::kAlertsShelve:
    case Verb::kAlertsAccept:
    case Verb::kAlertsWatch:
    case Verb::kAlertsWatches:
    case Verb::kAlertsDeliveries:
      break;
    default:
      return "";
  }
  const ChaseOptions& options = invocation.chase;
  if (!options.all && options.supplier.empty() && !options.lane) return "";
  return "--all, --supplier and --lane go with alerts alone";
}

}  // namespace plumblane::client
