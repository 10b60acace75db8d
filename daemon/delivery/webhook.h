// A webhook: each message as a CloudEvents document, by POST over HTTPS, signed (signature.h) with
// the headers webhook-id, webhook-timestamp and webhook-signature.
//
//   2xx                          delivered
//   410                          stopped: the receiver wants no more
//   400, 413, 415, 422           refused: it is the message that is wrong
//   all else, and no answer      failed: the way is wrong or closed (redirects, keys, addresses,
//                                overload), which a person or time puts right; nothing is lost
//                                meanwhile. Of 429 and 503 a Retry-After counts, a day at the most.
#pragma once

#include <absl/status/status.h>

#include <string>

#include "delivery/sink.h"

namespace plumblane {

struct WebhookOptions {
  std::string url;               // "" = none; CheckWebhookUrl
  std::string secret_file;       // where the secret is, for whoever reads it into `key`
  std::string key;               // of the signature; KeyOfSecret
  int64_t timeout_seconds = 30;  // for an exchange; a third of it to connect
};

// https://, or http:// to this machine.
absl::Status CheckWebhookUrl(const std::string& url);

// What an answer means. `retry_after` in seconds; 0 = not said.
SendResult ResultOf(int http_status, int64_t retry_after);

class Webhook final : public Sink {
 public:
  explicit Webhook(WebhookOptions options) : options_(std::move(options)) {}
  SendResult Send(std::span<const Message> messages, Instant now, const StopEvent& stop) override;

 private:
  const WebhookOptions options_;
};

}  // namespace plumblane
