#include "client/review_places.h"

#include <absl/strings/str_cat.h>

#include <algorithm>
#include <utility>

#include "client/review_model.h"
#include "client/text.h"

namespace plumblane::client {
namespace {

using Places = std::vector<Placed*>;

// "s3": where the third supplier's account stands in the page.
std::string AnchorOf(AccountKind kind, int index) {
  const char* letter = kind == AccountKind::kAll        ? "a"
                       : kind == AccountKind::kSupplier ? "s"
                       : kind == AccountKind::kLane     ? "l"
                                                        : "p";
  return absl::StrCat(letter, index + 1);
}

// Those of a kind; the most at stake first, then the most orders.
Places Weightiest(std::vector<Placed>& all, AccountKind kind) {
  Places places;
  for (Placed& one : all) {
    if (KindOf(*one.account) == kind) places.push_back(&one);
  }
  const auto weight = [](const Placed* one) {
    return std::pair(AtStake(*one), one->account->period().order_count());
  };
  std::stable_sort(places.begin(), places.end(),
                   [&](const Placed* x, const Placed* y) { return weight(x) > weight(y); });
  return places;
}

}  // namespace

int64_t AtStake(const Placed& placed) {
  return placed.account->has_at_stake() ? placed.account->at_stake().minor_units() : -1;
}

std::vector<Placed> Place(const v1::Review& review) {
  std::vector<Placed> all;
  all.reserve(static_cast<size_t>(review.accounts_size()));
  for (int i = 0; i < review.accounts_size(); ++i) {
    const AccountKind kind = KindOf(review.accounts(i));
    all.push_back({&review.accounts(i), AnchorOf(kind, i), kind == AccountKind::kAll});
  }
  for (const AccountKind kind : {AccountKind::kSupplier, AccountKind::kLane}) {
    const Places places = Weightiest(all, kind);
    for (size_t i = 0; i < std::min(places.size(), kMostInFull); ++i) places[i]->in_full = true;
  }
  const Places pairs = Weightiest(all, AccountKind::kPair);
  for (size_t i = kMostRows; i < pairs.size(); ++i) pairs[i]->anchor = kNoRow;
  return all;
}

std::string RestText(size_t rest, size_t most, const std::string& noun, const std::string& which,
                     const std::string& where) {
  if (rest == 0) return "";
  return absl::StrCat(Counted(static_cast<int64_t>(rest), "more " + noun),
                      rest == 1 ? " is" : " are", " left out here, where the ",
                      Thousands(static_cast<int64_t>(most)), " ", which, " stand; ", where);
}

std::string Cut(std::vector<View>& views, size_t most, const std::string& noun,
                const std::string& which, const std::string& where) {
  const size_t rest = views.size() - std::min(views.size(), most);
  views.resize(views.size() - rest);
  return RestText(rest, most, noun, which, where);
}

std::string NotInFullText(const std::vector<Placed>& all, AccountKind kind, const std::string& noun,
                          const std::string& weight) {
  const auto rest = std::count_if(all.begin(), all.end(), [kind](const Placed& one) {
    return KindOf(*one.account) == kind && !one.in_full;
  });
  if (rest == 0) return "";
  return absl::StrCat("Told in full are the ", Thousands(static_cast<int64_t>(kMostInFull)), " ",
                      noun, "s with the most ", weight, "; of ", Counted(rest, "other " + noun),
                      " the CSV and JSON forms (-o FILE.csv, -o FILE.json) tell.");
}

}  // namespace plumblane::client
