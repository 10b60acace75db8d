#include "client/column_facts.h"

#include <absl/strings/ascii.h>

#include <algorithm>

#include "client/wide_rows.h"

namespace plumblane::client {
namespace {

constexpr int kMostYears = 10;

}  // namespace

void ColumnFacts::TakeNumber(std::string_view cell) {
  const auto point = PlainAmount(cell, '.'), comma = PlainAmount(cell, ',');
  if (!point && !comma) return;
  ++numbers_;
  if (point && comma && *point == *comma) return;
  if (point && comma) {
    ++groups_;
  } else {
    ++(point ? points_ : commas_);
  }
}

void ColumnFacts::Take(const std::string& cell) {
  if (cell.empty()) return;
  ++filled_;
  if (cell == last_) ++repeated_;
  last_ = cell;
  const size_t at = cell.find('@');
  if (at != std::string::npos && cell.find('.', at) != std::string::npos) ++mails_;
  TakeNumber(cell);
  if (words_.size() < kMostWords || words_.contains(cell)) {
    ++words_[cell];
  } else {
    has_more_words_ = true;
  }
  if (forms_ == 0) return;
  const unsigned forms = FormsOf(cell);
  forms_ &= forms;
  bool has_other = false, needs_zone = false;
  for (const DateForm form : FormsIn(forms)) {
    const WrittenTime time = *ReadTime(cell, form);
    needs_zone = NeedsZone(time);
    has_other = has_other || time.day != time.month;
    Years& years = years_[static_cast<size_t>(form)];
    years.first = std::min(years.first, time.year);
    years.last = std::max(years.last, time.year);
  }
  needs_zone_ += needs_zone;
  if (unsure_date_.empty() && has_other && FormsIn(forms).size() > 1) unsure_date_ = cell;
}

std::vector<DateForm> ColumnFacts::date_forms() const {
  if (filled_ == 0) return {};
  const std::vector<DateForm> forms = FormsIn(forms_);
  std::vector<DateForm> close;
  for (const DateForm form : forms) {
    const Years& years = years_[static_cast<size_t>(form)];
    if (years.last - years.first <= kMostYears) close.push_back(form);
  }
  return close.empty() ? forms : close;
}

}  // namespace plumblane::client
