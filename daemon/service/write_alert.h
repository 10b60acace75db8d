// Alerts in the API's words. Private to service/.
#pragma once

#include <plumblane/v1/alerts.pb.h>

#include <map>
#include <string>

#include "engine/alert_book.h"
#include "engine/alert_evidence.h"
#include "engine/alerts_told.h"

namespace plumblane {

v1::Alert::State StateOf(const ToldAlert& alert, Day today);

// "lane VN-DE", "supplier lotus", "slow lanes to SE".
std::string NameOf(const WatchKey& key);

// The words that alerts with a shared cause have in common, by alert id.
std::map<std::string, std::string> SharedCauses(const AlertsTold& told, double false_alarms_a_year);

// Which other alerts hold at least half of the hits too and ran on a day in common, with their ids;
// "" when none does.
std::string SameOrders(const std::string& id, const ToldAlert& alert, const AlertEvidence& evidence,
                       const AlertsTold& told);

// Without evidence the counts are those told.
void WriteAlert(const std::string& id, const ToldAlert& alert, const AlertEvidence* evidence,
                const std::string& shared_cause, Day today, v1::Alert* out);

// `after`: the state of the alert once the notice was taken.
void WriteNotice(int64_t cursor, const AlertNotice& notice, const ToldAlert& after,
                 v1::AlertNotice* out);

void WriteWatch(const AlertBook::Shown& shown, v1::Watch* out);

}  // namespace plumblane
