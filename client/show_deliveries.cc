#include "client/show_deliveries.h"

#include <absl/strings/str_cat.h>

#include <algorithm>

#include "client/show.h"
#include "client/text.h"

namespace plumblane::client {
namespace {

constexpr int kAttemptsShown = 5;

std::string StateText(const v1::Delivery& delivery) {
  switch (delivery.state()) {
    case v1::Delivery::STATE_OK:
      return "ok";
    case v1::Delivery::STATE_WAITING:
      return absl::StrCat("waiting, next attempt ", TimeText(delivery.next_attempt_time()));
    case v1::Delivery::STATE_STOPPED:
      return "stopped: the receiver wants no more; tried again when the daemon starts";
    default:
      return "in a state that this version does not know";
  }
}

std::string OutcomeText(v1::DeliveryAttempt::Outcome outcome) {
  switch (outcome) {
    case v1::DeliveryAttempt::OUTCOME_DELIVERED:
      return "delivered";
    case v1::DeliveryAttempt::OUTCOME_FAILED:
      return "failed";
    case v1::DeliveryAttempt::OUTCOME_REFUSED:
      return "refused";
    case v1::DeliveryAttempt::OUTCOME_STOPPED:
      return "stopped";
    default:
      return "unknown";
  }
}

// "2026-09-21 14:14 UTC notice 17 failed: answered 503".
std::string AttemptText(const v1::DeliveryAttempt& attempt) {
  const std::string what = attempt.notice_count() > 1
                               ? absl::StrCat(attempt.notice_count(), " notices up to ")
                               : "notice ";
  return absl::StrCat(TimeText(attempt.attempt_time()), " ", what, attempt.cursor(), " ",
                      OutcomeText(attempt.outcome()), attempt.detail().empty() ? "" : ": ",
                      attempt.detail());
}

}  // namespace

std::string ShowDeliveries(const v1::ListDeliveriesResponse& answer, int width) {
  if (answer.deliveries().empty()) return "nothing is sent anywhere; see the daemon's settings\n";
  std::string text;
  for (const v1::Delivery& delivery : answer.deliveries()) {
    absl::StrAppend(&text, text.empty() ? "" : "\n",
                    Wrapped(absl::StrCat(delivery.sink(), ", ", StateText(delivery)), width));
    const auto fact = [&](const std::string& label, const std::string& value) {
      text += DetailLine(label, value, /*label_width=*/9, width);
    };
    fact("handled", absl::StrCat("up to notice ", delivery.handled_cursor(), ", ",
                                 Thousands(delivery.backlog_count()), " left"));
    if (delivery.refused_count() > 0) {
      fact("given up", Counted(delivery.refused_count(), "notice") + ", refused again and again");
    }
    const int shown = std::min(kAttemptsShown, delivery.attempts_size());
    for (int i = 0; i < shown; ++i) {
      fact(i == 0 ? "latest" : "", AttemptText(delivery.attempts(i)));
    }
  }
  return text;
}

}  // namespace plumblane::client
