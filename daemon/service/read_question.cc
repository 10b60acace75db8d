#include "service/read_question.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_replace.h>

#include <iterator>

#include "base/ids.h"
#include "orders/event.h"
#include "scoring/decay.h"

namespace plumblane {
namespace {

constexpr double kUsualHalfLives[] = {7, 14, 30, 45, 60, 90, 180};
constexpr int kMostHalfLives = 20, kMostDaysAhead = 365, kMostFirstDays = 3650;
constexpr int kMostWithinDays = 20;
constexpr int kLongestReview = 3653;  // days of ten years

absl::Status Prefixed(const std::string& field, const absl::Status& status) {
  return absl::InvalidArgumentError(absl::StrCat(field, ": ", std::string(status.message())));
}

absl::StatusOr<ExcusedDays> ReadLaneDays(const v1::LaneDays& in) {
  auto lane = ReadLane("lane_days.lane", in.lane());
  if (!lane.ok()) return lane.status();
  const auto first = ParseDay(in.first_due_date());
  if (!first.ok()) return Prefixed("lane_days.first_due_date", first.status());
  const auto last = ParseDay(in.last_due_date());
  if (!last.ok()) return Prefixed("lane_days.last_due_date", last.status());
  if (*last < *first) {
    return absl::InvalidArgumentError(
        "lane_days.last_due_date: expected a date not before the first");
  }
  return ExcusedDays{*std::move(lane), *first, *last};
}

// The id of an excuse that was given none: readable while it is short enough, else a hash of that.
std::string MadeId(std::string readable) {
  if (CheckId(readable).ok()) return readable;
  return absl::StrCat("excuse.", absl::Hex(ContentHash({{}, readable}, {}), absl::kZeroPad16));
}

}  // namespace

absl::Status CheckSupplier(const std::string& supplier) {
  if (supplier.empty()) return absl::OkStatus();
  const absl::Status status = CheckId(supplier);
  if (status.ok()) return status;
  return absl::InvalidArgumentError(absl::StrCat("supplier: ", std::string(status.message())));
}

absl::StatusOr<LaneQuery> ReadLane(const std::string& field, const v1::Lane& in) {
  auto origin = ParseLaneEnd(in.origin());
  if (!origin.ok()) return Prefixed(field + ".origin", origin.status());
  auto destination = ParseLaneEnd(in.destination());
  if (!destination.ok()) return Prefixed(field + ".destination", destination.status());
  LaneQuery lane{*std::move(origin), *std::move(destination), std::nullopt};
  if (in.has_service()) {
    auto service = ParseService(in.service());
    if (!service.ok()) return Prefixed(field + ".service", service.status());
    lane.service = *std::move(service);
  }
  return lane;
}

absl::StatusOr<Instant> ReadTime(const std::string& field, const google::protobuf::Timestamp& in,
                                 Instant latest) {
  if (in.seconds() < 0 || in.seconds() > kLatestInstant.millis / kMillisPerSecond ||
      in.nanos() < 0 || in.nanos() > 999'999'999) {
    return absl::InvalidArgumentError(
        absl::StrCat(field, ": expected a time in the years 1970 to 9999"));
  }
  const Instant time{in.seconds() * kMillisPerSecond + in.nanos() / 1'000'000};
  if (time > latest + kMillisPerDay) {
    return absl::InvalidArgumentError(absl::StrCat(field, ": ", FormatInstant(time),
                                                   " lies more than a day ahead of ",
                                                   FormatInstant(latest)));
  }
  return time;
}

double ReadDays(const google::protobuf::Duration& in) {
  constexpr double kSecondsPerDay = 86400;
  return (static_cast<double>(in.seconds()) + in.nanos() * 1e-9) / kSecondsPerDay;
}

absl::StatusOr<RateMode> ReadRateMode(v1::RateMode in) {
  switch (in) {
    case v1::RATE_MODE_UNSPECIFIED:
    case v1::RATE_MODE_CURRENT:
      return RateMode::kCurrent;
    case v1::RATE_MODE_AVERAGE:
      return RateMode::kAverage;
    default:
      return absl::InvalidArgumentError("rate_mode: expected current or average");
  }
}

absl::StatusOr<std::vector<double>> ReadWithinDays(
    const google::protobuf::RepeatedField<double>& in) {
  if (in.size() > kMostWithinDays) {
    return absl::InvalidArgumentError(
        absl::StrCat("within_days: expected at most ", kMostWithinDays));
  }
  for (const double days : in) {
    if (!(days >= 0 && days <= kLongestDays)) {  // nor is NaN
      return absl::InvalidArgumentError(
          absl::StrCat("within_days: expected 0 to ", kLongestDays, " days"));
    }
  }
  return std::vector<double>(in.begin(), in.end());
}

absl::StatusOr<Subject> ReadSubject(const std::string& name) {
  constexpr std::string_view kSuppliers = "suppliers/", kLanes = "lanes/";
  std::string_view rest = name;
  Subject subject;
  if (rest.starts_with(kSuppliers)) {
    rest.remove_prefix(kSuppliers.size());
    const size_t slash = rest.find('/');
    subject.supplier = std::string(rest.substr(0, slash));
    if (absl::Status status = CheckId(*subject.supplier); !status.ok()) {
      return Prefixed("name", status);
    }
    if (slash == std::string_view::npos) return subject;
    rest.remove_prefix(slash + 1);
  }
  if (!rest.starts_with(kLanes)) {
    return absl::InvalidArgumentError(
        "name: expected suppliers/ID, lanes/VN-DE or suppliers/ID/lanes/VN-DE");
  }
  auto lane = ParseLaneQuery(rest.substr(kLanes.size()));
  if (!lane.ok()) return Prefixed("name", lane.status());
  subject.lane = *std::move(lane);
  return subject;
}

absl::StatusOr<ReviewAsked> ReadReview(const v1::GetReviewRequest& request, Instant latest) {
  ReviewAsked asked;
  const auto first = ParseDay(request.first_date());
  if (!first.ok()) return Prefixed("first_date", first.status());
  const auto last = ParseDay(request.last_date());
  if (!last.ok()) return Prefixed("last_date", last.status());
  if (*last < *first || kLongestReview < *last - *first + 1) {
    return absl::InvalidArgumentError(
        "last_date: expected a day not before first_date and at most ten years after it");
  }
  asked.period = {*first, *last};
  if (absl::Status status = CheckSupplier(request.supplier()); !status.ok()) return status;
  asked.supplier = request.supplier();
  if (request.has_lane()) {
    auto lane = ReadLane("lane", request.lane());
    if (!lane.ok()) return lane.status();
    asked.lane = *std::move(lane);
  }
  if (request.has_as_of_time()) {
    const auto time = ReadTime("as_of_time", request.as_of_time(), latest);
    if (!time.ok()) return time.status();
    asked.as_of = *time;
  }
  if (!request.shop().empty()) {
    if (absl::Status status = CheckId(request.shop()); !status.ok())
      return Prefixed("shop", status);
  }
  asked.shop = request.shop();
  asked.to_share = request.to_share();
  if (asked.to_share && asked.supplier.empty()) {
    return absl::InvalidArgumentError("supplier: expected the one to share the review with");
  }
  return asked;
}

absl::StatusOr<BacktestAsked> ReadBacktest(const v1::BacktestRequest& request, Instant latest) {
  BacktestAsked asked;
  if (request.has_as_of_time()) {
    const auto time = ReadTime("as_of_time", request.as_of_time(), latest);
    if (!time.ok()) return time.status();
    asked.as_of = *time;
  }
  if (request.half_lives_size() > kMostHalfLives) {
    return absl::InvalidArgumentError(
        absl::StrCat("half_lives: expected at most ", kMostHalfLives));
  }
  for (const auto& half_life : request.half_lives()) {
    asked.half_lives_days.push_back(ReadDays(half_life));
    if (!IsHalfLife(asked.half_lives_days.back())) {
      return absl::InvalidArgumentError("half_lives: expected 1 hour to 100 years");
    }
  }
  if (request.half_lives().empty()) {
    asked.half_lives_days.assign(std::begin(kUsualHalfLives), std::end(kUsualHalfLives));
  }
  if (request.has_days_ahead()) asked.days_ahead = request.days_ahead();
  if (asked.days_ahead < 0 || asked.days_ahead > kMostDaysAhead) {
    return absl::InvalidArgumentError("days_ahead: expected 0 to 365");
  }
  if (request.has_first_days()) asked.first_days = request.first_days();
  if (asked.first_days < 1 || asked.first_days > kMostFirstDays) {
    return absl::InvalidArgumentError("first_days: expected 1 to 3,650");
  }
  return asked;
}

absl::StatusOr<OrderKey> ReadOrderKey(const std::string& shop, const std::string& order_id) {
  OrderKey key{shop.empty() ? kDefaultShop : shop, order_id};
  if (absl::Status status = CheckId(key.shop); !status.ok()) return Prefixed("shop", status);
  if (absl::Status status = CheckId(key.order_id); !status.ok()) {
    return Prefixed("order_id", status);
  }
  return key;
}

absl::StatusOr<Excuse> ReadExcuse(const v1::Excuse& in) {
  Excuse excuse;
  std::string made_id;
  if (in.has_order()) {
    auto key = ReadOrderKey(in.order().shop(), in.order().order_id());
    if (!key.ok()) return key.status();
    const int part = in.order().part() == 0 ? 1 : in.order().part();
    if (part < 1 || part > kMaxPart) {
      return absl::InvalidArgumentError(absl::StrCat("order.part: expected 1 to ", kMaxPart));
    }
    made_id = absl::StrCat(key->shop, ".", key->order_id, ".", part);
    excuse.subject = ExcusedOrder{*std::move(key), part};
  } else if (in.has_lane_days()) {
    auto days = ReadLaneDays(in.lane_days());
    if (!days.ok()) return days.status();
    made_id = absl::StrCat(absl::StrReplaceAll(FormatLaneQuery(days->lane), {{"/", "."}}), ".",
                           FormatDay(days->first_due), ".", FormatDay(days->last_due));
    excuse.subject = *std::move(days);
  } else {
    return absl::InvalidArgumentError("expected order or lane_days");
  }
  excuse.excuse_id = in.excuse_id().empty() ? MadeId(made_id) : in.excuse_id();
  if (absl::Status status = CheckId(excuse.excuse_id); !status.ok()) {
    return Prefixed("excuse_id", status);
  }
  excuse.reason = in.reason();
  if (absl::Status status = CheckText(excuse.reason); !status.ok()) {
    return Prefixed("reason", status);
  }
  return excuse;
}

}  // namespace plumblane
