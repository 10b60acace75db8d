// Mail by SMTP: each message, or a digest of several, as one mail to all recipients.
//
//   accepted                    delivered
//   550 to 554                  refused: the mail itself is not wanted
//   all else, and no answer     failed, a wrong password included: nothing is lost meanwhile
//
// TLS (smtps://, or STARTTLS) is required unless the server is on this machine.
#pragma once

#include <absl/status/status.h>

#include <string>
#include <vector>

#include "delivery/sink.h"

namespace plumblane {

struct MailOptions {
  std::string server;         // smtp://HOST:PORT or smtps://HOST:PORT; "" = none
  std::string user;           // "" = the server asks for none
  std::string password_file;  // where the password is, for whoever reads it into `password`
  std::string password;
  std::string from;             // IsMailAddress (mail_text.h)
  std::vector<std::string> to;  // likewise
  bool daily = false;           // one mail a day ...
  int digest_hour = 7;          // ... after this hour, UTC
  int64_t timeout_seconds = 60;
};

// smtp:// or smtps:// with a host and, if not the usual one, a port; nothing else.
absl::Status CheckMailServer(const std::string& server);

class Mail final : public Sink {
 public:
  explicit Mail(MailOptions options) : options_(std::move(options)) {}
  SendResult Send(std::span<const Message> messages, Instant now, const StopEvent& stop) override;

 private:
  const MailOptions options_;
};

}  // namespace plumblane
