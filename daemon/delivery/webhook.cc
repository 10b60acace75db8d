#include "delivery/webhook.h"

#include <absl/strings/match.h>
#include <absl/strings/str_cat.h>

#include <algorithm>
#include <cassert>

#include "delivery/cloud_event.h"
#include "delivery/signature.h"
#include "delivery/transfer.h"

namespace plumblane {

absl::Status CheckWebhookUrl(const std::string& url) {
  const bool is_safe =
      absl::StartsWith(url, "https://") || (absl::StartsWith(url, "http://") && IsLoopback(url));
  if (is_safe) return absl::OkStatus();
  return absl::InvalidArgumentError("expected https://..., or http:// to this machine");
}

SendResult ResultOf(int http_status, int64_t retry_after) {
  constexpr int64_t kLongestSeconds = 86'400;
  SendResult result{.code = http_status, .detail = absl::StrCat("answered ", http_status)};
  if (http_status >= 200 && http_status < 300) {
    result.kind = SendResult::Kind::kDelivered;
  } else if (http_status == 410) {
    result.kind = SendResult::Kind::kStopped;
  } else if (http_status == 400 || http_status == 413 || http_status == 415 || http_status == 422) {
    result.kind = SendResult::Kind::kRefused;
  } else {
    result.kind = SendResult::Kind::kFailed;
    if ((http_status == 429 || http_status == 503) && retry_after > 0) {
      result.not_before = std::chrono::seconds(std::min(retry_after, kLongestSeconds));
    }
  }
  return result;
}

SendResult Webhook::Send(std::span<const Message> messages, Instant now, const StopEvent& stop) {
  assert(messages.size() == 1);
  const Message& message = messages.front();
  const std::string body = CloudEventOf(message);
  const int64_t timestamp = now.millis / kMillisPerSecond;
  CurlList headers;
  Append(headers, absl::StrCat("Content-Type: ", kCloudEventType));
  Append(headers, absl::StrCat("webhook-id: ", message.id));
  Append(headers, absl::StrCat("webhook-timestamp: ", timestamp));
  Append(headers, absl::StrCat("webhook-signature: ",
                               SignatureOf(options_.key, message.id, timestamp, body)));
  Append(headers, "Expect:");  // it is sent at once, without being asked for
  const std::chrono::milliseconds total = std::chrono::seconds(options_.timeout_seconds);
  Transfer transfer(options_.url, IsLoopback(options_.url) ? "https,http" : "https",
                    {.connect = total / 3, .total = total});
  transfer.Set(CURLOPT_HTTPHEADER, headers.get());
  transfer.Set(CURLOPT_POSTFIELDS, body.c_str());
  transfer.Set(CURLOPT_POSTFIELDSIZE, static_cast<long>(body.size()));
  transfer.Set(CURLOPT_USERAGENT, "plumblaned");
  const Transfer::Result result = transfer.Run(stop);
  if (result.interrupted) return {.kind = SendResult::Kind::kInterrupted};
  // An answer that is too long is still one.
  if (result.code == CURLE_OK || (result.code == CURLE_WRITE_ERROR && result.status != 0)) {
    return ResultOf(result.status, result.retry_after);
  }
  return {.kind = SendResult::Kind::kFailed, .detail = result.error};
}

}  // namespace plumblane
