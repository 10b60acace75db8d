#include "engine/submission.h"

#include <algorithm>
#include <iterator>
#include <utility>

namespace plumblane {

void MoveContent(Submission&& from, Submission& to) {
  const auto move_all = [](auto& some, auto& all) {
    all.insert(all.end(), std::make_move_iterator(some.begin()),
               std::make_move_iterator(some.end()));
  };
  to.events.Append(std::move(from.events));
  move_all(from.news, to.news);
  move_all(from.excuses, to.excuses);
  move_all(from.agreements, to.agreements);
  move_all(from.assignments, to.assignments);
  move_all(from.alert_notices, to.alert_notices);
  move_all(from.deliveries, to.deliveries);
  move_all(from.sends_begun, to.sends_begun);
  move_all(from.sends_finished, to.sends_finished);
  move_all(from.sends_taken_back, to.sends_taken_back);
  move_all(from.purges, to.purges);
  move_all(from.erased, to.erased);
  move_all(from.erased_suppliers, to.erased_suppliers);
  to.history_through = std::max(to.history_through, from.history_through);
}

}  // namespace plumblane
