// A lane: where parcels start, where they go, and by which service.
//
// Written `VN-DE` (the sum over all services), `VN-DE/express` (one service) or `VN-DE/-` (orders
// without a service). Ends are 2 to 16 characters of [A-Z0-9], upper-cased on reading; ISO 3166-1
// alpha-2 countries by habit, UN/LOCODE or own codes welcome. A service is 1 to 32 of [a-z0-9-],
// not "-" alone.
#pragma once

#include <absl/status/statusor.h>

#include <compare>
#include <optional>
#include <string>
#include <string_view>

namespace plumblane {

// The lane of an order or pair: the service is always decided ("" = without a service).
struct Lane {
  std::string origin;
  std::string destination;
  std::string service;
  auto operator<=>(const Lane&) const = default;
};

// What a question names: a lane, or the sum over its services when `service` is absent.
struct LaneQuery {
  std::string origin;
  std::string destination;
  std::optional<std::string> service;
  auto operator<=>(const LaneQuery&) const = default;
  bool Covers(const Lane& lane) const;
};

// Reads one end, upper-casing it. Error: what was expected.
absl::StatusOr<std::string> ParseLaneEnd(std::string_view text);

// Reads a service name; "" and "-" mean none.
absl::StatusOr<std::string> ParseService(std::string_view text);

// Reads any of the three written forms.
absl::StatusOr<LaneQuery> ParseLaneQuery(std::string_view text);

// "VN-DE/express" or "VN-DE/-": always names the service.
std::string FormatLane(const Lane& lane);

// "VN-DE", "VN-DE/express" or "VN-DE/-".
std::string FormatLaneQuery(const LaneQuery& lane);

}  // namespace plumblane
