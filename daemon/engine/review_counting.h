// The accounts of a review while they are counted: the cells of pair after pair, and the sums over
// them. Private to engine/.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>

#include <array>
#include <functional>
#include <map>
#include <optional>
#include <span>
#include <string>
#include <utility>
#include <vector>

#include "engine/review.h"
#include "engine/shop_cells.h"
#include "review/figures.h"
#include "review/order_tally.h"
#include "review/portions.h"
#include "storage/store.h"

namespace plumblane {

// One account.
struct Counting {
  std::array<FiguresCount, kPeriodCount> figures;
  std::array<Portions, kPeriodCount> portions;  // of lanes and all together
  OrderFigures orders;
  AssignedCount assigned;

  // All but portions.
  void Add(const Counting& other);
};

// Accounts that are made, with what is told beside them.
struct Kept {
  std::vector<Account> accounts;
  std::vector<ReviewedAccount> rest;

  void Add(Kept other);
};

// Of some suppliers, or of all.
struct CountedPairs {
  Counting all;
  std::map<std::pair<std::string, std::string>, Counting> lanes;  // by its ends
  Kept suppliers, pairs;

  void Add(CountedPairs other);
};

struct PairCount {
  const Snapshot& snapshot;
  const Periods& periods;
  const ReviewRules& rules;
  const std::map<Pair, OrderFigures>& orders;
  const std::map<Pair, AssignedCount>& assigned;
  // Whose figures are asked for; of the others only what portions are of is counted.
  std::function<bool(const Pair& pair)> wanted;
  // Makes the account of a supplier, or with a lane of a pair, and puts it there. Called on all
  // threads, for each account once.
  std::function<void(Kept& kept, const Counting& counted, const std::string& supplier,
                     const std::optional<LaneQuery>& lane)>
      keep;
  // Asked now and then, on all threads; may be empty.
  std::function<bool()> give_up;
  const ShopCells* shop_cells = nullptr;  // instead of the stored cells
};

// Counts the pairs on two threads, each those of whole suppliers. REQUIRES: `pairs` ascend. Errors:
// those of the store; DATA_LOSS; CANCELLED once `give_up` says so.
absl::StatusOr<CountedPairs> CountPairs(const PairCount& count, std::span<const Pair* const> pairs);

}  // namespace plumblane
