#include "app/delivery_settings.h"

#include <absl/strings/ascii.h>
#include <absl/strings/str_cat.h>

#include <algorithm>
#include <memory>

#include "app/setting_keys.h"
#include "delivery/mail_text.h"
#include "delivery/secret_file.h"
#include "delivery/signature.h"

namespace plumblane {
namespace {

bool IsSource(const std::string& text) {
  return !text.empty() && text.size() <= 64 && std::all_of(text.begin(), text.end(), [](char c) {
    return absl::ascii_isalnum(static_cast<unsigned char>(c)) || c == '-' || c == '.';
  });
}

absl::Status Wrong(const std::string& key, const std::string& what) {
  return absl::InvalidArgumentError(absl::StrCat("deliver.", key, ": ", what));
}

absl::Status CompleteWebhook(WebhookOptions& webhook) {
  if (webhook.url.empty()) {
    return webhook.secret_file.empty() ? absl::OkStatus()
                                       : Wrong("webhook.url", "expected, as there is a secret");
  }
  if (webhook.secret_file.empty()) {
    return Wrong("webhook.secret_file", "expected: what is sent is signed");
  }
  const auto secret = ReadSecretFile(webhook.secret_file);
  if (!secret.ok()) {
    return Wrong("webhook.secret_file", std::string(secret.status().message()));
  }
  auto key = KeyOfSecret(*secret);
  if (!key.ok()) return Wrong("webhook.secret_file", std::string(key.status().message()));
  webhook.key = *std::move(key);
  return absl::OkStatus();
}

absl::Status CompleteMail(MailOptions& mail) {
  if (mail.server.empty()) {
    return mail.from.empty() && mail.to.empty()
               ? absl::OkStatus()
               : Wrong("mail.server", "expected, as it is for mail");
  }
  if (mail.from.empty()) return Wrong("mail.from", "expected an address");
  if (mail.to.empty()) return Wrong("mail.to", "expected an address at least");
  if (mail.user.empty() != mail.password_file.empty()) {
    return Wrong(mail.user.empty() ? "mail.user" : "mail.password_file",
                 "user and password_file go together");
  }
  if (mail.user.empty()) return absl::OkStatus();
  auto password = ReadSecretFile(mail.password_file);
  if (!password.ok()) {
    return Wrong("mail.password_file", std::string(password.status().message()));
  }
  mail.password = *std::move(password);
  return absl::OkStatus();
}

}  // namespace

void AddDeliveryKeys(DeliverySettings& settings, std::map<std::string, Key>& keys) {
  WebhookOptions& webhook = settings.webhook;
  HookOptions& hook = settings.hook;
  MailOptions& mail = settings.mail;
  keys.insert({
      {"deliver.source",
       Text(settings.source, "1 to 64 letters, digits, hyphens and dots", IsSource)},
      {"deliver.webhook.url",
       Text(webhook.url, "https://..., or http:// to this machine",
            [](const std::string& url) { return CheckWebhookUrl(url).ok(); })},
      {"deliver.webhook.secret_file", Text(webhook.secret_file)},
      {"deliver.webhook.timeout_seconds", Whole(webhook.timeout_seconds, 1, 300)},
      {"deliver.hook.command",
       {"a list of texts, the first an absolute path",
        [&hook](const toml::node& node) {
          std::vector<std::string> command;
          if (!Texts(command, "").set(node) || command.empty() || command[0][0] != '/')
            return false;
          hook.command = std::move(command);
          return true;
        }}},
      {"deliver.hook.timeout_seconds", Whole(hook.timeout_seconds, 1, 3600)},
      {"deliver.mail.server",
       Text(mail.server, "smtp://HOST:PORT or smtps://HOST:PORT",
            [](const std::string& server) { return CheckMailServer(server).ok(); })},
      {"deliver.mail.user", Text(mail.user)},
      {"deliver.mail.password_file", Text(mail.password_file)},
      {"deliver.mail.from", Text(mail.from, "a mail address", IsMailAddress)},
      {"deliver.mail.to", Texts(mail.to, "a list of mail addresses", IsMailAddress)},
      {"deliver.mail.digest",
       {"\"none\" or \"daily\"",
        [&mail](const toml::node& node) {
          const auto word = node.value_exact<std::string>();
          if (word != "none" && word != "daily") return false;
          mail.daily = *word == "daily";
          return true;
        }}},
      {"deliver.mail.digest_hour", Whole(mail.digest_hour, 0, 23)},
      {"deliver.mail.timeout_seconds", Whole(mail.timeout_seconds, 1, 300)},
  });
}

absl::Status CompleteDelivery(DeliverySettings& settings) {
  absl::Status status = CompleteWebhook(settings.webhook);
  status.Update(CompleteMail(settings.mail));
  return status;
}

std::vector<Route> RoutesOf(const DeliverySettings& settings) {
  std::vector<Route> routes;
  if (!settings.webhook.url.empty()) {
    routes.push_back({"webhook", std::make_unique<Webhook>(settings.webhook)});
  }
  if (!settings.hook.command.empty()) {
    routes.push_back({"hook", std::make_unique<Hook>(settings.hook)});
  }
  if (!settings.mail.server.empty()) {
    Route& mail = routes.emplace_back(Route{"mail", std::make_unique<Mail>(settings.mail)});
    if (settings.mail.daily) mail.digest_hour = settings.mail.digest_hour;
  }
  return routes;
}

}  // namespace plumblane
