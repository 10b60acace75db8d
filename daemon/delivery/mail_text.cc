#include "delivery/mail_text.h"

#include <absl/strings/ascii.h>
#include <absl/strings/escaping.h>
#include <absl/strings/str_cat.h>
#include <absl/strings/str_join.h>
#include <absl/time/time.h>

#include <algorithm>

namespace plumblane {
namespace {

constexpr size_t kLineBytes = 57;  // 76 columns of base64
constexpr size_t kWordBytes = 42;  // an encoded word has at most 75 columns

bool IsAscii(const std::string& text) {
  return std::all_of(text.begin(), text.end(), [](char c) { return absl::ascii_isascii(c); });
}

// A header's value; other than ASCII as encoded words, none of which splits a character.
std::string HeaderText(const std::string& text) {
  if (IsAscii(text)) return text;
  std::vector<std::string> words;
  for (size_t at = 0; at < text.size();) {
    size_t end = std::min(at + kWordBytes, text.size());
    while (end < text.size() && (static_cast<unsigned char>(text[end]) & 0xC0) == 0x80) --end;
    words.push_back(
        absl::StrCat("=?UTF-8?B?", absl::Base64Escape(text.substr(at, end - at)), "?="));
    at = end;
  }
  return absl::StrJoin(words, "\r\n ");
}

std::string Body(const std::string& text) {
  std::string lines;
  for (size_t at = 0; at < text.size(); at += kLineBytes) {
    absl::StrAppend(&lines, absl::Base64Escape(text.substr(at, kLineBytes)), "\r\n");
  }
  return lines;
}

std::string TextOf(const Message& message) {
  return absl::StrCat(FormatInstant(message.time), "  ", message.headline, "\n\n", message.text);
}

// What may stand to the left of the @ of a Message-ID.
std::string IdPart(std::string id) {
  for (char& c : id) {
    if (!absl::ascii_isalnum(static_cast<unsigned char>(c))) c = '-';
  }
  return id;
}

}  // namespace

bool IsMailAddress(const std::string& text) {
  const size_t at = text.find('@');
  if (at == std::string::npos || at == 0 || at + 1 == text.size() || text.size() > 254)
    return false;
  if (text.find('@', at + 1) != std::string::npos) return false;
  return std::all_of(text.begin(), text.end(), [](char c) {
    return absl::ascii_isgraph(static_cast<unsigned char>(c)) &&
           std::string_view("<>()[]\\,;:\"").find(c) == std::string_view::npos;
  });
}

std::string MailOf(std::span<const Message> messages, Instant now, const std::string& from,
                   const std::vector<std::string>& to) {
  const Message& first = messages.front();
  const bool is_digest = messages.size() > 1;
  const std::string subject = absl::StrCat(
      "[", first.source, "] ",
      is_digest ? absl::StrCat(messages.size(), " notices of alerts") : first.headline);
  const std::string last = is_digest ? "." + IdPart(messages.back().id) : "";
  const std::string text = absl::StrJoin(
      messages, "\n\n", [](std::string* out, const Message& one) { *out += TextOf(one); });
  return absl::StrCat(
      "Date: ",
      absl::FormatTime("%a, %d %b %Y %H:%M:%S +0000", absl::FromUnixMillis(now.millis),
                       absl::UTCTimeZone()),
      "\r\nFrom: ", from, "\r\nTo: ", absl::StrJoin(to, ",\r\n "),
      "\r\nSubject: ", HeaderText(subject), "\r\nMessage-ID: <", IdPart(first.source), ".",
      IdPart(first.id), last, from.substr(from.find('@')),
      ">\r\nAuto-Submitted: auto-generated\r\nMIME-Version: 1.0\r\n"
      "Content-Type: text/plain; charset=utf-8\r\nContent-Transfer-Encoding: base64\r\n\r\n",
      Body(text));
}

}  // namespace plumblane
