#include "client/settings.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_join.h>
#include <toml++/toml.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <map>

#include "client/option_values.h"
#include "client/text.h"

namespace plumblane::client {
namespace {

std::string Environment(const char* name) {
  const char* value = std::getenv(name);
  return value == nullptr ? "" : value;
}

class Reader {
 public:
  explicit Reader(const std::string& path) : path_(path) {}

  absl::StatusOr<Settings> Read(const toml::table& top) {
    for (const auto& [key, node] : top) {
      if (key == "server") {
        Take(key, node, ParseText, settings_.server);
      } else if (key == "plain" && node.is_boolean()) {
        settings_.plain = node.value_or(false);
      } else if (key == "plain") {
        Refuse(key, "expected true or false");
      } else if (key == "token_file") {
        Take(key, node, ParseText, settings_.access.token);
      } else if (key == "send" && node.is_table()) {
        ReadSend(*node.as_table());
      } else if (key == "tls" && node.is_table()) {
        ReadTls(*node.as_table());
      } else {
        Refuse(key, "expected server, plain, token_file, [tls] or [send]");
      }
    }
    if (wrong_.empty()) return settings_;
    return absl::InvalidArgumentError(
        absl::StrJoin(wrong_, "\n", [this](std::string* out, const auto& one) {
          absl::StrAppend(out, path_, ":", int64_t{one.first}, ": ", one.second);
        }));
  }

 private:
  void ReadTls(const toml::table& tls) {
    for (const auto& [key, node] : tls) {
      if (key == "ca") {
        Take(key, node, ParseText, settings_.access.ca);
      } else if (key == "certificate") {
        Take(key, node, ParseText, settings_.access.certificate);
      } else if (key == "key") {
        Take(key, node, ParseText, settings_.access.key);
      } else {
        Refuse(key, "expected ca, certificate or key");
      }
    }
  }

  void ReadSend(const toml::table& send) {
    for (const auto& [key, node] : send) {
      if (key == "shop") {
        Take(key, node, ParseId, settings_.shop);
      } else if (key == "source") {
        Take(key, node, ParseId, settings_.source);
      } else if (key == "time_zone") {
        Take(key, node, ParseText, settings_.time_zone);
      } else {
        Refuse(key, "expected shop, source or time_zone");
      }
    }
  }

  template <typename Parse>
  void Take(const toml::key& key, const toml::node& node, Parse parse, std::string& to) {
    const auto text = node.value_exact<std::string>();
    if (!text) return Refuse(key, "expected a text in quotes");
    const absl::StatusOr<std::string> value = parse(*text);
    if (!value.ok()) return Refuse(key, value.status().message());
    to = *value;
  }

  void Refuse(const toml::key& key, absl::string_view expected) {
    wrong_.emplace(key.source().begin.line, absl::StrCat(std::string(key.str()), ": ", expected));
  }

  const std::string& path_;
  Settings settings_;
  std::multimap<toml::source_index, std::string> wrong_;  // by line
};

}  // namespace

std::string SettingsPath() {
  if (std::string given = Environment("PLUMBLANE_SETTINGS"); !given.empty()) return given;
  std::string folder = Environment("XDG_CONFIG_HOME");
  if (!folder.starts_with('/')) {
    const std::string home = Environment("HOME");
    if (home.empty()) return "";
    folder = home + "/.config";
  }
  return folder + "/plumblane/client.toml";
}

absl::StatusOr<Settings> ReadSettings(const std::string& path, bool must_exist) {
  std::ifstream file(path);
  if (!file) {
    std::error_code ignored;
    if (!must_exist && !std::filesystem::exists(path, ignored)) return Settings();
    return absl::NotFoundError(absl::StrCat(path, ": cannot read the settings"));
  }
  try {
    return Reader(path).Read(toml::parse(file, path));
  } catch (const toml::parse_error& error) {
    return absl::InvalidArgumentError(absl::StrCat(path, ":",
                                                   static_cast<int64_t>(error.source().begin.line),
                                                   ": ", std::string(error.description())));
  }
}

}  // namespace plumblane::client
