// The cells of one row by their names, for tables whose rows become messages.
//
// Every read checks; the first thing that is wrong is kept, with its field and what was expected,
// and what is read after it does no harm. Not thread-safe; one object is one row.
#pragma once

#include <absl/status/statusor.h>

#include <optional>
#include <span>
#include <string>
#include <string_view>

#include "client/row.h"
#include "plumblane/v1/event.pb.h"

namespace plumblane::client {

class RowFields {
 public:
  // A cell of another name than those `known` is wrong. `row` must outlive this object.
  RowFields(const Row& row, std::span<const std::string_view> known);

  bool Has(std::string_view name) const { return Find(name) != nullptr; }

  // The value as `parse` reads it, where it is stated: parse(text) gives absl::StatusOr of what
  // take(value) takes.
  template <typename Parse, typename Take>
  void Read(std::string_view name, Parse parse, Take take) {
    const Cell* cell = Find(name);
    if (cell == nullptr) return;
    auto value = parse(cell->value);
    if (value.ok()) {
      take(*std::move(value));
    } else {
      Refuse(*cell, std::string(value.status().message()));
    }
  }
  template <typename Parse>
  void Read(std::string_view name, Parse parse, std::string* to) {
    Read(name, parse, [to](std::string value) { *to = std::move(value); });
  }

  // The same of what every row must state; `example` is such a value.
  template <typename Parse>
  void Need(std::string_view name, std::string_view example, Parse parse, std::string* to) {
    if (!Has(name)) Miss(name, example);
    Read(name, parse, to);
  }

  // An amount of 0 or more in the currency of the row's "currency"; none where it is not stated.
  std::optional<v1::Money> Amount(std::string_view name);

  // Says what is wrong, unless something was before.
  void Refuse(std::string_view field, std::string message);
  void Miss(std::string_view field, std::string_view example);

  const std::optional<Complaint>& complaint() const { return complaint_; }

 private:
  const Cell* Find(std::string_view name) const;
  void Refuse(const Cell& cell, const std::string& expected);

  const Row& row_;
  std::optional<Complaint> complaint_;
};

}  // namespace plumblane::client
