// Reads order parts named by an index, many at a time, and folds each. Private to engine/.
#pragma once

#include <absl/status/status.h>

#include <algorithm>
#include <functional>
#include <utility>
#include <vector>

#include "orders/fold.h"
#include "storage/keys.h"
#include "storage/order_codec.h"
#include "storage/store.h"

namespace plumblane {

class PartReader {
 public:
  using Each = std::function<absl::Status(const OrderKey& order, const PartState& part)>;
  PartReader(const Snapshot& snapshot, const FoldRules& rules, const ExcuseBook& excuses, Each each)
      : snapshot_(snapshot), rules_(rules), excuses_(excuses), each_(std::move(each)) {}

  // `each` is called for it before Finish returns. Error DATA_LOSS: it is indexed and not stored.
  absl::Status Add(const IndexedPart& part) {
    waiting_.push_back(part);
    return waiting_.size() < kAtOnce ? absl::OkStatus() : Finish();
  }

  absl::Status Finish() {
    std::vector<std::string> keys;
    for (const IndexedPart& one : waiting_) keys.push_back(OrderRecordKey(one.order));
    const auto records = snapshot_.GetAll(Space::kOrders, keys);
    if (!records.ok()) return records.status();
    for (size_t i = 0; i < waiting_.size(); ++i) {
      const auto& record = (*records)[i];
      if (!record) return absl::DataLossError("an order is listed and not stored");
      const auto events = DecodeOrder(*record);
      if (!events.ok()) return events.status();
      const OrderState state = Fold(waiting_[i].order, *events, rules_, excuses_);
      const auto part =
          std::find_if(state.parts.begin(), state.parts.end(),
                       [&](const PartState& one) { return one.part == waiting_[i].part; });
      if (part == state.parts.end()) {
        return absl::DataLossError("an order part is listed and not stored");
      }
      if (absl::Status status = each_(waiting_[i].order, *part); !status.ok()) return status;
    }
    waiting_.clear();
    return absl::OkStatus();
  }

 private:
  static constexpr size_t kAtOnce = 256;
  const Snapshot& snapshot_;
  const FoldRules& rules_;
  const ExcuseBook& excuses_;
  const Each each_;
  std::vector<IndexedPart> waiting_;
};

}  // namespace plumblane
