// Kinds of keys of the settings file. Private to app/.
#pragma once

#include <absl/strings/str_cat.h>
#include <toml++/toml.h>

#include <functional>
#include <map>
#include <string>
#include <vector>

#include "app/access_settings.h"
#include "app/cluster_settings.h"
#include "app/delivery_settings.h"

namespace plumblane {

// What a key takes and where it goes; `set` is false when the value is not of that kind or range.
struct Key {
  std::string expected;
  std::function<bool(const toml::node&)> set;
};

// A text for which `fits`.
inline Key Text(
    std::string& to, const std::string& expected = "text",
    const std::function<bool(const std::string&)>& fits = [](const auto&) { return true; }) {
  return {expected, [&to, fits](const toml::node& node) {
            const auto value = node.value_exact<std::string>();
            if (!value || !fits(*value)) return false;
            to = *value;
            return true;
          }};
}

inline Key Texts(
    std::vector<std::string>& to, const std::string& expected,
    const std::function<bool(const std::string&)>& fits = [](const auto&) { return true; }) {
  return {expected, [&to, fits](const toml::node& node) {
            const toml::array* list = node.as_array();
            if (list == nullptr || !list->is_homogeneous<std::string>()) return false;
            std::vector<std::string> texts;
            for (const toml::node& item : *list) {
              texts.push_back(*item.value<std::string>());
              if (!fits(texts.back())) return false;
            }
            to = std::move(texts);
            return true;
          }};
}

template <typename Number>
Key Whole(Number& to, int64_t least, int64_t most, int64_t scale = 1) {
  return {absl::StrCat("a whole number from ", least, " to ", most),
          [&to, least, most, scale](const toml::node& node) {
            const auto value = node.value_exact<int64_t>();
            if (!value || *value < least || *value > most) return false;
            to = static_cast<Number>(*value * scale);
            return true;
          }};
}

inline Key Real(double& to, double least, double most, const std::string& what = "a number") {
  return {absl::StrCat(what, " from ", least, " to ", most),
          [&to, least, most](const toml::node& node) {
            if (!node.is_number()) return false;
            const double value = *node.value<double>();
            if (!(value >= least && value <= most)) return false;
            to = value;
            return true;
          }};
}

// The keys under [access], [tls] and [limits].
void AddAccessKeys(AccessSettings& settings, std::map<std::string, Key>& keys);

// The keys under [deliver].
void AddDeliveryKeys(DeliverySettings& settings, std::map<std::string, Key>& keys);

// The keys under [cluster].
void AddClusterKeys(ClusterSettings& settings, std::map<std::string, Key>& keys);

}  // namespace plumblane
