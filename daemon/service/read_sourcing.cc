#include "service/read_sourcing.h"

#include <absl/strings/str_cat.h>

#include "base/lane.h"
#include "service/read_question.h"

namespace plumblane {
namespace {

absl::Status Bad(const std::string& field, const absl::Status& status) {
  return absl::InvalidArgumentError(absl::StrCat(field, ": ", std::string(status.message())));
}

absl::StatusOr<Money> ReadSale(const v1::Money& in) {
  std::string code = in.currency_code();
  for (char& c : code) c = static_cast<char>(c >= 'a' && c <= 'z' ? c - 'a' + 'A' : c);
  if (!MinorUnitDigits(code)) {
    return absl::InvalidArgumentError(
        "sale.currency_code: expected an ISO 4217 currency such as EUR");
  }
  if (in.minor_units() < 0 || in.minor_units() > kMaxMinorUnits) {
    return absl::InvalidArgumentError(
        absl::StrCat("sale.minor_units: expected 0 to ", kMaxMinorUnits));
  }
  return Money{in.minor_units(), code};
}

// The fields both requests have.
template <typename Request>
absl::StatusOr<OrderToSource> ReadCommon(const Request& in) {
  OrderToSource order;
  auto destination = ParseLaneEnd(in.destination());
  if (!destination.ok()) return Bad("destination", destination.status());
  order.destination = *std::move(destination);
  if (!in.origin().empty()) {
    auto origin = ParseLaneEnd(in.origin());
    if (!origin.ok()) return Bad("origin", origin.status());
    order.origin = *std::move(origin);
  }
  if (in.has_service()) {
    auto service = ParseService(in.service() == "-" ? "" : in.service());
    if (!service.ok()) return Bad("service", service.status());
    order.service = *std::move(service);
  }
  if (!in.item().empty()) {
    if (absl::Status status = CheckEventId(in.item()); !status.ok()) return Bad("item", status);
  }
  order.item = in.item();
  if (in.unit_count() < 0 || in.unit_count() > kMostUnits) {
    return absl::InvalidArgumentError(absl::StrCat("unit_count: expected 1 to ", kMostUnits));
  }
  order.units = in.unit_count() == 0 ? 1 : in.unit_count();
  order.shop = in.shop().empty() ? kDefaultShop : in.shop();
  if (absl::Status status = CheckId(order.shop); !status.ok()) return Bad("shop", status);
  if (in.has_sale()) {
    auto sale = ReadSale(in.sale());
    if (!sale.ok()) return sale.status();
    order.sale = *std::move(sale);
  }
  return order;
}

}  // namespace

absl::StatusOr<OrderToSource> ReadOrderToSource(const v1::RankSuppliersRequest& request) {
  return ReadCommon(request);
}

absl::StatusOr<OrderToGive> ReadOrderToGive(const v1::OrderToAssign& in) {
  auto key = ReadOrderKey(in.shop(), in.order_id());
  if (!key.ok()) return key.status();
  auto order = ReadCommon(in);
  if (!order.ok()) return order.status();
  return OrderToGive{*std::move(key), *std::move(order)};
}

std::string FieldOf(const absl::Status& status) {
  const std::string message(status.message());
  const size_t colon = message.find(": ");
  return colon == std::string::npos ? "" : message.substr(0, colon);
}

}  // namespace plumblane
