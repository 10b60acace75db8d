#include "client/row_fields.h"

#include <absl/strings/str_cat.h>

#include <algorithm>

#include "client/option_values.h"
#include "client/text.h"
#include "client/words.h"

namespace plumblane::client {

RowFields::RowFields(const Row& row, std::span<const std::string_view> known) : row_(row) {
  for (const Cell& cell : row.cells) {
    if (std::find(known.begin(), known.end(), cell.field) == known.end()) {
      Refuse(cell.field, absl::StrCat("unknown field", DidYouMean(cell.field, Strings(known))));
    } else if (cell.kind == Cell::Kind::kOther) {
      Refuse(cell, "expected a text or a number");
    }
  }
}

const Cell* RowFields::Find(std::string_view name) const {
  for (const Cell& cell : row_.cells) {
    if (cell.field == name) return &cell;
  }
  return nullptr;
}

std::optional<v1::Money> RowFields::Amount(std::string_view name) {
  const Cell* cell = Find(name);
  if (cell == nullptr) return std::nullopt;
  const Cell* currency = Find("currency");
  if (currency == nullptr) {
    Miss("currency", "EUR");
    return std::nullopt;
  }
  if (const auto known = ParseCurrency(currency->value); !known.ok()) {
    Refuse(*currency, std::string(known.status().message()));
    return std::nullopt;
  }
  const absl::StatusOr<v1::Money> money = ParseAmount(cell->value, currency->value);
  if (money.ok()) return *money;
  Refuse(*cell, std::string(money.status().message()));
  return std::nullopt;
}

void RowFields::Refuse(std::string_view field, std::string message) {
  if (!complaint_) complaint_ = Complaint{"BAD_VALUE", std::string(field), std::move(message)};
}

void RowFields::Miss(std::string_view field, std::string_view example) {
  if (complaint_) return;
  complaint_ = Complaint{"MISSING_FIELD", std::string(field),
                         absl::StrCat("expected a value, such as ", std::string(example))};
}

void RowFields::Refuse(const Cell& cell, const std::string& expected) {
  const std::string said = cell.kind == Cell::Kind::kOther ? cell.value : Quoted(cell.value);
  Refuse(cell.field, absl::StrCat(expected, ", not ", said));
}

}  // namespace plumblane::client
