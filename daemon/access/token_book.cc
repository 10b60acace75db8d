#include "access/token_book.h"

#include <absl/strings/ascii.h>
#include <absl/strings/str_cat.h>
#include <absl/strings/str_join.h>
#include <toml++/toml.h>

#include <algorithm>
#include <map>

#include "base/ids.h"
#include "base/private_file.h"

namespace plumblane {
namespace {

constexpr size_t kMaxName = 64;

// A mistake on the way out; caught in Read.
struct Mistake {
  toml::source_region at;
  std::string what;
};

[[noreturn]] void Fail(const toml::node& node, std::string what) {
  throw Mistake{node.source(), std::move(what)};
}

std::string TextOf(const toml::node& node, const std::string& key) {
  const auto text = node.value_exact<std::string>();
  if (!text) Fail(node, key + ": expected a text in quotes");
  return *text;
}

std::vector<std::string> TextsOf(const toml::node& node, const std::string& key) {
  const toml::array* list = node.as_array();
  if (list == nullptr || list->empty() || !list->is_homogeneous<std::string>()) {
    Fail(node, key + ": expected a list of texts, at least one");
  }
  std::vector<std::string> texts;
  for (const toml::node& item : *list) texts.push_back(*item.value<std::string>());
  return texts;
}

Roles RolesOf(const toml::node& node) {
  static const std::map<std::string, Role> kRoles = {{"sender", Role::kSender},
                                                     {"reader", Role::kReader},
                                                     {"buyer", Role::kBuyer},
                                                     {"operator", Role::kOperator}};
  Roles roles = 0;
  for (const std::string& word : TextsOf(node, "roles")) {
    const auto role = kRoles.find(word);
    if (role == kRoles.end()) Fail(node, "roles: expected sender, reader, buyer or operator");
    roles = roles | role->second;
  }
  return roles;
}

std::set<std::string> IdsOf(const toml::node& node, const std::string& key) {
  std::set<std::string> ids;
  for (const std::string& id : TextsOf(node, key)) {
    if (const absl::Status status = CheckId(id); !status.ok()) {
      Fail(node, absl::StrCat(key, ": ", std::string(status.message())));
    }
    ids.insert(id);
  }
  return ids;
}

Instant MomentOf(const toml::node& node) {
  toml::date date{};
  toml::time time{};
  int64_t offset_minutes = 0;
  if (const auto* day = node.as_date()) {
    date = day->get();
  } else if (const auto* moment = node.as_date_time(); moment && moment->get().offset) {
    date = moment->get().date;
    time = moment->get().time;
    offset_minutes = moment->get().offset->minutes;
  } else {
    Fail(node, "expires: expected a date (2027-01-01), or a time with its offset from UTC");
  }
  const int64_t days =
      std::chrono::sys_days(std::chrono::year_month_day(std::chrono::year(date.year),
                                                        std::chrono::month(date.month),
                                                        std::chrono::day(date.day)))
          .time_since_epoch()
          .count();
  const int64_t seconds =
      time.hour * 3600 + (time.minute - offset_minutes) * 60 + static_cast<int64_t>(time.second);
  return {(days * 86'400 + seconds) * kMillisPerSecond};
}

Principal ReadPrincipal(const toml::table& table) {
  Principal principal;
  for (const auto& [key, node] : table) {
    if (key == "name") {
      principal.name = TextOf(node, "name");
    } else if (key == "hash") {
      if (!ReadHash(TextOf(node, "hash"), &principal.token)) {
        Fail(node, "hash: expected \"sha256:\" and 64 hexadecimal digits");
      }
    } else if (key == "roles") {
      principal.roles = RolesOf(node);
    } else if (key == "sources") {
      principal.sources = IdsOf(node, "sources");
    } else if (key == "suppliers") {
      principal.suppliers = IdsOf(node, "suppliers");
    } else if (key == "expires") {
      principal.expires = MomentOf(node);
    } else {
      Fail(node, absl::StrCat("unknown key ", std::string(key.str()),
                              "; expected name, hash, roles, sources, suppliers or expires"));
    }
  }
  return principal;
}

void Check(const toml::table& table, const Principal& principal) {
  // It goes into logs and answers as it is.
  const bool is_plain = std::all_of(principal.name.begin(), principal.name.end(), [](char c) {
    return absl::ascii_isprint(static_cast<unsigned char>(c));
  });
  if (principal.name.empty() || principal.name.size() > kMaxName || !is_plain ||
      principal.name == kLocalName) {
    Fail(table, absl::StrCat("name: expected 1 to ", kMaxName,
                             " printable ASCII characters, not \"", kLocalName, "\""));
  }
  if (!table.contains("hash")) Fail(table, "hash is missing");
  if (principal.roles == 0) Fail(table, "roles is missing");
  // A bound token is for one thing: every other call would tell, or change, more than it names.
  if (!principal.sources.empty() && principal.roles != static_cast<Roles>(Role::kSender)) {
    Fail(table, "sources: goes with roles = [\"sender\"] alone");
  }
  if (!principal.suppliers.empty() && principal.roles != static_cast<Roles>(Role::kReader)) {
    Fail(table, "suppliers: goes with roles = [\"reader\"] alone");
  }
}

std::set<std::string> ReadRefused(const toml::node& node) {
  const toml::table* table = node.as_table();
  if (table == nullptr) Fail(node, "certificates: expected [certificates]");
  std::set<std::string> refused;
  for (const auto& [key, list] : *table) {
    if (key != "refused") Fail(list, "unknown key; expected refused");
    for (std::string fingerprint : TextsOf(list, "refused")) {
      std::erase(fingerprint, ':');
      std::transform(fingerprint.begin(), fingerprint.end(), fingerprint.begin(), [](char c) {
        return c >= 'A' && c <= 'F' ? static_cast<char>(c - 'A' + 'a') : c;
      });
      TokenHash ignored;
      if (!ReadHash("sha256:" + fingerprint, &ignored)) {
        Fail(list, "refused: expected SHA-256 fingerprints, 64 hexadecimal digits each");
      }
      refused.insert(fingerprint);
    }
  }
  return refused;
}

}  // namespace

absl::StatusOr<TokenBook> TokenBook::Read(const std::string& path, std::string_view text) {
  const auto wrong = [&path](const toml::source_region& at, std::string_view what) {
    return absl::InvalidArgumentError(absl::StrCat(path, ", line ", int64_t{at.begin.line}, ": ",
                                                   absl::string_view(what.data(), what.size())));
  };
  TokenBook book;
  std::set<std::string> names;
  try {
    const toml::table top = toml::parse(text);
    for (const auto& [key, node] : top) {
      if (key == "certificates") {
        book.refused_ = ReadRefused(node);
        continue;
      }
      const toml::array* tokens = node.as_array();
      if (key != "token" || tokens == nullptr || !tokens->is_array_of_tables()) {
        Fail(node, "expected [[token]] or [certificates]");
      }
      if (tokens->size() > kMaxTokens) {
        Fail(node, absl::StrCat("expected at most ", kMaxTokens, " tokens"));
      }
      for (const toml::node& item : *tokens) {
        Principal principal = ReadPrincipal(*item.as_table());
        Check(*item.as_table(), principal);
        if (!names.insert(principal.name).second) Fail(item, "name: stands here twice");
        book.tokens_.push_back(std::make_shared<Principal>(std::move(principal)));
      }
    }
  } catch (const toml::parse_error& error) {
    return wrong(error.source(), error.description());
  } catch (const Mistake& mistake) {
    return wrong(mistake.at, mistake.what);
  }
  return book;
}

absl::StatusOr<TokenBook> TokenBook::ReadFile(const std::string& path) {
  const auto text = ReadPrivateFile(path, Barred::kChanging);
  return text.ok() ? Read(path, *text) : text.status();
}

std::shared_ptr<const Principal> TokenBook::Find(std::string_view token, Instant now) const {
  const TokenHash hash = HashOf(token);
  std::shared_ptr<const Principal> found;
  for (const auto& one : tokens_) {
    if (IsSame(one->token, hash)) found = one;
  }
  const bool has_expired = found && found->expires && *found->expires <= now;
  return has_expired ? nullptr : found;
}

bool TokenBook::Knows(const Principal& principal, Instant now) const {
  if (principal.expires && *principal.expires <= now) return false;
  return std::any_of(tokens_.begin(), tokens_.end(), [&principal](const auto& one) {
    return one.get() == &principal || *one == principal;
  });
}

std::string DescribeToken(const std::string& name, std::string_view token) {
  std::string quoted;
  for (const char c : name) {
    if (c == '"' || c == '\\') quoted += '\\';
    quoted += c;
  }
  return absl::StrCat("[[token]]\nname = \"", quoted, "\"\nhash = \"", WriteHash(HashOf(token)),
                      "\"\nroles = [\"reader\"]  # sender, reader, buyer, operator\n");
}

}  // namespace plumblane
