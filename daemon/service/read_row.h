// Reads the fields of one row of a load and keeps what is wrong with each. Private to service/.
#pragma once

#include <absl/status/statusor.h>
#include <absl/strings/str_cat.h>
#include <google/protobuf/repeated_ptr_field.h>
#include <plumblane/v1/agreements.pb.h>

#include <optional>
#include <string>
#include <utility>

#include "agreements/promised_days.h"
#include "base/ids.h"
#include "base/lane.h"
#include "base/money.h"
#include "base/time.h"

namespace plumblane {

using RowErrors = google::protobuf::RepeatedPtrField<v1::RowError>;

inline void AddRowError(RowErrors& errors, int index, std::string field, std::string message) {
  v1::RowError* error = errors.Add();
  error->set_index(index);
  error->set_field(std::move(field));
  error->set_message(std::move(message));
}

class RowReader {
 public:
  // Fields are named with `prefix` before them.
  RowReader(int index, RowErrors& errors, std::string prefix = "")
      : index_(index), errors_(errors), prefix_(std::move(prefix)) {}

  // Nothing was wrong so far.
  bool ok() const { return ok_; }

  void Bad(const std::string& field, const std::string& message) {
    ok_ = false;
    AddRowError(errors_, index_, prefix_ + field, message);
  }
  void Check(const std::string& field, const absl::Status& status) {
    if (!status.ok()) Bad(field, std::string(status.message()));
  }

  // Of texts "" is an error, but where `may_be_empty`.
  std::string Id(const std::string& field, const std::string& in, bool may_be_empty = false) {
    if (!in.empty() || !may_be_empty) Check(field, CheckId(in));
    return in;
  }
  std::string Code(const std::string& field, const std::string& in) {
    Check(field, CheckEventId(in));
    return in;
  }
  std::string LaneEnd(const std::string& field, const std::string& in, bool may_be_empty = false) {
    return in.empty() && may_be_empty ? "" : Parsed(field, ParseLaneEnd(in));
  }
  // A service, a tag or a class; "" = none.
  std::string Word(const std::string& field, const std::string& in) {
    return Parsed(field, ParseService(in));
  }
  std::optional<Day> Date(const std::string& field, const std::string& in) {
    return in.empty() ? std::nullopt : MaybeParsed(field, ParseDay(in));
  }
  std::optional<PromisedDays> Promise(const std::string& field, const std::string& in) {
    return in.empty() ? std::nullopt : MaybeParsed(field, ParsePromisedDays(in));
  }
  std::string Currency(const std::string& field, std::string code) {
    for (char& c : code) c = static_cast<char>(c >= 'a' && c <= 'z' ? c - 'a' + 'A' : c);
    if (!MinorUnitDigits(code)) Bad(field, "expected an ISO 4217 currency such as EUR");
    return code;
  }
  Money Sum(const std::string& field, const v1::Money& in) {
    if (in.minor_units() < 0 || in.minor_units() > kMaxMinorUnits) {
      Bad(field + ".minor_units", absl::StrCat("expected 0 to ", kMaxMinorUnits));
    }
    return {in.minor_units(), Currency(field + ".currency_code", in.currency_code())};
  }
  // In the currency that the row has besides; `of` says whose that is.
  int64_t SumIn(const std::string& currency, const std::string& of, const std::string& field,
                const v1::Money& in) {
    const Money sum = Sum(field, in);
    if (MinorUnitDigits(currency) && MinorUnitDigits(sum.currency) && sum.currency != currency) {
      Bad(field + ".currency_code", absl::StrCat("expected ", currency, ", as of ", of));
    }
    return sum.minor_units;
  }
  template <typename Number>
  Number Within(const std::string& field, Number value, Number least, Number most) {
    // Written so that NaN is outside.
    if (!(value >= least && value <= most)) {
      Bad(field, absl::StrCat("expected ", least, " to ", most));
      return least;
    }
    return value;
  }

 private:
  template <typename T>
  T Parsed(const std::string& field, absl::StatusOr<T> parsed) {
    Check(field, parsed.status());
    return parsed.ok() ? *std::move(parsed) : T();
  }
  template <typename T>
  std::optional<T> MaybeParsed(const std::string& field, const absl::StatusOr<T>& parsed) {
    Check(field, parsed.status());
    return parsed.ok() ? std::optional<T>(*parsed) : std::nullopt;
  }

  const int index_;
  RowErrors& errors_;
  const std::string prefix_;
  bool ok_ = true;
};

}  // namespace plumblane
