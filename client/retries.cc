#include "client/retries.h"

#include <algorithm>
#include <nlohmann/json.hpp>
#include <string_view>

namespace plumblane::client {
namespace {

// Not among them, as each does something anew when called again: LoadX, PauseSupplier,
// ResumeSupplier, CreateExcuse, WithdrawExcuse, AssignOrders, AcknowledgeAlert, ShelveAlert,
// AcceptAlert, BeginSend, UndoSend, EraseX, Backup; Verify, which takes long; and IngestEvents.
constexpr std::string_view kRetried[] = {
    "Agreements/GetCosts",      "Agreements/ListExchangeRates",
    "Agreements/ListItems",     "Agreements/ListQuotes",
    "Agreements/ListTerms",     "Agreements/ProposeCosts",
    "Alerts/GetAlert",          "Alerts/ListAlerts",
    "Alerts/ListDeliveries",    "Alerts/ListWatches",
    "Alerts/WatchAlerts",       "Exports/ExportAssignments",
    "Exports/ExportCohorts",    "Exports/ExportEvents",
    "Exports/ExportScores",     "Exports/WatchScores",
    "Intake/FinishSend",  // finishes it once
    "Intake/ListSends",
    "Intake/ReportNews",  // never moves back
    "Operations/GetStatus",     "Orders/GetOrder",
    "Orders/ListClaims",        "Orders/ListExcuses",
    "Orders/ListUnderway",      "Orders/LookUpOrders",
    "Reviews/GetReview",        "Reviews/ListEvidence",
    "Scores/Backtest",          "Scores/GetScore",
    "Scores/ListScores",        "Sourcing/GetRisk",
    "Sourcing/ListAssignments", "Sourcing/RankSuppliers",
};
constexpr std::string_view kPackage = "plumblane.v1.";

}  // namespace

std::string RetryConfig() {
  nlohmann::json names = nlohmann::json::array();
  for (const std::string_view method : kRetried) {
    const size_t slash = method.find('/');
    names.push_back({{"service", std::string(kPackage) + std::string(method.substr(0, slash))},
                     {"method", std::string(method.substr(slash + 1))}});
  }
  const nlohmann::json policy = {{"maxAttempts", 4},
                                 {"initialBackoff", "0.1s"},
                                 {"maxBackoff", "2s"},
                                 {"backoffMultiplier", 4},
                                 {"retryableStatusCodes", {"UNAVAILABLE"}}};
  const nlohmann::json config = {
      {"methodConfig", {{{"name", std::move(names)}, {"retryPolicy", policy}}}}};
  return config.dump();
}

bool IsRetried(const std::string& method) {
  if (!method.starts_with(kPackage)) return false;
  const std::string_view name = std::string_view(method).substr(kPackage.size());
  return std::find(std::begin(kRetried), std::end(kRetried), name) != std::end(kRetried);
}

}  // namespace plumblane::client
