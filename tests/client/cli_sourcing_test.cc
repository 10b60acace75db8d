// The command line of rank, assign, all that is agreed, and what is to be chased: cli_sourcing.cc,
// cli_chase.cc.

#include <gmock/gmock.h>

#include <iomanip>
#include <set>
#include <sstream>

#include "client/cli.h"

namespace plumblane::client {
namespace {

using testing::HasSubstr;

using Words = std::vector<std::string>;

const Words kCommands[] = {{"rank", "--to", "DE"},
                           {"assign", "1", "--to", "DE"},
                           {"assignments"},
                           {"quotes", "load", "f"},
                           {"quotes", "list"},
                           {"terms", "load", "f"},
                           {"terms", "list"},
                           {"pause", "a", "--reason", "x"},
                           {"resume", "a"},
                           {"rates", "load", "f"},
                           {"rates", "list"},
                           {"items", "load", "f"},
                           {"items", "list"},
                           {"costs", "load", "f"},
                           {"costs", "show"},
                           {"costs", "propose"},
                           {"underway"},
                           {"claims"},
                           {"alerts"},
                           {"alerts", "acknowledge", "a"},
                           {"alerts", "shelve", "a", "--until", "2026-12-01"},
                           {"alerts", "accept", "a"},
                           {"alerts", "watch"},
                           {"alerts", "watches"}};

std::string MistakeOf(const Words& words) {
  const auto parsed = ParseCommandLine(words);
  const auto* leave = std::get_if<Leave>(&parsed);
  if (leave == nullptr) return "none";
  EXPECT_EQ(leave->exit_code, kUsage);
  return leave->err.substr(0, leave->err.find('\n'));
}

TEST(CliSourcingTest, EveryCommandIsItsOwn) {
  std::set<Verb> verbs;
  for (const Words& words : kCommands) {
    const auto parsed = ParseCommandLine(words);
    ASSERT_TRUE(std::holds_alternative<Invocation>(parsed)) << words[0];
    verbs.insert(std::get<Invocation>(parsed).verb);
  }
  EXPECT_EQ(verbs.size(), std::size(kCommands));
}

// The words of the examples in a help page, as a shell would part them, up to a pipe or a file.
std::vector<Words> ExamplesIn(std::string help) {
  const size_t begin = help.find("Examples:\n");
  help = help.substr(begin, help.find("\nUsage: ") - begin);
  for (size_t at; (at = help.find("\\\n")) != std::string::npos;) help.erase(at, 2);
  std::vector<Words> examples;
  std::istringstream lines(help);
  for (std::string line; std::getline(lines, line);) {
    if (!line.starts_with("  plumblane ")) continue;
    std::istringstream read(line);
    Words words;
    for (std::string word; read >> std::quoted(word) && word != "|" && word != ">";) {
      words.push_back(word);
    }
    examples.emplace_back(words.begin() + 1, words.end());
  }
  return examples;
}

TEST(CliSourcingTest, HelpBeginsWithExamplesThatParse) {
  size_t count = 0;
  std::vector<Words> pages = {{"quotes"}, {"terms"}, {"rates"}, {"items"}, {"costs"}};
  pages.insert(pages.end(), std::begin(kCommands), std::end(kCommands));
  for (Words words : pages) {
    words.push_back("--help");
    const Leave leave = std::get<Leave>(ParseCommandLine(words));
    EXPECT_EQ(leave.exit_code, kDone);
    const size_t examples = leave.out.find("Examples:\n  plumblane ");
    EXPECT_LT(examples, leave.out.find("Usage: plumblane")) << words[0];
    std::istringstream lines(leave.out);
    for (std::string line; std::getline(lines, line);) EXPECT_LE(line.size(), 80u) << line;
    for (const Words& example : ExamplesIn(leave.out)) {
      EXPECT_EQ(MistakeOf(example), "none") << testing::PrintToString(example);
      ++count;
    }
  }
  EXPECT_GE(count, 2 * std::size(kCommands));
}

TEST(CliSourcingTest, MistakesSayWhatWasExpected) {
  const std::pair<Words, std::string> cases[] = {
      {{"rank", "--to", "DE", "--sale", "39.90"}, "--sale and --currency go together"},
      {{"rank", "--to", "DE", "--sale", "x", "--currency", "EUR"},
       "--sale: expected a plain amount in EUR with at most 2 decimals, such as 13.75, not \"x\""},
      {{"rank", "--to", "DE", "--currency", "EURO"},
       "--currency: expected a currency of ISO 4217, such as EUR, not \"EURO\""},
      {{"rank", "--to", "DE", "--units", "0"},
       "--units: expected a whole number from 1 to 1000000, not \"0\""},
      {{"assign"}, "expected either ORDER or --file"},
      {{"assign", "1", "--file", "f"}, "expected either ORDER or --file"},
      {{"assign", "1"}, "--to is required"},
      {{"assign", "1", "--to", "DE", "--supplier", "a"},
       "--supplier is a choice of your own: say why with --reason"},
      {{"assign", "1", "--to", "DE", "--reason", "x"}, "--reason goes with --supplier"},
      {{"assign", "1", "--to", "DE", "-o", "f"}, "--output goes with --file only"},
      {{"assign", "--file", "f", "--instead-of", "a"},
       "--supplier, --reason and --instead-of go with one order, not with --file"},
      {{"assign", "--file", "f", "--to", "DE"},
       "with --file the orders say themselves where they go and what they are"},
      {{"assignments", "--since", "2026-09-02", "--until", "2026-09-01"},
       "--until: expected a day not before --since"},
      {{"assignments", "--since", "yesterday"},
       "--since: expected a date, such as 2026-03-05, not \"yesterday\""},
      {{"assign", "1", "--to", "DE", "--as-of", "2026-09-01"},
       "--as-of goes with suppliers, supplier, lanes, lane, rank, backtest, review and export "
       "scores only"},
      {{"pause", "a"}, "--reason is required"},
      {{"pause", "a", "--reason", "x", "--until", "soon"},
       "--until: expected a date, such as 2026-03-05, not \"soon\""},
      {{"underway", "late"}, "one word too many: \"late\""},
      {{"claims", "a"}, "one word too many: \"a\""},
      {{"underway", "--as-of", "2026-09-01"},
       "--as-of goes with suppliers, supplier, lanes, lane, rank, backtest, review and export "
       "scores only"},
      {{"alerts", "shelve", "a"}, "--until is required"},
      {{"alerts", "acknowledge"}, "ID is required"},
      {{"alerts", "wach"}, "unknown command \"wach\", did you mean \"watch\"?"},
      {{"alerts", "watch", "--after", "x"},
       "--after: expected the number that a notice began with, not \"x\""},
      {{"alerts", "--all", "watches"}, "--all, --supplier and --lane go with alerts alone"},
      {{"alerts", "accept", "a", "--lane", "VN-DE"},
       "--all, --supplier and --lane go with alerts alone"},
      {{"quotes"}, "expected a command"},
      {{"quotes", "laod", "f"}, "unknown command \"laod\", did you mean \"load\"?"},
      {{"costs", "load"}, "FILE is required"},
      {{"terms", "list", "a"}, "one word too many: \"a\""}};
  for (const auto& [words, mistake] : cases) EXPECT_EQ(MistakeOf(words), mistake);
  EXPECT_EQ(MistakeOf({"review", "2026Q3", "--json", "-o", "q3.html"}),
            "--json prints the review; name a file that ends in .json to keep it");
}

}  // namespace
}  // namespace plumblane::client
