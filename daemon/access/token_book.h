// Who is let in: the tokens and what their bearers may do, from a file.
//
// TOML, a table a token; how to make one: plumblaned --new-token NAME.
//
//   [[token]]
//   name = "harbour feed"          # in logs and in the audit; unique
//   hash = "sha256:..."            # of the token; the token itself is nowhere
//   roles = ["sender"]             # sender, reader, buyer, operator
//   sources = ["harbour"]          # optional: sends events of these sources only
//   expires = 2027-01-01           # optional: a date, which is its start, UTC
//   [[token]]
//   suppliers = ["lotus-works"]    # optional, with roles = ["reader"]: sees these suppliers only
//   ...
//   [certificates]
//   refused = ["9f86d0..."]        # SHA-256 of client certificates that count no longer
#pragma once

#include <absl/status/statusor.h>

#include <memory>
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "access/principal.h"
#include "access/secret.h"

namespace plumblane {

inline constexpr size_t kMaxTokens = 1000;

// Never changes; thread-safe.
class TokenBook {
 public:
  // Errors name `path`, the line and what was expected, and show nothing of a hash.
  static absl::StatusOr<TokenBook> Read(const std::string& path, std::string_view text);
  // As above. Also: not readable, or writable by others than its owner.
  static absl::StatusOr<TokenBook> ReadFile(const std::string& path);

  // Whose token it is; null = nobody's, or one that has expired by `now`. Looks at all of them,
  // whichever it is.
  std::shared_ptr<const Principal> Find(std::string_view token, Instant now) const;

  // Whether a caller let in earlier still is: with the same token and the same rights.
  bool Knows(const Principal& principal, Instant now) const;

  bool RefusesSome() const { return !refused_.empty(); }
  bool Refuses(const std::string& fingerprint) const { return refused_.contains(fingerprint); }

  size_t size() const { return tokens_.size(); }

 private:
  std::vector<std::shared_ptr<const Principal>> tokens_;
  std::set<std::string> refused_;  // fingerprints
};

// What to add to the file for a new token.
std::string DescribeToken(const std::string& name, std::string_view token);

}  // namespace plumblane
