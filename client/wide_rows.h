// From the rows of a table to events, by a map (map_file.h).
//
// A row counts whole or not at all: one cell that cannot be read, a word that the map does not
// know, an unknown country, and the row is refused with its columns named. Otherwise an order could
// be told to be under way because the date of its delivery is unreadable.
//
// An event comes of each [[event]] whose time is stated and whose type is one; of `refunded` with
// `refund` mapped only when that amount is stated and not 0. Facts of the order go with `paid`, and
// with the first event of a row that has none, but for `promise_days`, which goes with
// `paid` alone, `tracking`, which goes with `shipped` and `delivered`, and `currency`, which goes
// wherever an amount does. Amounts lose the signs of currencies and groups of thousands; a refund
// may be below 0.
//
// Event ids are hashes of (order, part, type, the column of the time, the row's key): no cell that
// may change is part of one, nor the revision. So the same row is a repeat, in a later export as
// well, and is kept once; of a row that changed, the later export's replaces the earlier one's, by
// `revision`.
//
// A value that looks like an e-mail address is refused: it is personal, whatever its column is
// called.
//
// Not thread-safe.
#pragma once

#include <absl/status/statusor.h>
#include <absl/time/time.h>

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "base/time.h"
#include "client/countries.h"
#include "client/map_file.h"
#include "client/row.h"
#include "client/wide_file.h"

namespace plumblane::client {

// Column names of a map to positions in a row.
struct Columns {
  std::vector<std::string> names;
  // Error: no such column, and which one was probably meant.
  absl::StatusOr<size_t> Find(const std::string& name) const;
};

// What rows came to that gave no event, and dates that say little.
struct WideNotes {
  int64_t rows = 0, skipped = 0, further = 0, without_event = 0;
  int64_t first_without_event = 0;  // line
  // A column of dates none of which rules out day and month the other way round.
  struct Either {
    std::string column;
    int64_t dates = 0, could_be_either = 0;
  };
  std::vector<Either> either;
};

class WideRows {
 public:
  // `map` and `countries` must outlive this object. `revision`: when the export was made.
  // Error INVALID_ARGUMENT: a column that the table does not have, a time zone that is unknown.
  static absl::StatusOr<WideRows> Make(const MapFile* map, Columns columns, Countries* countries,
                                       Instant revision);

  // The row's events as rows of an event file, in the map's order, appended to `to`; or why it is
  // refused, and nothing is appended.
  std::optional<Complaint> Take(const WideRow& row, std::vector<Row>& to);

  const WideNotes& notes() const { return notes_; }

 private:
  struct Field {
    const FieldRule* rule = nullptr;
    size_t column = SIZE_MAX;  // SIZE_MAX: a constant
    bool is_amount = false;
    const WordTable* words = nullptr;
    size_t either = SIZE_MAX;  // in notes_.either
  };
  struct Event {
    Field type, time;
    std::vector<Field> fields;
  };
  WideRows() = default;
  absl::StatusOr<Field> MakeField(const FieldRule& rule);
  std::optional<Complaint> Read(const Field& field, const WideRow& row, std::string& value);
  std::optional<Complaint> ReadDate(const Field& field, std::string_view cell, std::string& value);
  std::optional<Complaint> ReadFacts(const WideRow& row, std::vector<Cell>& facts);
  std::optional<Complaint> ReadOne(const Event& event, const WideRow& row,
                                   const std::vector<Cell>& facts, std::optional<Row>& to);
  bool IsSkipped(const WideRow& row) const;
  bool IsFurther(std::vector<Cell>& facts);

  const MapFile* map_ = nullptr;
  Countries* countries_ = nullptr;
  Columns columns_;
  std::string revision_;
  std::optional<absl::TimeZone> zone_;
  std::vector<Field> order_;
  std::vector<Event> events_;
  std::vector<size_t> key_;
  std::vector<std::pair<size_t, const SkipRule*>> skips_;
  WideNotes notes_;
  std::string last_order_;  // of the row above: shop and order
  int last_part_ = 0;
};

// A plain decimal of an amount with signs of currencies and groups of thousands: "1.234,50 €" is
// "1234.50" with a decimal comma. None when it is no number. Below 0 with a hyphen before it.
std::optional<std::string> PlainAmount(std::string_view text, char decimal);

}  // namespace plumblane::client
