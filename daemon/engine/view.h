// A view: the state as of one applied log entry, and every question that can be asked of it.
//
// Immutable and thread-safe; answers never wait for the writer or the disk's sync. Two questions to
// one view are consistent with each other. Times asked about:
//   as_of absent   now: orders under way count everything known
//   as_of D        what is known today about what had happened by D, at day granularity
// What is known is known to the minute, the finest that durations are told apart by.
// Cost: a pair that was asked about lately is scored in some 30 us for 400 active days, another
// one is read first (series_cache.h); a supplier or lane costs the sum over its pairs. Asked again
// within the minute, while nothing came in, a score as of now costs next to nothing. The first
// question of a day, half-life and scope counts the rates of all pairs, unless the like of it was
// asked lately (fleet_book.h).
#pragma once

#include <absl/status/statusor.h>

#include <functional>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "engine/alert_evidence.h"
#include "engine/answers.h"
#include "engine/assignments.h"
#include "engine/catalog.h"
#include "engine/cost_proposal.h"
#include "engine/memory.h"
#include "engine/review.h"
#include "engine/risk.h"
#include "engine/sourcing.h"
#include "engine/underway.h"
#include "scoring/score.h"
#include "storage/store.h"

namespace plumblane {

class View {
 public:
  // `memory` has been told of all that entries changed since it was made, up to this state.
  View(std::shared_ptr<const Snapshot> snapshot, std::shared_ptr<const Catalog> catalog,
       std::shared_ptr<Memory> memory, const ReadRules& rules, Instant now)
      : snapshot_(std::move(snapshot)),
        catalog_(std::move(catalog)),
        memory_(std::move(memory)),
        rules_(rules),
        now_(now) {}

  // Errors of all questions: INVALID_ARGUMENT for a half-life outside 1 hour to 100 years,
  // NOT_FOUND for a subject that no order names, DATA_LOSS or UNAVAILABLE from the store.
  absl::StatusOr<WithBasis<ScoreAnswer>> Score(const Subject& subject, const Asked& asked) const;

  // Which suppliers are wanted: those on a lane, with their scores on it; those with a tag; those
  // with so many settled orders.
  struct SupplierFilter {
    std::optional<LaneQuery> lane;
    std::string tag;
    int64_t min_order_count = 0;
  };
  // Up to `limit` suppliers or lanes (summed over services) whose name is above `after`.
  absl::StatusOr<WithBasis<std::vector<ScoreAnswer>>> ListSuppliers(
      const Asked& asked, const std::string& after, size_t limit,
      const SupplierFilter& filter) const;
  absl::StatusOr<WithBasis<std::vector<ScoreAnswer>>> ListLanes(const Asked& asked,
                                                                const std::string& after,
                                                                size_t limit) const;

  // The suppliers for an order, best first, with the pairs that have shipped to its destination and
  // those that quote for it (engine/sourcing.h). The first `told` have reasons, limits and scores.
  // Errors besides: INVALID_ARGUMENT when there is no rate to convert the sale with.
  absl::StatusOr<WithBasis<SourcingAnswer>> Source(const OrderToSource& order, const Asked& asked,
                                                   size_t told) const;

  // Reads the on-time cells of all pairs; seconds for thousands of them. Errors besides:
  // FAILED_PRECONDITION while too few days have settled, saying how many there are and are needed;
  // CANCELLED once `give_up`, asked now and then, says so.
  absl::StatusOr<BacktestAnswer> Backtest(const BacktestAsked& asked,
                                          const std::function<bool()>& give_up = {}) const;

  // Ascending by part; empty when there are none.
  absl::StatusOr<std::vector<StoredAssignment>> AssignmentsOf(const OrderKey& order) const;
  // Those made from `from` on and before `to`, latest first, until `each` returns false.
  absl::Status EachAssignment(std::optional<Instant> from, std::optional<Instant> to,
                              const std::function<bool(const StoredAssignment&)>& each) const;

  // From all orders of the shop, of every shop when "". Reads and folds each: seconds for hundreds
  // of thousands. Error besides: CANCELLED once `give_up`, asked now and then, says so.
  absl::StatusOr<CostProposal> ProposeCosts(const std::string& shop,
                                            const std::function<bool()>& give_up = {}) const;

  // Of the orders paid in the last `days` days, today's included. REQUIRES: days > 0.
  absl::StatusOr<RiskAnswer> Risk(int days) const;
  // What waits for a supplier on these pairs of it: exposure, orders under way, silence; nothing
  // else is filled in.
  absl::StatusOr<SupplierRisk> WaitingFor(const std::string& supplier,
                                          std::span<const Pair> pairs) const;

  // As of now. The month is that of the supplier's terms; without terms the calendar's.
  absl::StatusOr<plumblane::MonthUse> MonthUse(const std::string& supplier) const;

  // The first `limit` after `after`, a place of an answer before. Costs some 5 us an open order
  // that the filter names, whatever `limit`, and the curves of its pairs once.
  absl::StatusOr<UnderwayAnswer> Underway(const UnderwayFilter& filter,
                                          const std::optional<UnderwayPlace>& after,
                                          size_t limit) const;
  // Likewise, an open claim. With settled ones it reads and folds every order: seconds for hundreds
  // of thousands. Error besides: CANCELLED once `give_up`, asked now and then, says so.
  absl::StatusOr<ClaimsAnswer> Claims(const ClaimFilter& filter,
                                      const std::optional<ClaimPlace>& after, size_t limit,
                                      const std::function<bool()>& give_up = {}) const;

  // Reads and folds every order on three threads, then the cells of the periods: seconds for a
  // million. Errors besides: INVALID_ARGUMENT for a period that has not begun; NOT_FOUND for a
  // supplier or lane that no order names; CANCELLED once `give_up`, asked now and then, says so.
  absl::StatusOr<ReviewAnswer> Review(const ReviewAsked& asked,
                                      const std::function<bool()>& give_up = {}) const;
  // The orders behind it, by key, until `each` returns false. Errors as for Review.
  absl::Status Evidence(const ReviewAsked& asked,
                        const std::function<bool(const EvidenceOrder&)>& each) const;

  // Brings the alerts of the book to this state; AlertBook::Update says what that costs. Kept in
  // memory beside the view, so of no state but the latest one. Error besides: CANCELLED once
  // `give_up`, asked now and then, says so.
  absl::Status UpdateAlerts(const std::function<bool()>& give_up = {}) const;
  const AlertBook& alerts() const { return memory_->alerts; }
  // What a told alert rests on, from the cells of this state (engine/alert_evidence.h).
  absl::StatusOr<AlertEvidence> EvidenceOf(const ToldAlert& alert) const;

  absl::StatusOr<OrderAnswer> Order(const OrderKey& key) const;
  // The first order part with that tracking number; none when unknown.
  absl::StatusOr<std::optional<OrderMatch>> FindByTracking(const std::string& tracking) const;
  absl::StatusOr<std::optional<OrderMatch>> FindPart(const OrderKey& key, int part) const;

  const Catalog& catalog() const { return *catalog_; }
  const ReadRules& rules() const { return rules_; }
  const Snapshot& snapshot() const { return *snapshot_; }
  Instant now() const { return now_; }

  // By the writer, before anybody else has a view of this state: makes ahead what was asked lately,
  // so that who asks next does not have to.
  void MakeAhead() const;

 private:
  struct Question {
    Basis basis;
    bool as_of_now = false;
    Moment moment;
    ScoreRules rules;
    std::vector<double> within_days;
    Scope scope = Scope::kCounted;
    std::shared_ptr<const Fleet> fleet;        // in `scope`
    std::shared_ptr<const Fleet> pairs_fleet;  // without excused orders
  };
  class Sourcer;
  class Chaser;
  class Claimer;
  class Reviewer;
  Moment MomentOf(const std::optional<Instant>& as_of) const;
  absl::StatusOr<Question> Put(const Asked& asked, Scope scope) const;
  absl::StatusOr<std::shared_ptr<const MeasureSet>> Read(const Pair& pair) const;
  absl::StatusOr<std::shared_ptr<const Outlooks>> AskOutlooks(const std::string& destination,
                                                              const Question& question) const;
  // Without what is told of suppliers besides.
  using Counted = std::shared_ptr<const WithBasis<ScoreAnswer>>;
  absl::StatusOr<Counted> CountScore(const Subject& subject, const Asked& asked) const;
  absl::StatusOr<Counted> KeptOr(const ScoreKey& key,
                                 const std::function<absl::StatusOr<Counted>()>& count) const;
  absl::StatusOr<std::shared_ptr<const ScoreEstimate>> ReadScore(const Pair& pair,
                                                                 const Question& question) const;
  absl::StatusOr<std::shared_ptr<const Fleet>> AskFleet(const Question& question,
                                                        Scope scope) const;
  absl::StatusOr<ScoreAnswer> SumOf(const std::vector<Pair>& pairs, const Question& question,
                                    bool each) const;
  bool HasTag(const std::string& supplier, const std::string& tag) const;
  absl::Status AddSupplierFacts(ScoreAnswer& answer) const;
  absl::StatusOr<std::optional<Instant>> LastHeard(const std::string& supplier) const;
  std::vector<Pair> PairsOf(const Subject& subject) const;

  std::shared_ptr<const Snapshot> snapshot_;
  std::shared_ptr<const Catalog> catalog_;
  std::shared_ptr<Memory> memory_;
  ReadRules rules_;
  Instant now_;
};

}  // namespace plumblane
