// Cells as bytes: one record holds the non-empty days of one page of one pair and measure.
//
//   page    of each day: head (1 byte), then by its form
//   head    1 bit: it is the last day; 3 bits: form; 4 bits: day within the page
//   form      2   nothing more: one order entered, nothing is known of it
//             3   code (1 byte), bucket (number): one order entered, that became of it
//             4   tally: counted
//             5   tally, tally: counted, excused
//   tally   entered (signed), number of outcomes, then of each code: code (1 byte), number of
//           buckets, then of each: 2 * how far it is above the one before, + 1 when its count is 1
//           (number); other counts (signed)
//
// Days, codes and buckets ascend, nothing empty is written, and a day has the first form that it
// fits: equal cells give equal bytes. An empty page is deleted, not written.
//
// Pages of data formats 1 to 3 are read, too. They have the number of days first, which is less
// than any first byte above, then each: day within the page (number), tally (counted), tally
// (excused); there a tally has entered, number of outcomes, then of each: code, bucket, count.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>

#include <cstdint>
#include <string>
#include <string_view>

#include "cohorts/cell.h"
#include "storage/bytes.h"

namespace plumblane {

// Measured over 1, 4, 8, 16, 32 and 64 days a page (tests/bench/README.md); part of the format on
// disk.
inline constexpr int32_t kDaysPerPage = 16;

constexpr int32_t PageOf(Day day) {
  const int32_t n = day.number;
  return n >= 0 ? n / kDaysPerPage : -((-n + kDaysPerPage - 1) / kDaysPerPage);
}
constexpr Day FirstDayOf(int32_t page) { return {page * kDaysPerPage}; }

// REQUIRES: `page` is not empty, its days ascend from `first_day` on, its cells are not empty.
std::string EncodePage(Day first_day, const Series& page);

// Error DATA_LOSS: the bytes are not a page. What is read can be encoded.
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
  // The day within the page; what it holds into `cell`.
  uint64_t ReadForm(Cell& cell);
  uint64_t ReadAsBefore(Cell& cell);

  Day first_day_;
  ByteReader reader_;
  bool as_before_;     // data format 3 or before
  uint64_t days_ = 1;  // still to come; at least so many, unless as before
  uint64_t next_ = 0;  // the earliest day that may
};

}  // namespace plumblane
