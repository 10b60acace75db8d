#include "service/exporting.h"

#include "cohorts/buckets.h"
#include "service/write_answer.h"

namespace plumblane {
namespace {

constexpr size_t kScoresRead = 50, kCellsRead = 500, kEventsRead = 500, kAssignmentsRead = 100;
// Of a batch, unless a single order has more.
constexpr int kMostEvents = 500;

std::string OutcomeName(Code code) {
  if (IsDefect(code)) return std::string(NameOfKind(code));
  switch (code) {
    case Code::kDelivered:
      return "delivered";
    case Code::kDeliveredLate:
      return "delivered_late";
    case Code::kShipped:
      return "shipped";
    case Code::kAnswered:
      return "answered";
    case Code::kLeft:
      return "left";
    case Code::kFault:
      return "fault";
    case Code::kClosed:
      return "closed";
    case Code::kCost:
      return "cost";
    case Code::kSale:
      return "sale";
    case Code::kRefundBySupplier:
      return "refund_by_supplier";
    case Code::kRefundByShop:
      return "refund_by_shop";
    case Code::kClaim:
      return "claim";
    case Code::kReplacementCost:
      return "replacement_cost";
    case Code::kQuotedOrders:
      return "quoted_orders";
    case Code::kQuotedCost:
      return "quoted_cost";
    case Code::kQuoted:
      return "quoted";
    case Code::kPromised:
      return "promised";
    default:
      return "";
  }
}

// What the bucket says, which depends on the measure.
void WriteBucket(Measure measure, const Outcome& outcome, v1::CohortCount* out) {
  const bool is_tally = measure == Measure::kUnderway || measure == Measure::kOverdue;
  if (outcome.code == Code::kFault) return;
  if (HoldsSums(measure) && outcome.code != Code::kPromised) {
    out->set_currency_code(UnpackCurrency(outcome.bucket));
  } else if (is_tally && outcome.code == Code::kLost) {
    out->set_days(static_cast<int32_t>(outcome.bucket >> 16));
    const uint32_t closed = outcome.bucket & kNeverClosed;
    if (closed != kNeverClosed) out->set_closed_days(static_cast<int32_t>(closed));
  } else if (is_tally || outcome.code == Code::kPromised || measure == Measure::kOnTime ||
             measure == Measure::kDefect) {
    out->set_days(static_cast<int32_t>(outcome.bucket));
  } else {
    out->set_seconds(BucketSeconds(outcome.bucket));
  }
}

void WriteTally(Measure measure, const Tally& tally, bool excused, v1::Cohort* out) {
  for (const Outcome& outcome : tally.outcomes) {
    v1::CohortCount* to = out->add_counts();
    to->set_outcome(OutcomeName(outcome.code));
    to->set_excused(excused);
    to->set_bucket(outcome.bucket);
    WriteBucket(measure, outcome, to);
    to->set_count(outcome.count);
  }
}

void WriteCohort(const CellKey& key, const Cell& cell, v1::Cohort* out) {
  out->set_supplier(key.pair.supplier);
  WriteLane(key.pair.lane, out->mutable_lane());
  out->set_measure(std::string(MeasureName(key.measure)));
  out->set_date(FormatDay(key.day));
  out->set_entered_count(cell.counted.entered);
  out->set_excused_entered_count(cell.excused.entered);
  WriteTally(key.measure, cell.counted, false, out);
  WriteTally(key.measure, cell.excused, true, out);
}

// Parts of which an event that counts states a promise.
std::set<int> PartsWithStatedPromise(const StoredOrder& order) {
  std::set<int> parts;
  for (size_t i = 0; i < order.events.size(); ++i) {
    const Event& event = order.events[i];
    if (order.ignored[i] == Ignored::kNo && event.promise && !event.promise_implied) {
      parts.insert(event.part);
    }
  }
  return parts;
}

void WriteStored(const StoredOrder& order, v1::EventBatch& batch) {
  const std::set<int> stated = PartsWithStatedPromise(order);
  for (const Event& event : order.events) {
    v1::Event* to = batch.add_events();
    WriteEvent(order.key, event, to);
    if (event.promise_implied && event.promise && !stated.contains(event.part)) {
      WriteTime(*event.promise, to->mutable_promise_time());
    }
  }
}

}  // namespace

ScoreExport::ScoreExport(View view, Asked asked, std::set<v1::ScoreKind> kinds)
    : view_(std::move(view)), asked_(std::move(asked)) {
  for (const v1::ScoreKind kind :
       {v1::SCORE_KIND_PAIR, v1::SCORE_KIND_LANE, v1::SCORE_KIND_SUPPLIER}) {
    if (kinds.empty() || kinds.contains(kind)) kinds_.push_back(kind);
  }
}

// Reads on; when there is nothing left of a kind, that kind is done.
absl::Status ScoreExport::Fill() {
  if (kinds_.back() == v1::SCORE_KIND_PAIR) {
    const std::set<Pair>& pairs = view_.catalog().pairs->by_supplier;
    const auto next = last_pair_ ? pairs.upper_bound(*last_pair_) : pairs.begin();
    if (next == pairs.end()) {
      kinds_.pop_back();
      return absl::OkStatus();
    }
    last_pair_ = *next;
    const Lane& lane = next->lane;
    auto score = view_.Score(
        {next->supplier, LaneQuery{lane.origin, lane.destination, lane.service}}, asked_);
    if (!score.ok()) return score.status();
    waiting_.emplace_back(std::move(score->basis), std::move(score->answer));
    return absl::OkStatus();
  }
  const bool are_suppliers = kinds_.back() == v1::SCORE_KIND_SUPPLIER;
  auto list = are_suppliers ? view_.ListSuppliers(asked_, after_, kScoresRead, {})
                            : view_.ListLanes(asked_, after_, kScoresRead);
  if (!list.ok()) return list.status();
  after_.clear();
  if (list->answer.size() < kScoresRead) {
    kinds_.pop_back();
  } else {
    const Subject& last = list->answer.back().subject;
    after_ = are_suppliers ? *last.supplier : FormatLaneQuery(*last.lane);
  }
  for (ScoreAnswer& answer : list->answer) waiting_.emplace_back(list->basis, std::move(answer));
  return absl::OkStatus();
}

absl::StatusOr<bool> ScoreExport::Next(v1::Score& score) {
  while (waiting_.empty()) {
    if (kinds_.empty()) return false;
    if (absl::Status status = Fill(); !status.ok()) return status;
  }
  ScoreAnswer& answer = waiting_.front().second;
  answer.pairs.clear();
  WriteScore(waiting_.front().first, answer, &score);
  waiting_.pop_front();
  return true;
}

absl::StatusOr<bool> CohortExport::Next(v1::CohortBatch& batch) {
  const auto cells = NextCells(view_.snapshot(), kCellsRead, place_);
  if (!cells.ok()) return cells.status();
  for (const auto& [key, cell] : *cells) WriteCohort(key, cell, batch.add_cohorts());
  return !cells->empty();
}

absl::StatusOr<bool> EventExport::Next(v1::EventBatch& batch) {
  if (waiting_.empty()) {
    auto orders = NextOrders(view_.snapshot(), kEventsRead, place_);
    if (!orders.ok()) return orders.status();
    for (StoredOrder& order : *orders) waiting_.push_back(std::move(order));
  }
  if (waiting_.empty()) return false;
  batch.set_batch_number(++batches_);
  do {
    WriteStored(waiting_.front(), batch);
    waiting_.pop_front();
  } while (!waiting_.empty() &&
           batch.events_size() + static_cast<int>(waiting_.front().events.size()) <= kMostEvents);
  return true;
}

absl::StatusOr<bool> AssignmentExport::Next(v1::Assignment& assignment) {
  if (waiting_.empty()) {
    auto stored = NextAssignments(view_.snapshot(), kAssignmentsRead, place_);
    if (!stored.ok()) return stored.status();
    for (StoredAssignment& one : *stored) waiting_.push_back(std::move(one));
  }
  if (waiting_.empty()) return false;
  WriteAssignment(waiting_.front(), /*with_candidates=*/true, &assignment);
  waiting_.pop_front();
  return true;
}

}  // namespace plumblane
