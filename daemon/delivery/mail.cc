#include "delivery/mail.h"

#include <absl/strings/match.h>
#include <absl/strings/str_cat.h>

#include <algorithm>
#include <cstring>
#include <string_view>

#include "delivery/mail_text.h"
#include "delivery/transfer.h"

namespace plumblane {
namespace {

size_t ReadText(char* to, size_t size, size_t count, void* rest_of_text) {
  auto& rest = *static_cast<std::string_view*>(rest_of_text);
  const size_t bytes = std::min(size * count, rest.size());
  std::memcpy(to, rest.data(), bytes);
  rest.remove_prefix(bytes);
  return bytes;
}

}  // namespace

absl::Status CheckMailServer(const std::string& server) {
  const size_t start = server.find("://");
  const bool is_mail = absl::StartsWith(server, "smtp://") || absl::StartsWith(server, "smtps://");
  if (is_mail && server.size() > start + 3 &&
      server.find_first_of("/@?# ", start + 3) == std::string::npos) {
    return absl::OkStatus();
  }
  return absl::InvalidArgumentError("expected smtp://HOST:PORT or smtps://HOST:PORT");
}

SendResult Mail::Send(std::span<const Message> messages, Instant now, const StopEvent& stop) {
  const std::string mail = MailOf(messages, now, options_.from, options_.to);
  std::string_view rest = mail;
  CurlList recipients;
  for (const std::string& address : options_.to) Append(recipients, "<" + address + ">");
  const std::string from = "<" + options_.from + ">";
  const std::chrono::milliseconds total = std::chrono::seconds(options_.timeout_seconds);
  Transfer transfer(options_.server, "smtp,smtps", {.connect = total / 3, .total = total});
  transfer.Set(CURLOPT_USE_SSL, IsLoopback(options_.server) ? CURLUSESSL_TRY : CURLUSESSL_ALL);
  if (!options_.user.empty()) {
    transfer.Set(CURLOPT_USERNAME, options_.user.c_str());
    transfer.Set(CURLOPT_PASSWORD, options_.password.c_str());
  }
  transfer.Set(CURLOPT_MAIL_FROM, from.c_str());
  transfer.Set(CURLOPT_MAIL_RCPT, recipients.get());
  transfer.Set(CURLOPT_UPLOAD, 1L);
  transfer.Set(CURLOPT_READFUNCTION, ReadText);
  transfer.Set(CURLOPT_READDATA, &rest);
  const Transfer::Result result = transfer.Run(stop);
  if (result.interrupted) return {.kind = SendResult::Kind::kInterrupted};
  SendResult sent{.code = result.status, .detail = absl::StrCat("answered ", result.status)};
  if (result.code == CURLE_OK) return sent;
  sent.kind = result.status >= 550 && result.status <= 554 ? SendResult::Kind::kRefused
                                                           : SendResult::Kind::kFailed;
  sent.detail = result.error;
  return sent;
}

}  // namespace plumblane
