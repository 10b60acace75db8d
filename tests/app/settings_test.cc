// Settings: every key of the file, everything a file can have wrong, the listeners, and that the
// sample file in deploy/ states the defaults.
#include "app/settings.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <fstream>
#include <iterator>
#include <string>

#include "support/temp_directory.h"

namespace plumblane {
namespace {

using ::testing::AllOf;
using ::testing::ElementsAre;
using ::testing::HasSubstr;

class SettingsFile : public ::testing::Test {
 protected:
  std::string path() const { return directory_ / "plumblane.toml"; }
  absl::Status Read(const std::string& text, Settings& settings) {
    std::ofstream(path(), std::ios::binary) << text;
    return ReadSettingsFile(path(), settings);
  }
  Settings Taken(const std::string& text) {
    Settings settings;
    const absl::Status status = Read(text, settings);
    EXPECT_TRUE(status.ok()) << text << ": " << status;
    return settings;
  }
  std::string WhyNot(const std::string& text) {
    Settings settings;
    const absl::Status status = Read(text, settings);
    EXPECT_TRUE(absl::IsInvalidArgument(status)) << text << ": " << status;
    return std::string(status.message());
  }

  test::TempDirectory directory_;
};

TEST_F(SettingsFile, EveryKeyIsRead) {
  const Settings all = Taken(R"(
    data_directory = "/data"
    listen = ["unix:/run/a.sock", "127.0.0.1:7000"]
    clock = "events"
    log_level = "debug"
    shutdown_seconds = 20
    [scores]
    half_life_days = 30
    settle_delay_hours = 36
    claim_window_days = 90
    [counting]
    lost_after_days = 45
    tolerance_hours = 12
    [alerts]
    false_alarms_per_year = 0.2
    odds_ratio = 2
    [storage]
    block_cache_mib = 512
    write_buffer_mib = 32
    decoded_cells_mib = 100
    decoded_orders_mib = 50
    anchor = "/elsewhere/anchor"
    least_free_mib = 100
    kept_log_entries = 17
    [intake]
    queue_events = 20000
  )");
  EXPECT_EQ(all.data_directory, "/data");
  EXPECT_THAT(all.listen, ElementsAre("unix:/run/a.sock", "127.0.0.1:7000"));
  EXPECT_EQ(all.engine.clock_mode, ClockMode::kEvents);
  EXPECT_EQ(all.log_level, "debug");
  EXPECT_EQ(all.shutdown_seconds, 20);
  EXPECT_EQ(all.engine.rules.half_life_days, 30);
  EXPECT_EQ(all.engine.rules.settle_delay_millis, 36 * 3'600'000);
  EXPECT_EQ(all.engine.rules.claim_window_days, 90);
  EXPECT_EQ(all.engine.rules.fold.lost_after_days, 45);
  EXPECT_EQ(all.engine.rules.fold.tolerance_millis, 12 * 3'600'000);
  EXPECT_EQ(all.engine.rules.alerts.false_alarms_a_year, .2);
  EXPECT_EQ(all.engine.rules.alerts.odds_ratio, 2);
  EXPECT_EQ(all.block_cache_mib, 512);
  EXPECT_EQ(all.write_buffer_mib, 32);
  EXPECT_EQ(all.engine.series_bytes, 100u << 20);
  EXPECT_EQ(all.engine.writer_bytes, 50u << 20);
  EXPECT_EQ(all.anchor, "/elsewhere/anchor");
  EXPECT_EQ(all.least_free_mib, 100);
  EXPECT_EQ(all.engine.kept_entries, 17u);
  EXPECT_EQ(all.engine.queue_events, 20'000u);
}

TEST_F(SettingsFile, WhatItDoesNotStateStaysAsItWas) {
  Settings settings;
  settings.log_level = "error";
  settings.shutdown_seconds = 7;
  ASSERT_TRUE(Read("shutdown_seconds = 8\n", settings).ok());
  EXPECT_EQ(settings.log_level, "error");
  EXPECT_EQ(settings.shutdown_seconds, 8);
  EXPECT_TRUE(Read("", settings).ok());
}

TEST_F(SettingsFile, HalfLifeMayHaveAFraction) {
  EXPECT_EQ(Taken("scores.half_life_days = 0.5").engine.rules.half_life_days, 0.5);
  EXPECT_EQ(Taken("[scores]\nhalf_life_days = 36525").engine.rules.half_life_days, 36'525);
}

struct Range {
  const char* key;
  const char* least;
  const char* most;
  const char* below;
  const char* above;
};

class Ranges : public SettingsFile, public ::testing::WithParamInterface<Range> {};

TEST_P(Ranges, AreKept) {
  const Range& range = GetParam();
  const std::string is = std::string(range.key) + " = ";
  Taken(is + range.least);
  Taken(is + range.most);
  for (const char* wrong : {range.below, range.above, "\"7\"", "true", "[7]", "2026-03-05"}) {
    EXPECT_THAT(WhyNot("\n" + is + wrong),
                AllOf(HasSubstr(path() + ", line 2: "), HasSubstr(range.key),
                      HasSubstr(": expected a "), HasSubstr(range.most)))
        << wrong;
  }
}

INSTANTIATE_TEST_SUITE_P(
    Settings, Ranges,
    ::testing::Values(Range{"shutdown_seconds", "1", "600", "0", "601"},
                      Range{"scores.settle_delay_hours", "0", "720", "-1", "721"},
                      Range{"scores.claim_window_days", "1", "365", "0", "366"},
                      Range{"counting.lost_after_days", "1", "365", "0", "366"},
                      Range{"counting.tolerance_hours", "0", "720", "-1", "721"},
                      Range{"limits.connections", "1", "1000000", "0", "1000001"},
                      Range{"limits.calls_per_client", "1", "10000", "0", "10001"},
                      Range{"limits.events_per_second", "0", "10000000", "-1", "10000001"},
                      Range{"limits.memory_mib", "64", "1048576", "63", "1048577"},
                      Range{"storage.block_cache_mib", "8", "1048576", "7", "1048577"},
                      Range{"storage.write_buffer_mib", "1", "1024", "0", "1025"},
                      Range{"storage.decoded_cells_mib", "1", "1048576", "0", "1048577"},
                      Range{"storage.decoded_orders_mib", "1", "1048576", "0", "1048577"},
                      Range{"intake.queue_events", "1000", "10000000", "999", "10000001"},
                      Range{"alerts.odds_ratio", "1.5", "10", "1.4", "10.5"},
                      Range{"alerts.false_alarms_per_year", "0.001", "10", "0", "11"},
                      Range{"scores.half_life_days", "0.05", "36525", "0.04", "36525.5"},
                      Range{"scores.half_life_days", "1", "36525", "nan", "inf"}));

TEST_F(SettingsFile, WholeNumbersAreNotGuessedFromOthers) {
  EXPECT_THAT(WhyNot("shutdown_seconds = 10.0"),
              HasSubstr("expected a whole number from 1 to 600"));
}

TEST_F(SettingsFile, WordsAreOfTheKnownOnes) {
  EXPECT_EQ(Taken("clock = \"wall\"").engine.clock_mode, ClockMode::kWall);
  for (const char* wrong : {"\"sun\"", "\"\"", "true", "1"}) {
    EXPECT_THAT(WhyNot(std::string("clock = ") + wrong),
                HasSubstr("clock: expected \"wall\" or \"events\""))
        << wrong;
  }
  for (const char* key : {"data_directory", "log_level"}) {
    EXPECT_THAT(WhyNot(std::string(key) + " = 7"), HasSubstr(std::string(key) + ": expected"));
  }
  for (const char* wrong : {"\"unix:a\"", "[7]", "[\"unix:a\", 7]", "[[\"unix:a\"]]"}) {
    EXPECT_THAT(WhyNot(std::string("listen = ") + wrong),
                HasSubstr("listen: expected a list of addresses"))
        << wrong;
  }
}

TEST_F(SettingsFile, AnUnknownKeyIsNamedWithItsLine) {
  EXPECT_THAT(WhyNot("\n\nlisten_on = \"x\""),
              HasSubstr(path() + ", line 3: unknown key listen_on"));
  EXPECT_THAT(WhyNot("[scores]\nhalf_life = 45"),
              HasSubstr(path() + ", line 2: unknown key scores.half_life"));
  EXPECT_THAT(WhyNot("half_life_days = 45"), HasSubstr("unknown key half_life_days"));
  EXPECT_THAT(WhyNot("scores = 45"), HasSubstr("unknown key scores"));
  EXPECT_THAT(WhyNot("[pigeons]\nlevel = 1"), HasSubstr("unknown key pigeons"));
}

TEST_F(SettingsFile, AnUnknownSectionIsNamedEvenWhenItIsEmpty) {
  EXPECT_THAT(WhyNot("[pigeons]\n"), HasSubstr(path() + ", line 1: unknown key pigeons"));
  EXPECT_THAT(WhyNot("[scores]\n[scores.more]\n"), HasSubstr("unknown key scores.more"));
  EXPECT_THAT(WhyNot("[listen]\n"), HasSubstr("listen: expected a list of addresses"));
  EXPECT_THAT(WhyNot("[clock]\nwall = true"), HasSubstr("clock: expected \"wall\""));
  Taken("[scores]\n[storage]\n");
}

TEST_F(SettingsFile, WhatIsNoTomlIsSaidWithTheLine) {
  EXPECT_THAT(WhyNot("clock = \"wall\"\nclock = \n"), HasSubstr(path() + ", line 2: "));
  EXPECT_THAT(WhyNot("<settings/>"), HasSubstr(path() + ", line 1: "));
  EXPECT_THAT(WhyNot("clock = \"wall\"\nclock = \"events\"\n"), HasSubstr(path() + ", line 2: "));
}

TEST_F(SettingsFile, ThatCannotBeReadIsSaidByName) {
  Settings settings;
  const absl::Status missing = ReadSettingsFile(directory_ / "none.toml", settings);
  EXPECT_TRUE(absl::IsInvalidArgument(missing));
  EXPECT_THAT(std::string(missing.message()), AllOf(HasSubstr(directory_ / "none.toml" + ": "),
                                                    ::testing::Not(HasSubstr("line 0"))));
  const absl::Status folder = ReadSettingsFile(directory_.path(), settings);
  EXPECT_TRUE(absl::IsInvalidArgument(folder));
  EXPECT_THAT(std::string(folder.message()), HasSubstr(directory_.path() + ": is a directory"));
}

Settings Minimal() {
  Settings settings;
  settings.data_directory = "/data";
  return settings;
}

TEST(CompleteSettings, FillsInTheDefaultListeners) {
  Settings settings = Minimal();
  ASSERT_TRUE(CompleteSettings(settings).ok());
  EXPECT_THAT(settings.listen, ElementsAre("unix:/data/plumblane.sock", "127.0.0.1:7437"));
}

TEST(CompleteSettings, NeedsADataDirectory) {
  Settings settings;
  const absl::Status status = CompleteSettings(settings);
  EXPECT_TRUE(absl::IsInvalidArgument(status));
  EXPECT_THAT(std::string(status.message()), HasSubstr("--data DIR"));
}

TEST(CompleteSettings, TakesAddressesOnThisMachine) {
  Settings settings = Minimal();
  settings.listen = {"unix:a",      "unix:/run/a.sock", "unix:" + std::string(107, 'x'),
                     "127.0.0.1:0", "127.0.0.1:65535",  "localhost:7437",
                     "[::1]:7437"};
  const std::vector<std::string> given = settings.listen;
  EXPECT_TRUE(CompleteSettings(settings).ok()) << CompleteSettings(settings);
  EXPECT_EQ(settings.listen, given);
}

struct BadAddress {
  const char* name;
  std::string address;
  const char* message;
};

class RefusedAddress : public ::testing::TestWithParam<BadAddress> {};

TEST_P(RefusedAddress, IsNamedWithWhatWasExpected) {
  Settings settings = Minimal();
  settings.listen = {"unix:a", GetParam().address};
  const absl::Status status = CompleteSettings(settings);
  EXPECT_TRUE(absl::IsInvalidArgument(status)) << status;
  EXPECT_THAT(
      std::string(status.message()),
      AllOf(HasSubstr("listen: "), HasSubstr(GetParam().message), HasSubstr(GetParam().address)));
}

constexpr char kForms[] = "expected unix:PATH, HOST:PORT or tls:HOST:PORT";

INSTANTIATE_TEST_SUITE_P(
    CompleteSettings, RefusedAddress,
    ::testing::Values(
        BadAddress{"EveryInterface", "0.0.0.0:7437", "can be reached from other machines"},
        BadAddress{"EveryInterfaceV6", "[::]:7437", "can be reached from other machines"},
        BadAddress{"AnotherMachine", "192.168.1.2:7437", "can be reached from other machines"},
        BadAddress{"NoHost", ":7437", kForms},
        BadAddress{"BareV6", "::1:7437", "can be reached from other machines"},
        BadAddress{"AbstractSocket", "unix-abstract:a", "can be reached from other machines"},
        BadAddress{"TlsWithoutCertificates", "tls:127.0.0.1:7437",
                   "needs tls.certificate, tls.key and tls.client_ca"},
        BadAddress{"NoPort", "127.0.0.1", kForms}, BadAddress{"EmptyPort", "127.0.0.1:", kForms},
        BadAddress{"PortInWords", "127.0.0.1:http", "port from 0 to 65535"},
        BadAddress{"PortLarge", "127.0.0.1:65536", "port from 0 to 65535"},
        BadAddress{"PortNegative", "localhost:-1", "port from 0 to 65535"},
        BadAddress{"PortWithSign", "localhost:+1", "port from 0 to 65535"},
        BadAddress{"PortAndMore", "[::1]:7437/x", "port from 0 to 65535"},
        BadAddress{"Empty", "", kForms},
        BadAddress{"EmptyPath", "unix:", "a path of 1 to 107 bytes"},
        BadAddress{"LongPath", "unix:" + std::string(108, 'x'), "a path of 1 to 107 bytes"}),
    [](const auto& info) { return info.param.name; });

TEST(CompleteSettings, OtherMachinesNeedTlsAndTokens) {
  Settings settings = Minimal();
  settings.listen = {"tls:0.0.0.0:7437"};
  settings.access.certificate_file = "c";
  EXPECT_THAT(std::string(CompleteSettings(settings).message()),
              HasSubstr("tls: certificate, key"));
  settings.access.key_file = settings.access.client_ca_file = "f";
  EXPECT_THAT(std::string(CompleteSettings(settings).message()), HasSubstr("needs access.tokens"));
  settings.access.token_file = "t";
  EXPECT_TRUE(CompleteSettings(settings).ok()) << CompleteSettings(settings);
  EXPECT_EQ(settings.access.audit_file, "/data/audit.ndjson");
}

TEST(CompleteSettings, ADefaultSocketMayBeTooLongForItsDirectory) {
  Settings settings;
  settings.data_directory = "/" + std::string(100, 'x');
  EXPECT_THAT(std::string(CompleteSettings(settings).message()),
              HasSubstr("a path of 1 to 107 bytes"));
}

TEST(CompleteSettings, KnowsTheLogLevels) {
  for (const char* level : {"trace", "debug", "info", "warning", "error", "off"}) {
    Settings settings = Minimal();
    settings.log_level = level;
    EXPECT_TRUE(CompleteSettings(settings).ok()) << level;
  }
  for (const char* level : {"", "warn", "INFO", "loud"}) {
    Settings settings = Minimal();
    settings.log_level = level;
    EXPECT_THAT(std::string(CompleteSettings(settings).message()),
                HasSubstr("log_level: expected trace, debug"))
        << level;
  }
}

// The sample file that is installed.
std::string SampleFile() { return PLUMBLANE_DEPLOY "/plumblane.toml"; }

// Every setting other than its default.
Settings Unlike(const Settings& defaults) {
  Settings other = defaults;
  other.log_level = "off";
  other.shutdown_seconds += 1;
  other.block_cache_mib += 1;
  other.write_buffer_mib += 1;
  other.engine.clock_mode = ClockMode::kEvents;
  other.engine.queue_events += 1;
  other.engine.series_bytes += 1;
  other.engine.writer_bytes += 1;
  other.engine.kept_entries += 1;
  other.engine.rules.half_life_days += 1;
  other.engine.rules.settle_delay_millis += 1;
  other.engine.rules.claim_window_days += 1;
  other.engine.rules.fold.lost_after_days += 1;
  other.engine.rules.fold.tolerance_millis += 1;
  other.access.connections += 1;
  other.access.memory_mib += 1;
  other.access.gate.calls_per_client += 1;
  other.access.gate.events_per_second += 1;
  other.snapshot.every_seconds += 1;
  other.metrics.suppliers += 1;
  other.delivery.source = "other";
  other.delivery.webhook.timeout_seconds += 1;
  other.delivery.hook.timeout_seconds += 1;
  other.delivery.mail.timeout_seconds += 1;
  other.delivery.mail.daily = true;
  other.delivery.mail.digest_hour += 1;
  other.cluster.name = "other";
  other.cluster.lease_seconds += 1;
  other.cluster.reader_hours += 1;
  other.cluster.partitions += 1;
  return other;
}

TEST(SampleSettings, StateExactlyTheDefaults) {
  const Settings defaults;
  Settings settings = Unlike(defaults);
  const absl::Status status = ReadSettingsFile(SampleFile(), settings);
  ASSERT_TRUE(status.ok()) << status;
  EXPECT_EQ(settings.data_directory, "");
  EXPECT_TRUE(settings.listen.empty());
  EXPECT_EQ(settings.log_level, defaults.log_level);
  EXPECT_EQ(settings.access.connections, defaults.access.connections);
  EXPECT_EQ(settings.access.memory_mib, defaults.access.memory_mib);
  EXPECT_EQ(settings.access.gate.calls_per_client, defaults.access.gate.calls_per_client);
  EXPECT_EQ(settings.access.gate.events_per_second, defaults.access.gate.events_per_second);
  EXPECT_EQ(settings.shutdown_seconds, defaults.shutdown_seconds);
  EXPECT_EQ(settings.block_cache_mib, defaults.block_cache_mib);
  EXPECT_EQ(settings.write_buffer_mib, defaults.write_buffer_mib);
  EXPECT_EQ(settings.engine.clock_mode, defaults.engine.clock_mode);
  EXPECT_EQ(settings.engine.queue_events, defaults.engine.queue_events);
  EXPECT_EQ(settings.engine.series_bytes, defaults.engine.series_bytes);
  EXPECT_EQ(settings.engine.writer_bytes, defaults.engine.writer_bytes);
  EXPECT_EQ(settings.engine.kept_entries, defaults.engine.kept_entries);
  EXPECT_EQ(settings.anchor, "");
  EXPECT_TRUE(settings.cluster.etcd.empty());
  EXPECT_EQ(settings.cluster.name, defaults.cluster.name);
  EXPECT_EQ(settings.cluster.lease_seconds, defaults.cluster.lease_seconds);
  EXPECT_EQ(settings.cluster.reader_hours, defaults.cluster.reader_hours);
  EXPECT_EQ(settings.cluster.partitions, defaults.cluster.partitions);
  EXPECT_EQ(settings.least_free_mib, defaults.least_free_mib);
  const ReadRules &rules = settings.engine.rules, &expected = defaults.engine.rules;
  EXPECT_EQ(rules.half_life_days, expected.half_life_days);
  EXPECT_EQ(rules.settle_delay_millis, expected.settle_delay_millis);
  EXPECT_EQ(rules.claim_window_days, expected.claim_window_days);
  EXPECT_EQ(rules.fold, expected.fold);
  EXPECT_EQ(settings.snapshot.directory, "");
  EXPECT_EQ(settings.snapshot.every_seconds, defaults.snapshot.every_seconds);
  EXPECT_EQ(settings.metrics.listen, "");
  EXPECT_EQ(settings.metrics.suppliers, defaults.metrics.suppliers);
  EXPECT_EQ(settings.delivery.source, defaults.delivery.source);
  EXPECT_EQ(settings.delivery.webhook.timeout_seconds, defaults.delivery.webhook.timeout_seconds);
  EXPECT_EQ(settings.delivery.hook.timeout_seconds, defaults.delivery.hook.timeout_seconds);
  EXPECT_EQ(settings.delivery.mail.timeout_seconds, defaults.delivery.mail.timeout_seconds);
  EXPECT_EQ(settings.delivery.mail.daily, defaults.delivery.mail.daily);
  EXPECT_EQ(settings.delivery.mail.digest_hour, defaults.delivery.mail.digest_hour);
  EXPECT_TRUE(RoutesOf(settings.delivery).empty());
}

TEST_F(SettingsFile, TheLinesThatTheSampleLeavesOutAreFineToo) {
  std::ifstream in(SampleFile());
  std::string text;
  int taken_in = 0;
  for (std::string line; std::getline(in, line);) {
    // "#key = value" is a setting; "# words" are words.
    if (line.size() > 1 && line[0] == '#' && line[1] != ' ') {
      line.erase(0, 1);
      ++taken_in;
    }
    text += line + "\n";
  }
  EXPECT_EQ(taken_in, 26);
  Settings settings = Taken(text);
  EXPECT_EQ(settings.data_directory, "/var/lib/plumblane");
  EXPECT_EQ(settings.listen.size(), 2u);
  EXPECT_EQ(RoutesOf(settings.delivery).size(), 3u);
  EXPECT_EQ(settings.cluster.etcd.size(), 1u);
  settings.delivery = {};  // its secrets are elsewhere
  settings.cluster = {};   // and so are its keys
  EXPECT_TRUE(CompleteSettings(settings).ok()) << CompleteSettings(settings);
}

}  // namespace
}  // namespace plumblane
