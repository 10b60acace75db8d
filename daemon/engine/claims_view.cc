#include <algorithm>

#include "engine/best_few.h"
#include "engine/part_reader.h"
#include "engine/view.h"
#include "orders/standing.h"
#include "storage/keys.h"

namespace plumblane {
namespace {

constexpr int kOrdersBetweenAsking = 1000;

// What the supplier refunded in the currency of the claim; without a claim, where it is all of one.
std::optional<Money> RefundedOf(const PartState& part) {
  const auto& refunds = part.refunds_by_supplier;
  if (part.claim) {
    const auto same = refunds.find(part.claim->currency);
    return Money{same == refunds.end() ? 0 : same->second, part.claim->currency};
  }
  if (refunds.size() != 1) return std::nullopt;
  return Money{refunds.begin()->second, refunds.begin()->first};
}

}  // namespace

// Collects the claims of one question: those to file by days, the others from their index.
class View::Claimer {
 public:
  Claimer(const View& view, const ClaimFilter& filter, const std::optional<ClaimPlace>& after,
          size_t limit)
      : view_(view),
        filter_(filter),
        best_(after, limit),
        horizon_(view.MomentOf({}).horizon),
        today_(DayOf(view.now_)) {}

  absl::StatusOr<ClaimsAnswer> Run(const std::function<bool()>& give_up) {
    const absl::Status read = filter_.with_settled ? ReadAll(give_up) : ReadIndexes();
    if (!read.ok()) return read;
    auto best = best_.Take();
    return ClaimsAnswer{std::move(best.items), best.more, view_.now_};
  }

 private:
  absl::Status ReadAll(const std::function<bool()>& give_up) {
    absl::Status bad;
    int count = 0;
    const absl::Status scanned =
        view_.snapshot_->Scan(Space::kOrders, "", "", [&](auto key, auto value) {
          if (++count % kOrdersBetweenAsking == 0 && give_up && give_up()) {
            bad.Update(absl::CancelledError("given up"));
          }
          const auto events = DecodeOrder(value);
          bad.Update(events.status());
          if (!bad.ok()) return false;
          const OrderKey order = ParseOrderRecordKey(key);
          const OrderState state =
              Fold(order, *events, view_.rules_.fold, *view_.catalog_->excuses);
          for (const PartState& part : state.parts) {
            if (!part.counts()) continue;
            if (filter_.supplier.empty() || filter_.supplier == part.supplier) {
              Consider(order, part);
            }
          }
          return true;
        });
    bad.Update(scanned);
    return bad;
  }

  absl::Status ReadIndexes() {
    PartReader reader(*view_.snapshot_, view_.rules_.fold, *view_.catalog_->excuses,
                      [this](const OrderKey& order, const PartState& part) {
                        Consider(order, part);
                        return absl::OkStatus();
                      });
    // What is claimed, or known to be bad, comes from the other indexes.
    PartReader open(*view_.snapshot_, view_.rules_.fold, *view_.catalog_->excuses,
                    [this](const OrderKey& order, const PartState& part) {
                      if (ClaimStandingOf(part) == ClaimStanding::kNone) Consider(order, part);
                      return absl::OkStatus();
                    });
    absl::Status bad;
    bad.Update(Scan(PairIndexPrefix(PairIndex::kClaims, filter_.supplier), "", {}, reader));
    const auto& pairs = view_.catalog_->pairs->by_supplier;
    auto pair =
        filter_.supplier.empty() ? pairs.begin() : pairs.lower_bound({filter_.supplier, {}});
    for (; bad.ok() && pair != pairs.end(); ++pair) {
      if (!filter_.supplier.empty() && pair->supplier != filter_.supplier) break;
      const Day first = std::max(Day{0}, today_ - DaysToFile(pair->supplier));
      bad.Update(Scan(PairIndexPrefix(PairIndex::kUnclaimed, *pair),
                      PairIndexFrom(PairIndex::kUnclaimed, *pair, first), {}, reader));
      // What has not arrived, and was promised before the horizon.
      bad.Update(Scan(PairIndexPrefix(PairIndex::kOpen, *pair),
                      PairIndexFrom(PairIndex::kOpen, *pair, first), DayOf(horizon_), open));
    }
    bad.Update(reader.Finish());
    bad.Update(open.Finish());
    return bad;
  }

  // The parts of an index from a key on, to those of the day before `end`.
  absl::Status Scan(const std::string& prefix, const std::string& from, std::optional<Day> end,
                    PartReader& reader) const {
    absl::Status bad;
    const absl::Status scanned =
        view_.snapshot_->Scan(Space::kIndex, prefix, from, [&](auto key, auto) {
          const auto found = ParsePairIndexKey(key);
          bad.Update(found.status());
          if (!found.ok() || (end && (!found->day || *end <= *found->day))) return false;
          bad.Update(reader.Add(found->part));
          return bad.ok();
        });
    bad.Update(scanned);
    return bad;
  }

  void Consider(const OrderKey& order, const PartState& part) {
    ClaimToAct claim;
    claim.place = {kNoLastDay, "", 0, order, part.part};
    claim.pair = {part.supplier, part.lane};
    switch (ClaimStandingOf(part)) {
      case ClaimStanding::kNone:
        if (NotArrived(part)) File(part, {NotArrivedReason(part), *part.promised_day}, claim);
        return;
      case ClaimStanding::kUnclaimed:
        File(part, *UnclaimedOf(part), claim);
        return;
      case ClaimStanding::kUnanswered:
        claim.state = ClaimState::kUnanswered;
        claim.waiting_days =
            static_cast<double>(view_.now_ - *part.disputed) / static_cast<double>(kMillisPerDay);
        break;
      case ClaimStanding::kOwed:
        claim.state = ClaimState::kOwed;
        break;
      case ClaimStanding::kSettled:
        if (!filter_.with_settled) return;
        claim.state = ClaimState::kSettled;
        break;
    }
    claim.reason = part.dispute_reason;
    claim.disputed = part.disputed;
    claim.claimed = part.claim;
    claim.refunded = RefundedOf(part);
    claim.owed = OwedBySupplier(part);
    Keep(claim.owed, claim);
  }

  // Promised, over by the horizon, not there, not closed, and through nobody else's fault.
  bool NotArrived(const PartState& part) const {
    return part.paid && !part.delivered && !part.cancelled && !part.refunded_by_supplier &&
           part.excuse.empty() && IsOverdue(part, horizon_);
  }
  Reason NotArrivedReason(const PartState& part) const {
    return IsGivenUp(part, view_.rules_.fold, horizon_) ? Reason::kLost : Reason::kNotReceived;
  }

  void File(const PartState& part, const Unclaimed& what, ClaimToAct& claim) {
    const Day last = what.since + DaysToFile(part.supplier);
    if (last < today_) return;
    claim.reason = what.reason;
    if (HasTerms(part.supplier)) {
      claim.place.last = last;
      claim.last_day = last;
      claim.days_left = last - today_;
    }
    Keep(part.cost, claim);
  }

  void Keep(const std::optional<Money>& at_stake, ClaimToAct& claim) {
    claim.place.currency = at_stake ? at_stake->currency : "~";  // after all currencies
    if (at_stake) claim.place.minus_money = -at_stake->minor_units;
    best_.Add(std::move(claim));
  }

  std::optional<int> ClaimDays(const std::string& supplier) const {
    const HeldTerms* terms = view_.catalog_->agreements->terms.Find(supplier);
    return terms == nullptr ? std::nullopt : terms->terms.claim_days;
  }
  bool HasTerms(const std::string& supplier) const { return ClaimDays(supplier).has_value(); }
  // Without terms what is older than the claim window is let go.
  int DaysToFile(const std::string& supplier) const {
    return ClaimDays(supplier).value_or(view_.rules_.claim_window_days);
  }

  const View& view_;
  const ClaimFilter& filter_;
  BestFew<ClaimToAct> best_;
  const Instant horizon_;
  const Day today_;
};

absl::StatusOr<ClaimsAnswer> View::Claims(const ClaimFilter& filter,
                                          const std::optional<ClaimPlace>& after, size_t limit,
                                          const std::function<bool()>& give_up) const {
  return Claimer(*this, filter, after, limit).Run(give_up);
}

}  // namespace plumblane
