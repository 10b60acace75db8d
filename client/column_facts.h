// What a column of a table holds, gathered value by value in bounded memory: as what kinds of dates
// all its values can be read, how its amounts are written, which words stand in it.
//
// Dates are told apart by all values together: one 25.3. rules M-D-Y out. A form by which the years
// of the column spread over more than ten is dropped when another form keeps them closer: of
// 26-03-05 and 26-04-19 the first number is the year.
//
// Not thread-safe.
#pragma once

#include <cstdint>
#include <map>
#include <string>
#include <string_view>
#include <vector>

#include "client/date_forms.h"

namespace plumblane::client {

class ColumnFacts {
 public:
  static constexpr size_t kMostWords = 40;

  // Takes a cell as wide_file.h gives it; "" says nothing.
  void Take(const std::string& cell);

  int64_t filled() const { return filled_; }
  // The forms that every value has; none when a value is no date.
  std::vector<DateForm> date_forms() const;
  // Values with a clock time and no offset from UTC.
  bool needs_zone() const { return needs_zone_ > 0; }
  // Every value is a number, whatever its decimal sign.
  bool is_number() const { return filled_ > 0 && numbers_ == filled_; }
  // Values that can only be meant with a decimal point or comma; with either sign and three digits
  // behind it, which may be a group of thousands.
  int64_t points() const { return points_; }
  int64_t commas() const { return commas_; }
  int64_t groups() const { return groups_; }
  // At least half look like e-mail addresses.
  bool is_mail() const { return filled_ > 0 && 2 * mails_ >= filled_; }
  // Values equal to the one in the row above.
  int64_t repeated() const { return repeated_; }
  // The different values, and how often each stands there; incomplete when there are more
  // than kMostWords.
  const std::map<std::string, int64_t>& words() const { return words_; }
  bool has_more_words() const { return has_more_words_; }
  // A value that could be read by several date forms, "" = none.
  const std::string& unsure_date() const { return unsure_date_; }

 private:
  void TakeNumber(std::string_view cell);

  int64_t filled_ = 0, needs_zone_ = 0, numbers_ = 0, points_ = 0, commas_ = 0, groups_ = 0;
  int64_t mails_ = 0, repeated_ = 0;
  unsigned forms_ = ~0u;
  struct Years {
    int first = 9999, last = 0;
  };
  Years years_[std::size(kDateForms)];
  std::string last_, unsure_date_;
  std::map<std::string, int64_t> words_;
  bool has_more_words_ = false;
};

}  // namespace plumblane::client
