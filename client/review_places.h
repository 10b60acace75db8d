// Where the accounts of a review stand in a page, and which of very many are told in full.
// Private to review_model.cc.
//
// Pure and thread-safe.
#pragma once

#include <cstddef>
#include <string>
#include <vector>

#include "client/review_words.h"
#include "client/view.h"
#include "plumblane/v1/reviews.pb.h"

namespace plumblane::client {

struct Placed {
  const v1::Account* account;
  std::string anchor;
  bool in_full = false;
};

// Where a pair's links lead that has no row: the section.
inline constexpr char kNoRow[] = "pairs";

// Minor units; what nothing is known of goes last.
int64_t AtStake(const Placed& placed);

// In their order, in full as review_model.h says; of pairs the kMostRows with the most orders have
// an anchor of their own. Points into `review`.
std::vector<Placed> Place(const v1::Review& review);

// That so many are not here but there; "" for none.
std::string RestText(size_t rest, size_t most, const std::string& noun, const std::string& which,
                     const std::string& where);
// Leaves so many of the views; says how many went, "" = none did.
std::string Cut(std::vector<View>& views, size_t most, const std::string& noun,
                const std::string& which, const std::string& where);
// How many of a kind are not told in full; "" = all are.
std::string NotInFullText(const std::vector<Placed>& all, AccountKind kind, const std::string& noun,
                          const std::string& weight);

// Which forms leave nothing out.
inline constexpr char kInJson[] = "the JSON form (-o FILE.json) has them all.";
inline constexpr char kInCsv[] =
    "the CSV and JSON forms (-o FILE.csv, -o FILE.json) have them all.";

}  // namespace plumblane::client
