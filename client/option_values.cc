#include "client/option_values.h"

#include <cmath>

namespace plumblane::client {
namespace {

constexpr double kShortestHalfLifeDays = 1.0 / 24, kLongestHalfLifeDays = 36'525;
constexpr double kMostWithinDays = 120;

}  // namespace

absl::StatusOr<std::string> ParseId(const std::string& text) {
  if (const absl::Status status = CheckId(text); !status.ok()) return status;
  return text;
}

absl::StatusOr<std::string> ParseText(const std::string& text) { return text; }

absl::StatusOr<Instant> ParseMoment(const std::string& text) {
  if (!LooksLikeDay(text)) return ParseInstant(text);
  const absl::StatusOr<Day> day = ParseDay(text);
  if (!day.ok()) return day.status();
  return StartOf(*day);
}

absl::StatusOr<google::protobuf::Duration> ParseHalfLife(const std::string& text) {
  double days = 0;
  if (!absl::SimpleAtod(text, &days) ||
      !(days >= kShortestHalfLifeDays - 1e-6 && days <= kLongestHalfLifeDays)) {
    return absl::InvalidArgumentError("expected days from 0.05 to 36525, such as 45");
  }
  google::protobuf::Duration duration;
  duration.set_seconds(std::llround(days * 86'400));
  return duration;
}

absl::StatusOr<double> ParseWithin(const std::string& text) {
  double days = 0;
  if (absl::SimpleAtod(text, &days) && days >= 0 && days <= kMostWithinDays) return days;
  return absl::InvalidArgumentError("expected days from 0 to 120, such as 10");
}

absl::StatusOr<EventFile::Format> ParseFormat(const std::string& text) {
  if (text == "csv") return EventFile::Format::kCsv;
  if (text == "ndjson") return EventFile::Format::kNdjson;
  return absl::InvalidArgumentError("expected ndjson or csv");
}

absl::StatusOr<OrderKey> ParseOrder(const std::string& text) {
  const size_t slash = text.find('/');
  const std::string shop = slash == std::string::npos ? "" : text.substr(0, slash);
  const std::string order_id = slash == std::string::npos ? text : text.substr(slash + 1);
  if (slash != std::string::npos && !CheckId(shop).ok()) return CheckId(shop);
  if (const absl::Status status = CheckId(order_id); !status.ok()) return status;
  return OrderKey{shop, order_id};
}

absl::StatusOr<std::pair<Day, Day>> ParseDays(const std::string& text) {
  const size_t dots = text.find("..");
  const absl::StatusOr<Day> first = ParseDay(text.substr(0, dots));
  if (!first.ok()) return first.status();
  if (dots == std::string::npos) return std::pair(*first, *first);
  const absl::StatusOr<Day> last = ParseDay(text.substr(dots + 2));
  if (!last.ok()) return last.status();
  if (*first <= *last) return std::pair(*first, *last);
  return absl::InvalidArgumentError("expected the earlier day first, as FROM..TO");
}

}  // namespace plumblane::client
