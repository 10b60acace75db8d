#include "client/cli_parts.h"
#include "client/option_values.h"

namespace plumblane::client {
void AddChase(CLI::App& app, Invocation& to) {
  ChaseOptions& options = to.chase;
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
}

}  // namespace plumblane::client
