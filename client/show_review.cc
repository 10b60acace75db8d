#include "client/show_review.h"

#include <absl/strings/str_cat.h>

#include "client/show.h"

namespace plumblane::client {

std::string ShowReview(const v1::Review& review, int width) {
  std::string screen =
      absl::StrCat(review.period().first_date(), " to ", review.period().last_date(),
                   review.provisional() ? "; provisional until " + review.final_date() : "", "\n");
  if (review.accounts().empty()) return screen + "no orders\n";
  for (const v1::Account& account : review.accounts()) {
    if (account.points().empty()) continue;
    absl::StrAppend(&screen, "\n", account.supplier_id(), "\n");
    for (const v1::Point& point : account.points()) {
      absl::StrAppend(&screen, Wrapped("  " + point.sentence(), width, 4), "\n");
    }
  }
  return screen;
}

}  // namespace plumblane::client
