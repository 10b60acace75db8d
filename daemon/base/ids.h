// Identifiers: what an order is called, and which texts may be an id.
#pragma once

#include <absl/status/status.h>

#include <compare>
#include <cstdint>
#include <string>
#include <string_view>

namespace plumblane {

// One customer order of one shop; its parts are folded together because the cost of a replacement
// counts with the part it replaces.
struct OrderKey {
  std::string shop;
  std::string order_id;
  auto operator<=>(const OrderKey&) const = default;
};

inline constexpr int kMaxPart = 999;  // parts of one order are numbered 1..999
inline constexpr char kDefaultShop[] = "default";
inline constexpr char kDefaultSource[] = "default";

// Checks an id of a shop, source, order, supplier or excuse: 1 to 64 printable characters of valid
// UTF-8, no `/`, no blank at either end. Printable is all but control characters and the invisible
// ones that change how a line reads. Error: what was expected.
absl::Status CheckId(std::string_view text);

// Checks an event id or tracking number: 1 to 128 printable characters of valid UTF-8.
absl::Status CheckEventId(std::string_view text);

// Checks a text in words: 1 to 200 printable characters.
absl::Status CheckText(std::string_view text);

// "harbour/1042" or "harbour/1042#2" for a part other than 1.
std::string FormatOrder(const OrderKey& key, int part = 1);

}  // namespace plumblane
