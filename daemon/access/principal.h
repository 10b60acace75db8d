// Who calls, and what they may do.
#pragma once

#include <cstdint>
#include <optional>
#include <set>
#include <string>

#include "access/secret.h"
#include "base/time.h"

namespace plumblane {

enum class Role : uint8_t {
  kSender = 1,    // feeds events
  kReader = 2,    // asks
  kBuyer = 4,     // asks, gives orders to suppliers, pauses them, answers alerts
  kOperator = 8,  // all of it, and what changes figures and agreements
};

// A set of roles.
using Roles = uint8_t;
constexpr Roles operator|(Role a, Role b) {
  return static_cast<Roles>(static_cast<Roles>(a) | static_cast<Roles>(b));
}
constexpr Roles operator|(Roles a, Role b) { return static_cast<Roles>(a | static_cast<Roles>(b)); }
constexpr Roles kAllRoles = Role::kSender | Role::kReader | Role::kBuyer | Role::kOperator;

struct Principal {
  std::string name;
  TokenHash token{};  // the hash of what it came with
  Roles roles = 0;
  // Not empty: events and news of these sources only, and its only role is sender.
  std::set<std::string> sources;
  // Not empty: what can be asked of these suppliers alone, and its only role is reader.
  std::set<std::string> suppliers;
  std::optional<Instant> expires;  // absent = never

  friend bool operator==(const Principal&, const Principal&) = default;
};

// Who comes without a token where none is asked for.
inline const char kLocalName[] = "local";

}  // namespace plumblane
