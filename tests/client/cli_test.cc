// The command line: cli.h.

#include "client/cli.h"

#include <gmock/gmock.h>
#include <stdlib.h>

#include <sstream>

#include "client/connection.h"
#include "client/servers.h"
#include "client/support.h"

namespace plumblane::client {
namespace {

using testing::ElementsAre;
using testing::HasSubstr;
using testing::StartsWith;

using Words = std::vector<std::string>;

Invocation Parse(const Words& words) {
  const auto parsed = ParseCommandLine(words);
  const auto* leave = std::get_if<Leave>(&parsed);
  EXPECT_EQ(leave, nullptr) << leave->err;
  return leave == nullptr ? std::get<Invocation>(parsed) : Invocation();
}

// The message of a mistake, with its exit code before it unless that is kUsage.
std::string MistakeOf(const Words& words) {
  const auto parsed = ParseCommandLine(words);
  const auto* leave = std::get_if<Leave>(&parsed);
  if (leave == nullptr) return "none";
  return leave->exit_code == kUsage ? leave->err : std::to_string(leave->exit_code) + leave->err;
}

TEST(CliTest, EverywhereOptionsStandBeforeAndAfterTheCommand) {
  for (const Words& words :
       {Words{"--server", "h:1", "--json", "--as-of", "2026-03-05", "rank", "--to", "DE"},
        Words{"rank", "--to", "DE", "--as-of", "2026-03-05", "--json", "--server", "h:1"}}) {
    const Invocation invocation = Parse(words);
    EXPECT_EQ(invocation.verb, Verb::kRank);
    EXPECT_EQ(invocation.server, "h:1");
    EXPECT_TRUE(invocation.json);
    EXPECT_EQ(FormatInstant(*invocation.as_of), "2026-03-05T00:00:00Z");
  }
}

TEST(CliTest, SeveralServersStandInOneWordOrAreRepeated) {
  EXPECT_EQ(Parse({"--server", "h:1,h:2", "--server", "h:3", "status"}).server, "h:1,h:2,h:3");
  EXPECT_THAT(SplitServers("h:1,h:2,h:3"), ElementsAre("h:1", "h:2", "h:3"));
}

TEST(CliTest, EveryCommandIsItsOwn) {
  const std::pair<Words, Verb> cases[] = {
      {{"send", "-"}, Verb::kSend},
      {{"record", "1", "paid"}, Verb::kRecord},
      {{"suppliers"}, Verb::kSuppliers},
      {{"supplier", "lanes"}, Verb::kSupplier},
      {{"lanes"}, Verb::kLanes},
      {{"lane", "VN-DE"}, Verb::kLane},
      {{"order", "status"}, Verb::kOrder},
      {{"rank", "--to", "DE"}, Verb::kRank},
      {{"status"}, Verb::kStatus},
      {{"backtest"}, Verb::kBacktest},
      {{"excuse", "add", "--order", "1", "--reason", "x"}, Verb::kExcuseAdd},
      {{"excuse", "load", "f"}, Verb::kExcuseLoad},
      {{"excuse", "list"}, Verb::kExcuseList},
      {{"excuse", "withdraw", "x"}, Verb::kExcuseWithdraw}};
  for (const auto& [words, verb] : cases) EXPECT_EQ(Parse(words).verb, verb) << words[0];
}

TEST(CliTest, SendTakesFilesAmongItsOptions) {
  const SendOptions send =
      Parse({"send", "a.csv", "--shop", "harbour", "--format", "csv", "--promise-days", "0", "-",
             "--complete-through", "2026-03-05T12:00:00+01:00"})
          .send;
  EXPECT_THAT(send.files, ElementsAre("a.csv", "-"));
  EXPECT_EQ(send.shop, "harbour");
  EXPECT_EQ(send.source, "");
  EXPECT_EQ(send.format, EventFile::Format::kCsv);
  EXPECT_EQ(send.promise_days, 0);
  EXPECT_EQ(FormatInstant(*send.complete_through), "2026-03-05T11:00:00Z");
}

TEST(CliTest, WithinMayBeRepeated) {
  EXPECT_THAT(Parse({"supplier", "a", "--within", "10", "--within", "0.5"}).within_days,
              ElementsAre(10, .5));
  EXPECT_THAT(Parse({"lane", "--within", "0", "VN-DE", "--within=120"}).within_days,
              ElementsAre(0, 120));
  EXPECT_TRUE(Parse({"supplier", "a"}).within_days.empty());
  Words words = {"supplier", "a"};
  for (int i = 0; i < 20; ++i) words.insert(words.end(), {"--within", "7"});
  EXPECT_EQ(Parse(words).within_days.size(), 20u);
  words.insert(words.end(), {"--within", "7"});
  EXPECT_EQ(MistakeOf(words), "--within: expected at most 20 of them\n");
}

TEST(CliTest, SuppliersAreChosenAndSorted) {
  const SuppliersOptions all = Parse({"suppliers"}).suppliers;
  EXPECT_FALSE(all.lane || all.min_orders || all.risk || all.days);
  EXPECT_EQ(all.sort, SupplierSort::kName);
  const SuppliersOptions some = Parse({"suppliers", "--lane", "vn-de/-", "--tag", "toys",
                                       "--min-orders", "20", "--sort", "under-way"})
                                    .suppliers;
  EXPECT_EQ(FormatLaneQuery(*some.lane), "VN-DE/-");
  EXPECT_EQ(some.tag, "toys");
  EXPECT_EQ(some.min_orders, 20);
  EXPECT_EQ(some.sort, SupplierSort::kUnderWay);
  EXPECT_EQ(Parse({"suppliers", "--risk", "--days", "3650"}).suppliers.days, 3650);
}

TEST(CliTest, RiskGoesWithDaysAlone) {
  for (const Words& more :
       {Words{"--lane", "VN-DE"}, {"--tag", "toys"}, {"--min-orders", "3"}, {"--sort", "orders"}}) {
    Words words = {"suppliers", "--risk"};
    words.insert(words.end(), more.begin(), more.end());
    EXPECT_EQ(MistakeOf(words),
              "--risk tells of all suppliers: no --lane, --tag, --min-orders or --sort goes with "
              "it\n");
  }
  for (const Words& more : {Words{"--average"}, {"--as-of", "2026-07-01"}, {"--half-life", "20"}}) {
    Words words = {"suppliers", "--risk"};
    words.insert(words.end(), more.begin(), more.end());
    EXPECT_EQ(MistakeOf(words),
              "--risk counts every order alike, as of now: no --average, --as-of or --half-life "
              "goes with it\n");
  }
}

TEST(CliTest, AverageGoesWithScores) {
  for (const Words& words : {Words{"suppliers"}, {"supplier", "a"}, {"lanes"}, {"lane", "VN-DE"}}) {
    EXPECT_FALSE(Parse(words).average);
    Words asked = words;
    asked.push_back("--average");
    EXPECT_TRUE(Parse(asked).average);
  }
  EXPECT_THAT(MistakeOf({"rank", "--to", "DE", "--average"}), StartsWith("unknown option"));
  EXPECT_TRUE(Parse({"lane", "VN-DE", "--explain"}).explain);
}

TEST(CliTest, OddNumbersOfDaysAreRefused) {
  for (const char* days : {"nan", "inf", "-inf", "0", "-3", "1e9", "0.04", "", "45d"}) {
    EXPECT_EQ(MistakeOf({"suppliers", "--half-life", days}),
              std::string("--half-life: expected days from 0.05 to 36525, such as 45, not \"") +
                  days + "\"\nSee plumblane suppliers --help.\n");
  }
  for (const char* days : {"nan", "inf", "-1", "-0.001", "120.1", "x"}) {
    EXPECT_EQ(MistakeOf({"lane", "VN-DE", "--within", days}),
              std::string("--within: expected days from 0 to 120, such as 10, not \"") + days +
                  "\"\nSee plumblane lane --help.\n");
  }
}

TEST(CliTest, ExcuseTakesOneDayOrARange) {
  const auto due = [](const std::string& days) {
    const auto [first, last] =
        Parse({"excuse", "add", "--lane", "PL-IE", "--due", days, "--reason", "x"}).excuse.due;
    return FormatDay(first) + " " + FormatDay(last);
  };
  EXPECT_EQ(due("2026-08-17..2026-08-23"), "2026-08-17 2026-08-23");
  EXPECT_EQ(due("2026-08-17"), "2026-08-17 2026-08-17");
}

TEST(CliTest, MistakesSayWhatWasExpected) {
  const std::pair<Words, std::string> cases[] = {
      {{}, "expected a command\nSee plumblane --help.\n"},
      {{"supliers"},
       "unknown command \"supliers\", did you mean \"suppliers\"?\nSee plumblane --help.\n"},
      {{"frobnicate"}, "unknown command \"frobnicate\"\nSee plumblane --help.\n"},
      {{"suppliers", "--as-fo", "x"},
       "unknown option \"--as-fo\", did you mean \"--as-of\"?\nSee plumblane suppliers --help.\n"},
      {{"record", "1", "disputed", "--reson=late"},
       "unknown option \"--reson\", did you mean \"--reason\"?\nSee plumblane record --help.\n"},
      {{"order"}, "ORDER is required\nSee plumblane order --help.\n"},
      {{"order", "1", "2"}, "one word too many: \"2\"\nSee plumblane order --help.\n"},
      {{"rank"}, "--to is required\nSee plumblane rank --help.\n"},
      {{"rank", "--to", "D"},
       "--to: expected 2 to 16 letters or digits, such as VN, not \"D\"\nSee plumblane rank "
       "--help.\n"},
      {{"suppliers", "--half-life", "0"},
       "--half-life: expected days from 0.05 to 36525, such as 45, not \"0\"\n"
       "See plumblane suppliers --help.\n"},
      {{"suppliers", "--as-of", "2026-13-01"},
       "--as-of: expected a date, such as 2026-03-05, not \"2026-13-01\"\n"
       "See plumblane suppliers --help.\n"},
      {{"order", "1", "--as-of", "2026-03-05"},
       "--as-of goes with suppliers, supplier, lanes, lane, rank, backtest, review and export "
       "scores only\n"},
      {{"status", "--half-life", "20"},
       "--half-life goes with suppliers, supplier, lanes, lane, rank and export scores only\n"},
      {{"--half-life", "20", "backtest"},
       "--half-life goes after backtest, once for each half-life to try\n"},
      {{"backtest", "--half-life", "20", "--half-life", "0"},
       "--half-life: expected days from 0.05 to 36525, such as 45, not \"0\"\n"
       "See plumblane backtest --help.\n"},
      {{"backtest", "--days-ahead", "366"},
       "--days-ahead: expected a whole number from 0 to 365, not \"366\"\n"
       "See plumblane backtest --help.\n"},
      {{"backtest", "--first-days", "0"},
       "--first-days: expected a whole number from 1 to 3650, not \"0\"\n"
       "See plumblane backtest --help.\n"},
      {{"send", "f", "--promise-days", "400"},
       "--promise-days: expected a whole number from 0 to 365, not \"400\"\n"
       "See plumblane send --help.\n"},
      {{"send", "f", "--format", "xml"},
       "--format: expected ndjson or csv, not \"xml\"\nSee plumblane send --help.\n"},
      {{"suppliers", "--lane", "VNDE"},
       "--lane: expected a lane such as VN-DE or VN-DE/express: there is no hyphen between origin "
       "and destination, not \"VNDE\"\n"
       "See plumblane suppliers --help.\n"},
      {{"suppliers", "--tag", "Toys!"},
       "--tag: expected 1 to 32 of a-z, 0-9 and hyphen, not \"Toys!\"\n"
       "See plumblane suppliers --help.\n"},
      {{"suppliers", "--tag", "-"},
       "--tag: expected 1 to 32 of a-z, 0-9 and hyphen, not \"-\"\n"
       "See plumblane suppliers --help.\n"},
      {{"suppliers", "--min-orders", "0"},
       "--min-orders: expected a whole number from 1 to 1000000000, not \"0\"\n"
       "See plumblane suppliers --help.\n"},
      {{"suppliers", "--sort", "late"},
       "--sort: expected name, on-time, defect, orders or under-way, not \"late\"\n"
       "See plumblane suppliers --help.\n"},
      {{"suppliers", "--days", "30"}, "--days goes with --risk only\n"},
      {{"suppliers", "--risk", "--days", "0"},
       "--days: expected a whole number from 1 to 3650, not \"0\"\n"
       "See plumblane suppliers --help.\n"},
      {{"suppliers", "--risk", "--days", "3651"},
       "--days: expected a whole number from 1 to 3650, not \"3651\"\n"
       "See plumblane suppliers --help.\n"},
      {{"lanes", "--sort", "name"}, "unknown option \"--sort\"\nSee plumblane lanes --help.\n"},
      {{"excuse"}, "expected a command\nSee plumblane excuse --help.\n"},
      {{"excuse", "lod", "f"},
       "unknown command \"lod\", did you mean \"load\"?\nSee plumblane excuse --help.\n"},
      {{"excuse", "add", "--reason", "x"}, "expected --lane with --due, or --order\n"},
      {{"excuse", "add", "--lane", "PL-IE", "--reason", "x"},
       "--lane requires --due\nSee plumblane excuse add --help.\n"},
      {{"excuse", "add", "--lane", "PL-IE", "--due", "2026-08-23..2026-08-17", "--reason", "x"},
       "--due: expected the earlier day first, as FROM..TO, not \"2026-08-23..2026-08-17\"\n"
       "See plumblane excuse add --help.\n"},
  };
  for (const auto& [words, mistake] : cases) EXPECT_EQ(MistakeOf(words), mistake);
}

TEST(CliTest, HelpBeginsWithExamples) {
  for (const Words& words :
       {Words{"--help"}, Words{"send", "--help"}, Words{"excuse", "-h"},
        Words{"excuse", "load", "--help"}, Words{"rank", "--help"}, Words{"record", "--help"},
        Words{"lane", "--help"}, Words{"supplier", "--help"}, Words{"suppliers", "--help"},
        Words{"lanes", "--help"}, Words{"excuse", "add", "--help"}, Words{"status", "--help"},
        Words{"backtest", "--help"}}) {
    const Leave leave = std::get<Leave>(ParseCommandLine(words));
    EXPECT_EQ(leave.exit_code, kDone);
    const size_t examples = leave.out.find("Examples:\n  plumblane ");
    EXPECT_LT(examples, leave.out.find("Usage: plumblane")) << words[0];
    std::istringstream lines(leave.out);
    for (std::string line; std::getline(lines, line);) EXPECT_LE(line.size(), 80u) << line;
  }
}

TEST(CliTest, VersionIsPrinted) {
  const Leave leave = std::get<Leave>(ParseCommandLine({"--version"}));
  EXPECT_EQ(leave.exit_code, kDone);
  EXPECT_THAT(leave.out, StartsWith("plumblane "));
}

TEST(ExplainTest, MessagesOfTheDaemonNameTheOption) {
  const grpc::Status status(grpc::StatusCode::INVALID_ARGUMENT, "as_of_time: lies ahead");
  EXPECT_EQ(Explain(status, "h:1"), "--as-of: lies ahead");
  const grpc::Status within(grpc::StatusCode::INVALID_ARGUMENT, "within_days: expected less");
  EXPECT_EQ(Explain(within, "h:1"), "--within: expected less");
  EXPECT_EQ(ExitCodeOf(status), kUsage);
}

TEST(ServerAddressTest, OptionThenEnvironmentThenSockets) {
  const TemporaryFolder folder;
  unsetenv("PLUMBLANE_SERVER");
  setenv("XDG_RUNTIME_DIR", folder.Path("").c_str(), 1);
  EXPECT_EQ(ServerAddress(""), "unix:/run/plumblane/plumblane.sock");
  folder.Write("plumblane.sock", "");
  EXPECT_THAT(ServerAddress(""), HasSubstr("plumblane.sock"));
  EXPECT_NE(ServerAddress(""), "unix:/run/plumblane/plumblane.sock");
  setenv("PLUMBLANE_SERVER", "host:7707", 1);
  EXPECT_EQ(ServerAddress(""), "host:7707");
  EXPECT_EQ(ServerAddress("/tmp/x"), "unix:/tmp/x");
  unsetenv("PLUMBLANE_SERVER");
  unsetenv("XDG_RUNTIME_DIR");
}

}  // namespace
}  // namespace plumblane::client
