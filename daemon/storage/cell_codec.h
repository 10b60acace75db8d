// Cells as bytes: one record holds the non-empty days of one page of one pair and measure.
//
//   page    number of days, then each:  day within the page (number), cell
//   cell    tally (counted), tally (excused)
//   tally   entered (signed), number of outcomes, then each: code (1 byte), bucket (number), count
//           (signed)
//
// Days ascend, outcomes ascend by (code, bucket), nothing empty is written: equal cells give equal
// bytes. An empty page is deleted, not written.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>

#include <cstdint>
#include <string>
#include <string_view>

#include "cohorts/cell.h"
#include "storage/bytes.h"

namespace plumblane {

// Measured over 1, 4, 8, 16, 32 and 64 days a page (tests/bench, figures in DEVELOPERS.md); part of
// the format on disk.
inline constexpr int32_t kDaysPerPage = 16;

constexpr int32_t PageOf(Day day) {
  const int32_t n = day.number;
  return n >= 0 ? n / kDaysPerPage : -((-n + kDaysPerPage - 1) / kDaysPerPage);
}
constexpr Day FirstDayOf(int32_t page) { return {page * kDaysPerPage}; }

// REQUIRES: `page` is not empty, its days ascend from `first_day` on, its cells are not empty.
std::string EncodePage(Day first_day, const Series& page);

// Error DATA_LOSS: the bytes are not a page.
absl::StatusOr<Series> DecodePage(Day first_day, std::string_view bytes);

// The same day by day into one cohort, for whoever only adds up; not thread-safe.
class PageReader {
 public:
  // Reads from `bytes` as long as it lives.
  PageReader(Day first_day, std::string_view bytes);

  // The next day; false at the end and when the bytes are not a page. What `cohort` held is lost,
  // its memory used again.
  bool Next(Cohort& cohort);

  // After the end: error DATA_LOSS when the bytes are not a page.
  absl::Status status() const;

 private:
  Day first_day_;
  ByteReader reader_;
  uint64_t days_;  // still to come
};

}  // namespace plumblane
