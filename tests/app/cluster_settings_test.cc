// The settings of a cluster: who is told of, what is missing, and that nothing leaves this machine
// without TLS.
#include "app/cluster_settings.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>

#include "app/settings.h"
#include "support/temp_directory.h"

namespace plumblane {
namespace {

using ::testing::HasSubstr;

class ClusterSettingsTest : public ::testing::Test {
 protected:
  // "" when they are taken.
  std::string Mistake(const std::string& cluster, const std::string& more = "") {
    settings_ = {};
    const std::string path = directory_ / "plumblane.toml";
    std::ofstream(path) << "data_directory = \"/d\"\n" << more << "[cluster]\n" << cluster;
    absl::Status status = ReadSettingsFile(path, settings_);
    if (status.ok()) status = CompleteSettings(settings_);
    return std::string(status.message());
  }
  std::string Write(const std::string& name, const std::string& text, int others = 0) {
    std::ofstream(directory_ / name) << text;
    std::filesystem::permissions(directory_ / name,
                                 static_cast<std::filesystem::perms>(0600 + others));
    return directory_ / name;
  }

  test::TempDirectory directory_;
  Settings settings_;
};

TEST_F(ClusterSettingsTest, AloneWithoutEtcd) {
  EXPECT_EQ(Mistake(""), "");
  EXPECT_TRUE(settings_.cluster.etcd.empty());
}

TEST_F(ClusterSettingsTest, OnThisMachineItNeedsEtcdAndAName) {
  EXPECT_EQ(Mistake("etcd = [\"127.0.0.1:1\", \"localhost:2\", \"[::1]:3\"]\nnode = \"a-1\"\n"),
            "");
  EXPECT_EQ(settings_.cluster.address, "127.0.0.1:7437");
  EXPECT_THAT(Mistake("etcd = [\"127.0.0.1:1\"]\n"), HasSubstr("cluster.node: expected a name"));
  EXPECT_THAT(Mistake("etcd = [\"127.0.0.1:1\"]\nnode = \"a\"\nname = \"\"\n"),
              HasSubstr("cluster.name: expected one"));
  for (const char* alone :
       {"node = \"a\"\n", "address = \"a:1\"\n", "ca = \"a.pem\"\n", "partitions = 4\n",
        "name = \"b\"\n", "token = \"t\"\n", "follow = \"owned\"\n"}) {
    EXPECT_THAT(Mistake(alone), HasSubstr("cluster.etcd: expected HOST:PORT")) << alone;
  }
  const std::string named = "etcd = [\"127.0.0.1:1\"]\nnode = \"a\"\n";
  EXPECT_EQ(Mistake(named + "follow = \"owned\"\n"), "");
  EXPECT_EQ(settings_.cluster.follow, "owned");
  EXPECT_THAT(Mistake(named + "follow = \"none\"\n"),
              HasSubstr("cluster.follow: expected all or owned"));
  EXPECT_THAT(Mistake(named + "follow = \"owned\"\n[snapshot]\ndirectory = \"/s\"\n"),
              HasSubstr("cluster.follow: a daemon that does not hold all cannot write"));
  EXPECT_THAT(Mistake("etcd = [\"127.0.0.1:1\"]\nnode = \"a/b\"\n"),
              HasSubstr("cluster.node: expected up to 64 letters"));
  for (const char* endpoint : {"127.0.0.1", ":1", "127.0.0.1:", "http://127.0.0.1:1"}) {
    EXPECT_THAT(Mistake(std::string("node = \"a\"\netcd = [\"") + endpoint + "\"]\n"),
                HasSubstr("cluster.etcd: expected a list of HOST:PORT"))
        << endpoint;
  }
}

TEST_F(ClusterSettingsTest, TheAddressIsTheFirstThatIsNoSocketUnlessOneIsSet) {
  const std::string cluster = "etcd = [\"127.0.0.1:1\"]\nnode = \"a\"\n";
  EXPECT_EQ(Mistake(cluster, "listen = [\"unix:/s\", \"localhost:5\"]\n"), "");
  EXPECT_EQ(settings_.cluster.address, "localhost:5");
  EXPECT_EQ(Mistake(cluster, "listen = [\"unix:/s\"]\n"), "");
  EXPECT_EQ(settings_.cluster.address, "unix:/s");
  const std::string guarded =
      "listen = [\"unix:/s\", \"tls:one.example:7437\"]\n[tls]\ncertificate = \"c\"\nkey = \"k\"\n"
      "client_ca = \"a\"\n[access]\ntokens = \"t\"\n";
  EXPECT_EQ(Mistake(cluster, guarded), "");
  EXPECT_EQ(settings_.cluster.address, "tls:one.example:7437");
  EXPECT_EQ(Mistake(cluster + "address = \"one.example:7437\"\n"), "");
  EXPECT_EQ(settings_.cluster.address, "one.example:7437");
}

TEST_F(ClusterSettingsTest, BeyondThisMachineItNeedsCertificates) {
  const std::string cluster = "etcd = [\"127.0.0.1:1\", \"10.0.0.1:1\"]\nnode = \"a\"\n";
  EXPECT_THAT(Mistake(cluster), HasSubstr("cluster.etcd: 10.0.0.1:1 is on another machine"));
  const std::string ca = "ca = \"" + Write("ca", "-----BEGIN CERTIFICATE-----") + "\"\n";
  EXPECT_THAT(Mistake(cluster + ca), HasSubstr("ca, certificate and key go together"));
  const std::string certificate =
      "certificate = \"" + Write("pem", "-----BEGIN CERTIFICATE-----") + "\"\n";
  const auto key = [&](int others) {
    return "key = \"" + Write("key", "-----BEGIN KEY----- sesame", others) + "\"\n";
  };
  EXPECT_EQ(Mistake(cluster + ca + certificate + key(0)), "");
  EXPECT_EQ(settings_.cluster.key, "-----BEGIN KEY----- sesame");
  const std::string open = Mistake(cluster + ca + certificate + key(04));
  EXPECT_THAT(open, HasSubstr("cluster.key: "));
  EXPECT_EQ(open.find("sesame"), std::string::npos);
}

TEST_F(ClusterSettingsTest, TheTokenIsReadFromAFileThatOthersCannotRead) {
  const std::string cluster = "etcd = [\"127.0.0.1:1\"]\nnode = \"a\"\n";
  const auto token = [&](int others) {
    return "token = \"" + Write("token", "sesame\nmore\n", others) + "\"\n";
  };
  EXPECT_EQ(Mistake(cluster + token(0)), "");
  EXPECT_EQ(settings_.cluster.token, "sesame");
  const std::string open = Mistake(cluster + token(04));
  EXPECT_THAT(open, HasSubstr("cluster.token: "));
  EXPECT_EQ(open.find("sesame"), std::string::npos);
}

}  // namespace
}  // namespace plumblane
