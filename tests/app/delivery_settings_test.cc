// The settings under [deliver]: every key, what may be wrong with each, and secrets in their files.
#include "app/delivery_settings.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <string>

#include "app/settings.h"
#include "support/temp_directory.h"

namespace plumblane {
namespace {

namespace fs = std::filesystem;
using ::testing::AllOf;
using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::Not;

class DeliverySettingsTest : public ::testing::Test {
 protected:
  std::string Write(const std::string& name, const std::string& text, fs::perms rights) {
    const std::string path = directory_ / name;
    std::ofstream(path, std::ios::binary) << text;
    fs::permissions(path, rights);
    return path;
  }
  // Reads and completes; what is wrong, or "".
  std::string Read(const std::string& text) {
    settings_ = {};
    settings_.data_directory = "/data";
    absl::Status status =
        ReadSettingsFile(Write("plumblane.toml", text, fs::perms::owner_all), settings_);
    if (status.ok()) status = CompleteSettings(settings_);
    return std::string(status.message());
  }
  std::string Webhook(const std::string& secret, fs::perms rights = fs::perms(0600)) {
    return "[deliver.webhook]\nurl = \"https://shop.example/x\"\nsecret_file = \"" +
           Write("secret", secret, rights) + "\"\n";
  }

  test::TempDirectory directory_;
  Settings settings_;
};

// 24 bytes of "k".
constexpr char kSecret[] = "whsec_a2tra2tra2tra2tra2tra2tra2tra2tr";

TEST_F(DeliverySettingsTest, EveryKeyIsRead) {
  const std::string password = Write("password", "open sesame\nmore", fs::perms(0400));
  EXPECT_EQ(Read("deliver.source = \"harbour\"\n" + Webhook(kSecret) + R"(
    timeout_seconds = 9
    [deliver.hook]
    command = ["/bin/tell", "--loud"]
    timeout_seconds = 8
    [deliver.mail]
    server = "smtps://mail.example:465"
    user = "me"
    password_file = ")" +
                 password + R"("
    from = "p@shop.example"
    to = ["a@shop.example", "b@shop.example"]
    digest = "daily"
    digest_hour = 6
    timeout_seconds = 7
  )"),
            "");
  const DeliverySettings& all = settings_.delivery;
  EXPECT_EQ(all.source, "harbour");
  EXPECT_EQ(all.webhook.url, "https://shop.example/x");
  EXPECT_EQ(all.webhook.key, std::string(24, 'k'));
  EXPECT_EQ(all.webhook.timeout_seconds, 9);
  EXPECT_THAT(all.hook.command, ElementsAre("/bin/tell", "--loud"));
  EXPECT_EQ(all.hook.timeout_seconds, 8);
  EXPECT_EQ(all.mail.server, "smtps://mail.example:465");
  EXPECT_EQ(all.mail.user, "me");
  EXPECT_EQ(all.mail.password, "open sesame");
  EXPECT_EQ(all.mail.from, "p@shop.example");
  EXPECT_THAT(all.mail.to, ElementsAre("a@shop.example", "b@shop.example"));
  EXPECT_TRUE(all.mail.daily);
  EXPECT_EQ(all.mail.digest_hour, 6);
  EXPECT_EQ(all.mail.timeout_seconds, 7);
  const std::vector<Route> routes = RoutesOf(all);
  ASSERT_EQ(routes.size(), 3u);
  EXPECT_EQ(routes[0].name, "webhook");
  EXPECT_EQ(routes[1].name, "hook");
  EXPECT_EQ(routes[2].name, "mail");
  EXPECT_EQ(routes[2].digest_hour, 6);
  EXPECT_EQ(routes[0].digest_hour, std::nullopt);
}

TEST_F(DeliverySettingsTest, WhatIsWrongIsNamedWithLineAndKey) {
  const std::pair<const char*, const char*> rows[] = {
      {"deliver.webhook.url", "\"http://shop.example/x\""},
      {"deliver.webhook.timeout_seconds", "0"},
      {"deliver.hook.command", "\"/bin/tell\""},
      {"deliver.hook.command", "[]"},
      {"deliver.hook.command", "[\"\"]"},
      {"deliver.hook.command", "[\"tell\"]"},
      {"deliver.hook.command", "[\"/bin/tell\", 7]"},
      {"deliver.hook.timeout_seconds", "3601"},
      {"deliver.mail.server", "\"mail.example\""},
      {"deliver.mail.from", "\"me\""},
      {"deliver.mail.to", "\"me@shop.example\""},
      {"deliver.mail.to", "[\"me\"]"},
      {"deliver.mail.digest", "\"weekly\""},
      {"deliver.mail.digest_hour", "24"},
      {"deliver.source", "\"two words\""},
      {"deliver.source", "\"\""}};
  for (const auto& [key, value] : rows) {
    EXPECT_THAT(Read("\n" + std::string(key) + " = " + value),
                AllOf(HasSubstr(", line 2: "), HasSubstr(key), HasSubstr(": expected ")))
        << value;
  }
}

TEST_F(DeliverySettingsTest, WhatIsMissingIsNamed) {
  const std::pair<const char*, const char*> rows[] = {
      {"deliver.webhook.url = \"https://x/y\"", "deliver.webhook.secret_file: expected"},
      {"deliver.webhook.secret_file = \"/x\"", "deliver.webhook.url: expected"},
      {"deliver.mail.from = \"a@b\"", "deliver.mail.server: expected"},
      {"deliver.mail.server = \"smtp://x\"", "deliver.mail.from: expected"},
      {"[deliver.mail]\nserver = \"smtp://x\"\nfrom = \"a@b\"", "deliver.mail.to: expected"},
      {"[deliver.mail]\nserver = \"smtp://x\"\nfrom = \"a@b\"\nto = [\"c@d\"]\nuser = \"e\"",
       "deliver.mail.password_file: user and password_file go together"}};
  for (const auto& [text, message] : rows) EXPECT_THAT(Read(text), HasSubstr(message)) << text;
}

TEST_F(DeliverySettingsTest, ASecretIsForItsOwnerAndNeverShown) {
  EXPECT_EQ(Read(Webhook(kSecret, fs::perms(0400))), "");
  for (const unsigned rights : {0640u, 0604u, 0620u}) {
    fs::remove(directory_ / "secret");
    EXPECT_THAT(Read(Webhook(kSecret, fs::perms(rights))),
                AllOf(HasSubstr("deliver.webhook.secret_file: " + directory_ / "secret is open"),
                      HasSubstr("0600"), Not(HasSubstr("a2tr"))));
  }
  for (const char* secret : {"", "a2tra2tra2tr", "whsec_a2tr"}) {
    fs::remove(directory_ / "secret");
    EXPECT_THAT(Read(Webhook(secret)),
                AllOf(HasSubstr("deliver.webhook.secret_file: "), Not(HasSubstr("a2tr"))));
  }
  EXPECT_THAT(Read("[deliver.webhook]\nurl = \"https://x/y\"\nsecret_file = \"/none/there\""),
              HasSubstr("cannot read the file /none/there"));
}

}  // namespace
}  // namespace plumblane
