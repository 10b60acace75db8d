// What the shell is told of the program: the option tree, completions, the manual, settings.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <fstream>

#include "client/cli.h"
#include "client/completions.h"
#include "client/manual.h"
#include "client/settings.h"
#include "support/temp_directory.h"

namespace plumblane::client {
namespace {

using ::testing::AllOf;
using ::testing::Contains;
using ::testing::HasSubstr;
using ::testing::Not;

const Command& Named(const Command& root, const std::string& path) {
  const std::vector<const Command*> all = AllCommands(root);
  const auto found =
      std::find_if(all.begin(), all.end(), [&](const Command* one) { return one->path == path; });
  EXPECT_NE(found, all.end()) << path;
  return **found;
}

const CommandOption& OptionOf(const Command& command, const std::string& name) {
  const auto found = std::find_if(
      command.options.begin(), command.options.end(), [&](const CommandOption& option) {
        return std::find(option.names.begin(), option.names.end(), name) != option.names.end();
      });
  EXPECT_NE(found, command.options.end()) << command.path << " " << name;
  return *found;
}

TEST(CommandTree, HoldsCommandsOfCommandsWithTheirOptionsAndWords) {
  const Command root = DescribeCommands();
  EXPECT_EQ(Named(root, "alerts watch").help.empty(), false);
  EXPECT_TRUE(OptionOf(root, "--json").value_name.empty());
  EXPECT_TRUE(OptionOf(root, "--help").value_name.empty());
  EXPECT_EQ(OptionOf(root, "--server").value_name, "ADDRESS");
  EXPECT_TRUE(OptionOf(Named(root, "send"), "FILE").TakesFile());
  EXPECT_TRUE(OptionOf(Named(root, "assign"), "--file").TakesFile());
  EXPECT_FALSE(OptionOf(Named(root, "supplier"), "SUPPLIER").TakesFile());
  EXPECT_TRUE(OptionOf(Named(root, "supplier"), "SUPPLIER").IsWord());
}

// A small program, so that each script can be read here in full where it matters.
Command Small() {
  const CommandOption help{{"-h", "--help"}, "", "Print this"};
  const CommandOption to{{"-o"}, "FILE", "Where it's to go"}, days{{"--days"}, "N", "How many"};
  return {"",
          "A program",
          {help},
          {{"send", "Feed: events", {{{"FILE"}, "", ""}, help}, {}},
           {"alerts", "What is bad", {days}, {{"alerts watch", "As it happens", {to}, {}}}}}};
}

TEST(Completions, OfBashOfferWhatMayComeAtEachPlace) {
  const std::string script = Completions(Small(), Shell::kBash);
  EXPECT_THAT(script, HasSubstr("' send'|' alerts'|' alerts watch') at="));
  EXPECT_THAT(script,
              HasSubstr("'') words='send alerts'; [[ $word == -* ]] && words='-h --help' "));
  EXPECT_THAT(script, HasSubstr("'alerts') words='watch'; [[ $word == -* ]] && "
                                "words='--days -h --help' ;;"));
  EXPECT_THAT(script, HasSubstr("'send') words=''; [[ $word == -* ]] && words='-h --help -h "
                                "--help'; files=1 ;;"));
  EXPECT_THAT(script, HasSubstr("'alerts watch -o') compopt"));
  EXPECT_THAT(script, HasSubstr("'alerts --days') return"));
}

TEST(Completions, OfZshAndFishQuoteWhatHelpSays) {
  const std::string zsh = Completions(Small(), Shell::kZsh);
  EXPECT_THAT(zsh, HasSubstr("commands=('send:Feed: events' 'alerts:What is bad')"));
  EXPECT_THAT(zsh, HasSubstr(R"('-o:Where it'\''s to go')"));
  const std::string fish = Completions(Small(), Shell::kFish);
  EXPECT_THAT(fish, HasSubstr("complete -c plumblane -n '__plumblane_at \"alerts\"' -a watch -d "
                              "'As it happens'\n"));
  EXPECT_THAT(fish, HasSubstr("'__plumblane_at \"alerts watch\"' -s o -r -F -d "));
  EXPECT_THAT(fish, HasSubstr("'__plumblane_at \"alerts\"' -l days -x -d 'How many'\n"));
  EXPECT_THAT(fish, HasSubstr("complete -c plumblane -s h -l help -d "));
}

TEST(Manual, TellsEveryCommandWithItsHelpAndExamplesAndHidesNothingFromRoff) {
  const Command root = DescribeCommands();
  const std::string page = ManualPage(root, "1.2");
  EXPECT_THAT(page, HasSubstr("\"plumblane 1.2\""));
  for (const Command* command : AllCommands(root)) {
    if (command->path.empty()) continue;
    EXPECT_THAT(page, HasSubstr("\n.SS plumblane " + command->path + "\n"));
    EXPECT_FALSE(command->help.empty()) << command->path;
  }
  const std::string dots = ManualPage({"", "x", {}, {{"a", ".sh 'it\\", {}, {}}}}, "1");
  EXPECT_THAT(dots, AllOf(HasSubstr("\n\\&.sh \\(aqit\\e.\n"), Not(HasSubstr("\n.sh"))));
}

class SettingsTest : public ::testing::Test {
 protected:
  std::string Path() { return folder_ / "client.toml"; }
  absl::StatusOr<Settings> Read(const std::string& text) {
    std::ofstream(Path()) << text;
    return ReadSettings(Path(), true);
  }
  test::TempDirectory folder_;
};

TEST_F(SettingsTest, AreRead) {
  const auto settings = Read(
      "server = \"unix:/s\"\nplain = true\n[send]\nshop = \"harbour\"\n"
      "source = \"till\"\ntime_zone = \"Europe/Dublin\"\n");
  ASSERT_TRUE(settings.ok()) << settings.status();
  EXPECT_EQ(settings->server, "unix:/s");
  EXPECT_TRUE(settings->plain);
  EXPECT_EQ(settings->shop, "harbour");
  EXPECT_EQ(settings->source, "till");
  EXPECT_EQ(settings->time_zone, "Europe/Dublin");
}

TEST_F(SettingsTest, ThatAreNotThereAreEmptyUnlessTheyWereNamed) {
  EXPECT_TRUE(ReadSettings(Path(), false).ok());
  EXPECT_THAT(ReadSettings(Path(), true).status().message(), HasSubstr("client.toml: cannot read"));
}

TEST_F(SettingsTest, SayWithLineAndKeyAllThatIsWrong) {
  const std::pair<const char*, const char*> cases[] = {
      {"server = 1", ":1: server: expected a text in quotes"},
      {"\nplain = \"yes\"", ":2: plain: expected true or false"},
      {"sever = \"x\"", ":1: sever: expected server, plain, token_file, [tls] or [send]"},
      {"send = 1", ":1: send: expected server, plain, token_file, [tls] or [send]"},
      {"[send]\nshop = \"a/b\"", ":2: shop: expected"},
      {"[send]\nfile = \"a\"", ":2: file: expected shop, source or time_zone"},
      {"server = ", ":1: "},
  };
  for (const auto& [text, expected] : cases) {
    const auto settings = Read(text);
    ASSERT_FALSE(settings.ok()) << text;
    EXPECT_THAT(settings.status().message(), HasSubstr(Path() + expected)) << text;
  }
  EXPECT_THAT(Read("server = 1\nplain = 2\n").status().message(),
              AllOf(HasSubstr(":1: server"), HasSubstr("\n" + Path() + ":2: plain")));
}

TEST(Cli, TakesFromTheSettingsWhatTheLineLeavesOpen) {
  Settings settings;
  settings.plain = true;
  settings.shop = "harbour";
  settings.source = "till";
  settings.time_zone = "Europe/Dublin";
  const auto parsed = ParseCommandLine({"send", "--source", "post", "x.csv"}, settings);
  const auto& invocation = std::get<Invocation>(parsed);
  EXPECT_TRUE(invocation.plain);
  EXPECT_EQ(invocation.send.shop, "harbour");
  EXPECT_EQ(invocation.send.source, "post");
  EXPECT_EQ(invocation.send.time_zone, "Europe/Dublin");
}

}  // namespace
}  // namespace plumblane::client
