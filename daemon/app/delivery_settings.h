// Where alerts are sent, as the settings say.
#pragma once

#include <absl/status/status.h>

#include <string>
#include <vector>

#include "delivery/courier.h"
#include "delivery/hook.h"
#include "delivery/mail.h"
#include "delivery/webhook.h"

namespace plumblane {

struct DeliverySettings {
  std::string source = "plumblane";  // what this daemon is called in what it sends
  WebhookOptions webhook;
  HookOptions hook;
  MailOptions mail;
};

// Checks that each way out has what it needs and reads its secret. Errors name the key; none shows
// anything of a secret.
absl::Status CompleteDelivery(DeliverySettings& settings);

// The ways out that are set up, in the order webhook, hook, mail. Their names are what their
// cursors are kept under: never rename.
std::vector<Route> RoutesOf(const DeliverySettings& settings);

}  // namespace plumblane
