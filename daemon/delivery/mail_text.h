// Notices as a mail: RFC 5322 with MIME (RFC 2045, 2047), plain text in UTF-8.
//
// Pure.
#pragma once

#include <span>
#include <string>
#include <vector>

#include "delivery/sink.h"

namespace plumblane {

// "someone@example.net", of printable ASCII without what would need quoting.
bool IsMailAddress(const std::string& text);

// One message, or several as a digest; lines end in CRLF. Message-ID is a function of the first and
// the last of them and the domain of `from`, so that readers can tell repeats. REQUIRES: at least
// one message; valid addresses.
std::string MailOf(std::span<const Message> messages, Instant now, const std::string& from,
                   const std::vector<std::string>& to);

}  // namespace plumblane
