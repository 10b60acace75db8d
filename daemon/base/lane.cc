#include "base/lane.h"

#include <absl/strings/str_cat.h>

#include <algorithm>

namespace plumblane {
namespace {

bool IsUpperOrDigit(char c) { return (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9'); }
bool IsServiceChar(char c) { return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '-'; }

}  // namespace

bool LaneQuery::Covers(const Lane& lane) const {
  return origin == lane.origin && destination == lane.destination &&
         (!service || *service == lane.service);
}

absl::StatusOr<std::string> ParseLaneEnd(std::string_view text) {
  std::string end(text);
  for (char& c : end) {
    if (c >= 'a' && c <= 'z') c = static_cast<char>(c - 'a' + 'A');
  }
  if (end.size() < 2 || end.size() > 16 || !std::all_of(end.begin(), end.end(), IsUpperOrDigit)) {
    return absl::InvalidArgumentError("expected 2 to 16 letters or digits, such as VN");
  }
  return end;
}

absl::StatusOr<std::string> ParseService(std::string_view text) {
  if (text.empty() || text == "-") return std::string();
  if (text.size() > 32 || !std::all_of(text.begin(), text.end(), IsServiceChar)) {
    return absl::InvalidArgumentError("expected 1 to 32 of a-z, 0-9 and hyphen, such as express");
  }
  return std::string(text);
}

absl::StatusOr<LaneQuery> ParseLaneQuery(std::string_view text) {
  const auto bad = [](const absl::Status& why) {
    return absl::InvalidArgumentError(absl::StrCat(
        "expected a lane such as VN-DE or VN-DE/express: ", std::string(why.message())));
  };
  LaneQuery lane;
  const size_t slash = text.find('/');
  const std::string_view ends = text.substr(0, slash);
  const size_t hyphen = ends.find('-');
  if (hyphen == std::string_view::npos) {
    return bad(absl::InvalidArgumentError("there is no hyphen between origin and destination"));
  }
  auto origin = ParseLaneEnd(ends.substr(0, hyphen));
  if (!origin.ok()) return bad(origin.status());
  auto destination = ParseLaneEnd(ends.substr(hyphen + 1));
  if (!destination.ok()) return bad(destination.status());
  lane.origin = *std::move(origin);
  lane.destination = *std::move(destination);
  if (slash != std::string_view::npos) {
    if (slash + 1 == text.size()) return bad(absl::InvalidArgumentError("the service is empty"));
    auto service = ParseService(text.substr(slash + 1));
    if (!service.ok()) return bad(service.status());
    lane.service = *std::move(service);
  }
  return lane;
}

std::string FormatLane(const Lane& lane) {
  return FormatLaneQuery({lane.origin, lane.destination, lane.service});
}

std::string FormatLaneQuery(const LaneQuery& lane) {
  std::string text = absl::StrCat(lane.origin, "-", lane.destination);
  if (lane.service) absl::StrAppend(&text, "/", lane.service->empty() ? "-" : *lane.service);
  return text;
}

}  // namespace plumblane
