// The catalogs of all partitions as one, kept as they change. Private to engine/.
//
// Equal to LoadCatalog of the joined snapshot. Costs what has changed since the last time: pairs
// and open assignments of the partitions where they did, and the sources.
#pragma once

#include <cstdint>
#include <map>
#include <memory>
#include <vector>

#include "engine/catalog.h"

namespace plumblane {

// For one thread at a time.
class JoinedCatalog {
 public:
  // By number of the partition; none is null. The result never changes.
  std::shared_ptr<const Catalog> Join(const std::vector<std::shared_ptr<const Catalog>>& parts);

 private:
  void JoinPairs(const std::vector<std::shared_ptr<const Catalog>>& parts);
  void JoinAssignments(const std::vector<std::shared_ptr<const Catalog>>& parts);

  // As of the last Join; by partition, null = not yet.
  std::vector<std::shared_ptr<const PairDirectory>> pairs_of_;
  std::vector<std::shared_ptr<const OpenAssignments>> assignments_of_;
  std::map<Pair, uint32_t> holders_;  // how many partitions have it
  std::shared_ptr<const PairDirectory> pairs_ = std::make_shared<PairDirectory>();
  std::shared_ptr<const OpenAssignments> assignments_ = std::make_shared<OpenAssignments>();
};

}  // namespace plumblane
