#include "agreements/terms.h"

#include <chrono>

namespace plumblane {

Month MonthOf(Day day, int start_day) {
  using namespace std::chrono;
  const year_month_day date{sys_days{days{day.number}}};
  year_month_day first{date.year(), date.month(),
                       std::chrono::day(static_cast<unsigned>(start_day))};
  if (first > date) first -= months{1};
  const auto to_day = [](year_month_day d) {
    return Day{static_cast<int32_t>(sys_days{d}.time_since_epoch().count())};
  };
  return {to_day(first), to_day(first + months{1})};
}

void TermsBook::Load(const std::vector<Terms>& terms, Instant loaded_at) {
  for (const Terms& row : terms) terms_[row.supplier].push_back({row, loaded_at});
}

const HeldTerms* TermsBook::Find(const std::string& supplier) const {
  const auto found = terms_.find(supplier);
  return found == terms_.end() ? nullptr : &found->second.back();
}

const Pause* TermsBook::PausedOn(const std::string& supplier, Day day) const {
  const auto found = pauses_.find(supplier);
  if (found == pauses_.end()) return nullptr;
  const Pause& pause = found->second;
  return pause.paused && (!pause.until || day < *pause.until) ? &pause : nullptr;
}

}  // namespace plumblane
