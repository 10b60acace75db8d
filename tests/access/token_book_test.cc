#include "access/token_book.h"

#include <gmock/gmock.h>
#include <sys/stat.h>

#include <fstream>
#include <set>

#include "access/moment.h"
#include "support/temp_directory.h"

namespace plumblane::test {
namespace {

using ::testing::HasSubstr;
using ::testing::Not;

const Instant kNow = At("2026-06-01T12:00");

std::string Hash(const std::string& token) { return WriteHash(HashOf(token)); }

// FIPS 180-2, appendix B.1: SHA-256 of "abc".
TEST(SecretTest, TheHashIsSha256) {
  EXPECT_EQ(Hash("abc"), "sha256:ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
}

TEST(SecretTest, TokensDifferAndHave256Bits) {
  std::set<std::string> tokens;
  for (int i = 0; i < 100; ++i) tokens.insert(NewToken());
  EXPECT_EQ(tokens.size(), 100u);
  EXPECT_EQ(tokens.begin()->size(), std::string("plumblane-").size() + 64);
}

TEST(TokenBookTest, WhatNewTokenPrintsIsRead) {
  const std::string token = NewToken();
  const auto book = TokenBook::Read("tokens", DescribeToken("a \"b\" \\c", token));
  ASSERT_TRUE(book.ok()) << book.status();
  ASSERT_NE(book->Find(token, kNow), nullptr);
  EXPECT_EQ(book->Find(token, kNow)->name, "a \"b\" \\c");
  EXPECT_EQ(book->Find(token + "0", kNow), nullptr);
  EXPECT_EQ(book->Find("", kNow), nullptr);
}

TEST(TokenBookTest, ExpiryIsTheStartOfADateOrAMoment) {
  const auto book = TokenBook::Read(
      "tokens", "[[token]]\nname = \"a\"\nroles = [\"reader\"]\nexpires = 2026-07-01\nhash = \"" +
                    Hash("a") +
                    "\"\n[[token]]\nname = \"b\"\nroles = [\"reader\"]\n"
                    "expires = 2026-07-01T02:00:00+02:00\nhash = \"" +
                    Hash("b") + "\"\n");
  ASSERT_TRUE(book.ok()) << book.status();
  for (const char* token : {"a", "b"}) {
    EXPECT_NE(book->Find(token, At("2026-07-01T00:00") - 1), nullptr) << token;
    EXPECT_EQ(book->Find(token, At("2026-07-01T00:00")), nullptr) << token;
  }
}

TEST(TokenBookTest, MistakesAreNamedWithLineAndKeyAndShowNoHash) {
  const std::string start = "[[token]]\nname = \"a\"\nhash = \"" + Hash("a") + "\"\n";
  const std::string reader = start + "roles = [\"reader\"]\n";
  const struct {
    std::string text, expected;
  } cases[] = {
      {"[[token]\n", "line 1"},
      {"tokens = 3\n", "line 1: expected [[token]]"},
      {start, "roles is missing"},
      {start + "roles = [\"admin\"]\n",
       "line 4: roles: expected sender, reader, buyer or operator"},
      {start + "roles = []\n", "line 4: roles: expected a list"},
      {"[[token]]\nname = \"a\"\nroles = [\"reader\"]\n", "hash is missing"},
      {"[[token]]\nhash = \"" + Hash("a") + "\"\nroles = [\"reader\"]\n", "name: expected"},
      {"[[token]]\nname = \"local\"\nhash = \"" + Hash("a") + "\"\nroles = [\"reader\"]\n",
       "not \"local\""},
      {"[[token]]\nhash = \"sha256:12\"\n", "line 2: hash: expected"},
      {reader + "role = 3\n", "line 5: unknown key role"},
      {reader + "expires = \"soon\"\n", "line 5: expires: expected a date"},
      {reader + "expires = 2026-07-01T00:00:00\n", "line 5: expires: expected a date"},
      {reader + "sources = [\"a\"]\n", "sources: goes with roles = [\"sender\"] alone"},
      {start + "roles = [\"reader\", \"buyer\"]\nsuppliers = [\"a\"]\n", "suppliers: goes with"},
      {reader + "suppliers = [\"\"]\n", "line 5: suppliers:"},
      {reader + reader, "name: stands here twice"},
      {"[certificates]\nrefused = [\"12\"]\n", "line 2: refused: expected"},
      {"[certificates]\nallowed = [\"12\"]\n", "line 2: unknown key"},
  };
  for (const auto& [text, expected] : cases) {
    const auto book = TokenBook::Read("tokens", text);
    ASSERT_FALSE(book.ok()) << text;
    EXPECT_THAT(std::string(book.status().message()), HasSubstr(expected)) << text;
    EXPECT_THAT(std::string(book.status().message()), Not(HasSubstr(Hash("a").substr(8, 20))));
  }
  EXPECT_TRUE(TokenBook::Read("tokens", reader).ok());  // the control
}

TEST(TokenBookTest, RefusedCertificatesAreReadInEitherForm) {
  std::string colons;
  for (int i = 0; i < 32; ++i) colons += i == 0 ? "AB" : ":AB";
  const auto book = TokenBook::Read("tokens", "[certificates]\nrefused = [\"" + colons + "\"]\n");
  ASSERT_TRUE(book.ok()) << book.status();
  std::string plain;
  for (int i = 0; i < 32; ++i) plain += "ab";
  EXPECT_TRUE(book->RefusesSome());
  EXPECT_TRUE(book->Refuses(plain));
  EXPECT_FALSE(book->Refuses(""));
}

TEST(TokenBookTest, AFileThatOthersCanChangeIsRefused) {
  const TempDirectory folder;
  const std::string path = folder / "tokens";
  std::ofstream(path) << DescribeToken("a", "a");
  chmod(path.c_str(), 0644);
  EXPECT_TRUE(TokenBook::ReadFile(path).ok());
  chmod(path.c_str(), 0664);
  EXPECT_THAT(std::string(TokenBook::ReadFile(path).status().message()),
              HasSubstr("can be changed by others"));
  EXPECT_FALSE(TokenBook::ReadFile(folder / "none").ok());
}

}  // namespace
}  // namespace plumblane::test
