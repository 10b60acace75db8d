#include "engine/view.h"
#include "storage/keys.h"
#include "storage/order_codec.h"

namespace plumblane {

absl::StatusOr<CostProposal> View::ProposeCosts(const std::string& shop,
                                                const std::function<bool()>& give_up) const {
  constexpr int kOrdersBetweenAsking = 1000;
  CostProposer proposer(catalog_->agreements->items, MomentOf({}).horizon);
  absl::Status bad;
  int count = 0;
  const absl::Status scanned =
      snapshot_->Scan(Space::kOrders, ShopPrefix(shop), "", [&](auto key, auto value) {
        const OrderKey order = ParseOrderRecordKey(key);
        const auto events = DecodeOrder(value);
        bad.Update(events.status());
        if (++count % kOrdersBetweenAsking == 0 && give_up && give_up()) {
          bad.Update(absl::CancelledError("given up"));
        }
        if (!bad.ok()) return false;
        proposer.Add(Fold(order, *events, rules_.fold, *catalog_->excuses));
        return true;
      });
  bad.Update(scanned);
  if (!bad.ok()) return bad;
  return proposer.Propose(shop);
}

}  // namespace plumblane
