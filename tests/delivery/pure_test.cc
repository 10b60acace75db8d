// What delivery computes: waits, signatures, documents, mails and what answers mean.
#include <absl/strings/escaping.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>
#include <vector>

#include "delivery/backoff.h"
#include "delivery/cloud_event.h"
#include "delivery/courier.h"
#include "delivery/mail.h"
#include "delivery/mail_text.h"
#include "delivery/signature.h"
#include "delivery/webhook.h"
#include "support/message.h"

namespace plumblane {
namespace {

using std::chrono::milliseconds;
using test::MessageWith;
using ::testing::HasSubstr;
using ::testing::Not;
using ::testing::StartsWith;

TEST(BackoffWait, IsUniformUpToABoundThatDoublesUntilTheLongest) {
  const Backoff backoff{milliseconds(1000), milliseconds(60'000)};
  for (const auto& [failures, bound] : {std::pair(1, 1000.),
                                        {2, 2000.},
                                        {6, 32'000.},
                                        {7, 60'000.},
                                        {50, 60'000.},
                                        {5000, 60'000.}}) {
    double sum = 0, least = bound, most = 0;
    constexpr int kDraws = 2000;
    for (int cursor = 1; cursor <= kDraws; ++cursor) {
      const auto wait =
          static_cast<double>(WaitAfter(backoff, "webhook", cursor, failures).count());
      sum += wait;
      least = std::min(least, wait);
      most = std::max(most, wait);
    }
    // The mean of uniform draws has a standard error of bound / sqrt(12 n).
    EXPECT_NEAR(sum / kDraws, bound / 2, 4 * bound / std::sqrt(12. * kDraws)) << failures;
    EXPECT_GE(least, 0);
    EXPECT_LT(least, bound / 100);
    EXPECT_LE(most, bound);
    EXPECT_GT(most, bound * .99);
  }
}

TEST(BackoffWait, IsAFunctionOfSinkNoticeAndAttempt) {
  const Backoff backoff;
  EXPECT_EQ(WaitAfter(backoff, "mail", 17, 9), WaitAfter(backoff, "mail", 17, 9));
  EXPECT_NE(WaitAfter(backoff, "mail", 17, 9), WaitAfter(backoff, "hook", 17, 9));
  EXPECT_NE(WaitAfter(backoff, "mail", 17, 9), WaitAfter(backoff, "mail", 18, 9));
  EXPECT_NE(WaitAfter(backoff, "mail", 17, 12), WaitAfter(backoff, "mail", 17, 13));
}

std::string Bytes(char byte, size_t count) { return std::string(count, byte); }

// RFC 4231, section 4: test cases 1 to 4, 6 and 7 (5 truncates the output).
TEST(Hmac, GivesThePublishedValues) {
  std::string counting;
  for (char c = 1; c <= 25; ++c) counting += c;
  const struct {
    std::string key, text, mac;
  } cases[] = {
      {Bytes('\x0b', 20), "Hi There",
       "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7"},
      {"Jefe", "what do ya want for nothing?",
       "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"},
      {Bytes('\xaa', 20), Bytes('\xdd', 50),
       "773ea91e36800e46854db8ebd09181a72959098b3ef8c122d9635514ced565fe"},
      {counting, Bytes('\xcd', 50),
       "82558a389a443c0ea4cc819899f2083a85f0faa3e578f8077a2e3ff46729665b"},
      {Bytes('\xaa', 131), "Test Using Larger Than Block-Size Key - Hash Key First",
       "60e431591ee0b67f0d8a26aacbf5b77f8e0bc6213728c5140546040f0ee37f54"},
      {Bytes('\xaa', 131),
       "This is a test using a larger than block-size key and a larger than block-size data. The "
       "key needs to be hashed before being used by the HMAC algorithm.",
       "9b09ffa71b942fcb27635fbcd5b0e944bfdc63644f0713938a7f51535c3a35e2"}};
  for (const auto& one : cases) {
    EXPECT_EQ(absl::BytesToHexString(HmacSha256(one.key, one.text)), one.mac) << one.text;
  }
}

TEST(Signature, IsOverIdTimestampAndBody) {
  const std::string key = "an invented key of 24 byt", text = "17-abc.1790000040.{}";
  EXPECT_EQ(SignatureOf(key, "17-abc", 1'790'000'040, "{}"),
            "v1," + absl::Base64Escape(HmacSha256(key, text)));
}

TEST(Secret, IsTakenAsItIsWrittenOrRefusedWithoutBeingShown) {
  EXPECT_EQ(KeyOfSecret("whsec_" + absl::Base64Escape(Bytes('k', 24))).value(), Bytes('k', 24));
  EXPECT_EQ(KeyOfSecret("whsec_" + absl::Base64Escape(Bytes('k', 64))).value(), Bytes('k', 64));
  for (const std::string& wrong :
       {absl::Base64Escape(Bytes('k', 32)), "whsec_" + absl::Base64Escape(Bytes('k', 23)),
        "whsec_" + absl::Base64Escape(Bytes('k', 65)), std::string("whsec_k*k*k*k"),
        std::string("whsec_")}) {
    const auto key = KeyOfSecret(wrong);
    ASSERT_FALSE(key.ok()) << wrong;
    EXPECT_THAT(std::string(key.status().message()), HasSubstr("expected whsec_"));
    EXPECT_THAT(std::string(key.status().message()), Not(HasSubstr("k*k")));
  }
}

TEST(CloudEvent, HasTheRequiredAttributesAndTheNoticeAsItsData) {
  Message message = MessageWith(17);
  message.data = R"({"cursor":"17","alert":{"sentence":"\"Süd\" is late","rateSince":0.22}})";
  const auto document = nlohmann::json::parse(CloudEventOf(message));
  EXPECT_EQ(document["specversion"], "1.0");
  EXPECT_EQ(document["id"], message.id);
  EXPECT_EQ(document["source"], message.source);
  EXPECT_EQ(document["type"], "plumblane.alert.raised");
  EXPECT_EQ(document["subject"], message.subject);
  EXPECT_EQ(document["time"], FormatInstant(message.time));
  EXPECT_EQ(document["datacontenttype"], "application/json");
  EXPECT_EQ(document["data"], nlohmann::json::parse(message.data));
  EXPECT_EQ(document.size(), 8u);
}

TEST(WebhookAnswers, MeanWhatTheHeaderSays) {
  using Kind = SendResult::Kind;
  const std::pair<int, Kind> cases[] = {
      {200, Kind::kDelivered}, {202, Kind::kDelivered}, {204, Kind::kDelivered},
      {301, Kind::kFailed},    {307, Kind::kFailed},    {400, Kind::kRefused},
      {401, Kind::kFailed},    {403, Kind::kFailed},    {404, Kind::kFailed},
      {408, Kind::kFailed},    {410, Kind::kStopped},   {413, Kind::kRefused},
      {415, Kind::kRefused},   {422, Kind::kRefused},   {425, Kind::kFailed},
      {429, Kind::kFailed},    {500, Kind::kFailed},    {503, Kind::kFailed},
      {0, Kind::kFailed}};
  for (const auto& [status, kind] : cases) {
    EXPECT_EQ(ResultOf(status, 0).kind, kind) << status;
    EXPECT_EQ(ResultOf(status, 0).code, status);
    EXPECT_FALSE(ResultOf(status, 0).not_before) << status;
  }
}

TEST(WebhookAnswers, RetryAfterCountsWhereItIsMeantAndADayAtTheMost) {
  using std::chrono::seconds;
  EXPECT_EQ(ResultOf(429, 120).not_before, seconds(120));
  EXPECT_EQ(ResultOf(503, 120).not_before, seconds(120));
  EXPECT_EQ(ResultOf(503, 10'000'000).not_before, seconds(86'400));
  EXPECT_EQ(ResultOf(500, 120).not_before, std::nullopt);
}

TEST(WebhookUrl, IsSafeOrOnThisMachine) {
  for (const char* good : {"https://shop.example/hook", "https://shop.example:8443/",
                           "http://127.0.0.1:8080/x", "http://localhost/x", "http://[::1]:80/x"}) {
    EXPECT_TRUE(CheckWebhookUrl(good).ok()) << good;
  }
  for (const char* bad :
       {"http://shop.example/hook", "http://127.0.0.1.shop.example/",
        "http://localhost@shop.example/", "ftp://127.0.0.1/", "shop.example", ""}) {
    EXPECT_FALSE(CheckWebhookUrl(bad).ok()) << bad;
  }
}

TEST(MailServer, IsAHostAndAPort) {
  for (const char* good : {"smtp://mail.example:587", "smtps://mail.example", "smtp://[::1]:25"}) {
    EXPECT_TRUE(CheckMailServer(good).ok()) << good;
  }
  for (const char* bad : {"mail.example:25", "http://mail.example", "smtp://",
                          "smtp://me@mail.example", "smtp://mail.example/x"}) {
    EXPECT_FALSE(CheckMailServer(bad).ok()) << bad;
  }
}

TEST(MailAddress, NeedsNoQuoting) {
  for (const char* good : {"me@shop.example", "a.b+c@x"}) EXPECT_TRUE(IsMailAddress(good)) << good;
  for (const char* bad : {"", "me", "@x", "me@", "me@x@y", "me @x", "me@x>", "Me <me@x>",
                          "me@x\r\nBcc: y@z", "m\xc3\xa9@x"}) {
    EXPECT_FALSE(IsMailAddress(bad)) << bad;
  }
}

// The lines of the body, decoded.
std::string BodyOf(const std::string& mail) {
  const size_t start = mail.find("\r\n\r\n") + 4;
  std::string encoded = mail.substr(start), text;
  std::erase_if(encoded, [](char c) { return c == '\r' || c == '\n'; });
  // Each line is whole by itself.
  for (size_t at = 0; at < encoded.size(); at += 76) {
    std::string part;
    EXPECT_TRUE(absl::Base64Unescape(encoded.substr(at, 76), &part));
    text += part;
  }
  return text;
}

TEST(MailText, IsOneMailWithAStableId) {
  const Message message = MessageWith(17);
  const Instant now{1'790'000'040'000};  // Monday, 2026-09-21 14:14 UTC
  const std::string mail = MailOf({&message, 1}, now, "plumblane@shop.example", {"a@x", "b@y"});
  EXPECT_THAT(mail, StartsWith("Date: Mon, 21 Sep 2026 14:14:00 +0000\r\n"));
  EXPECT_THAT(mail, HasSubstr("\r\nFrom: plumblane@shop.example\r\nTo: a@x,\r\n b@y\r\n"));
  EXPECT_THAT(mail, HasSubstr("\r\nSubject: [plumblane] lane VN-DE: raised\r\n"));
  EXPECT_THAT(mail, HasSubstr("\r\nMessage-ID: <plumblane.17-a1@shop.example>\r\n"));
  EXPECT_THAT(mail, HasSubstr("\r\nMIME-Version: 1.0\r\n"));
  EXPECT_THAT(BodyOf(mail), HasSubstr(message.text));
  for (size_t at = 0, end; (end = mail.find("\r\n", at)) != std::string::npos; at = end + 2) {
    EXPECT_LE(end - at, 78u);
  }
  EXPECT_EQ(std::count(mail.begin(), mail.end(), '\r'), std::count(mail.begin(), mail.end(), '\n'));
}

TEST(MailText, ADigestHoldsAllInOrder) {
  const std::vector<Message> messages = {MessageWith(17), MessageWith(18), MessageWith(19)};
  const std::string mail = MailOf(messages, {}, "plumblane@shop.example", {"a@x"});
  EXPECT_THAT(mail, HasSubstr("Subject: [plumblane] 3 notices of alerts\r\n"));
  EXPECT_THAT(mail, HasSubstr("<plumblane.17-a1.19-a1@shop.example>"));
  const std::string body = BodyOf(mail);
  EXPECT_LT(body.find("text of 17"), body.find("text of 18"));
  EXPECT_LT(body.find("text of 18"), body.find("text of 19"));
  EXPECT_NE(body.find("text of 19"), std::string::npos);
}

TEST(MailText, ASubjectBeyondAsciiIsEncodedWordByWord) {
  Message message = MessageWith(17);
  message.headline.clear();
  for (int i = 0; i < 40; ++i) message.headline += "\xe1\xba\xbf";  // three bytes each
  const std::string mail = MailOf({&message, 1}, {}, "p@x", {"a@x"});
  std::string subject;
  for (size_t at = 0; (at = mail.find("=?UTF-8?B?", at)) != std::string::npos;) {
    const size_t start = at + 10;
    at = mail.find("?=", start);
    ASSERT_LE(at + 2 - (start - 10), 75u);
    std::string word;
    ASSERT_TRUE(absl::Base64Unescape(mail.substr(start, at - start), &word));
    ASSERT_NE(static_cast<unsigned char>(word[0]) & 0xC0, 0x80) << "a character was split";
    subject += word;
  }
  EXPECT_EQ(subject, "[plumblane] " + message.headline);
}

TEST(Digest, IsDueAtTheLastFullHourOfTheDay) {
  const Instant day = StartOf(Day{20'000});
  const int64_t hour = 3'600'000;
  EXPECT_EQ(LastDigest(day + 7 * hour, 7), day + 7 * hour);
  EXPECT_EQ(LastDigest(day + 7 * hour - 1, 7), day - 17 * hour);
  EXPECT_EQ(LastDigest(day + 23 * hour, 7), day + 7 * hour);
  EXPECT_EQ(LastDigest(day, 0), day);
}

}  // namespace
}  // namespace plumblane
