#include <absl/strings/str_cat.h>

#include <algorithm>
#include <string_view>
#include <utility>

#include "engine/order_pass.h"
#include "engine/period_cells.h"
#include "engine/review_counting.h"
#include "engine/shop_cells.h"
#include "engine/view.h"
#include "review/changes.h"
#include "review/figures.h"
#include "review/points.h"
#include "review/portions.h"
#include "storage/keys.h"
#include "storage/order_codec.h"

namespace plumblane {
namespace {

constexpr size_t kFoldingThreads = 2;

// No order of the period is in it; what is under way may be of any.
bool IsEmpty(const Figures& figures) {
  const auto only_exposure = [](const auto& money) {
    MoneyFigures rest = money.second;
    rest.exposure = 0;
    return rest == MoneyFigures{};
  };
  return figures.order_count == 0 && figures.late.orders == 0 && figures.defect.orders == 0 &&
         figures.unsettled == 0 && figures.transit.entered_count == 0 &&
         figures.response.entered_count == 0 &&
         std::all_of(figures.money.begin(), figures.money.end(), only_exposure);
}

}  // namespace

// Makes one review: what orders tell, the cells of pair after pair, then what is judged of all.
class View::Reviewer {
 public:
  Reviewer(const View& view, const ReviewAsked& asked) : view_(view), asked_(asked) {
    answer_.periods = {asked.period, PeriodBefore(asked.period), YearBefore(asked.period)};
    answer_.as_of = asked.as_of.value_or(view.now_);
    answer_.news = view.catalog_->NewsHorizon();
    rules_ = {view.MomentOf(asked.as_of), view.rules_.claim_window_days,
              view.rules_.fold.lost_after_days, asked.to_share};
    const Instant closed = EndOf(asked.period.last + rules_.claim_window_days);
    answer_.provisional = rules_.moment.horizon < closed;
    answer_.final_day = DayOf(closed + view.rules_.settle_delay_millis + (kMillisPerDay - 1));
    for (const Period& one : answer_.periods) {
      if (IsCut(one)) answer_.kept_from = DayOf(*view.catalog_->purged_before + kMillisPerDay - 1);
    }
    const Agreements& agreements = *view.catalog_->agreements;
    if (!asked.to_share && !agreements.costs.currency.empty()) priced_ = &agreements;
  }

  absl::StatusOr<ReviewAnswer> Run(const std::function<bool()>& give_up) {
    absl::Status status = CheckAsked();
    // Stored counts do not tell shops apart.
    if (status.ok() && !asked_.shop.empty()) status = CheckKept();
    if (status.ok()) status = CountOrders(give_up);
    if (status.ok()) status = CountAssignments();
    if (status.ok()) status = CountCells(give_up);
    if (!status.ok()) return status;
    Finish();
    return std::move(answer_);
  }

  absl::Status Evidence(const std::function<bool(const EvidenceOrder&)>& each) {
    if (absl::Status status = CheckAsked(); !status.ok()) return status;
    if (absl::Status status = CheckKept(); !status.ok()) return status;
    absl::Status bad;
    const OrderTally tally(answer_.periods, rules_, nullptr);
    const absl::Status scanned = view_.snapshot_->Scan(
        Space::kOrders, ShopPrefix(asked_.shop), "", [&](auto key, auto record) {
          const auto plain = ReadPlainOrder(record);
          if (plain && (IsOther(*plain) ||
                        tally.LookAt(*plain, view_.rules_.fold) != OrderTally::Plain::kMore)) {
            return true;
          }
          const auto events = DecodeOrder(record);
          bad.Update(events.status());
          if (!events.ok()) return false;
          if (IsOther(*events)) return true;
          const OrderKey order = ParseOrderRecordKey(key);
          for (PartState& part :
               Fold(order, *events, view_.rules_.fold, *view_.catalog_->excuses).parts) {
            if (!part.counts() || !Covers(part.supplier, part.lane)) continue;
            EvidenceOrder one{order, {}, OutcomeOf(*events, part, rules_), {}};
            one.findings = FindingsOf(one.outcome, asked_.period);
            if (one.findings.empty()) continue;
            one.part = KnownBy(std::move(part), rules_.moment.underway_limit);
            if (!each(one)) return false;
          }
          return true;
        });
    bad.Update(scanned);
    return bad;
  }

 private:
  absl::Status CheckAsked() const {
    if (DayOf(answer_.as_of) < asked_.period.first) {
      return absl::InvalidArgumentError(absl::StrCat(
          "first_date: expected a day that has begun by ", FormatInstant(answer_.as_of),
          ", the moment asked about; got ", FormatDay(asked_.period.first)));
    }
    if (const absl::Status known = CheckShop(*view_.snapshot_, asked_.shop); !known.ok()) {
      return known;
    }
    const auto& pairs = view_.catalog_->pairs->by_supplier;
    const auto covered = [&](const Pair& pair) { return Covers(pair.supplier, pair.lane); };
    if ((asked_.supplier.empty() && !asked_.lane) ||
        std::any_of(pairs.begin(), pairs.end(), covered)) {
      return absl::OkStatus();
    }
    return absl::NotFoundError(absl::StrCat(
        "no order names ", asked_.supplier.empty() ? "" : "supplier " + asked_.supplier,
        asked_.supplier.empty() || !asked_.lane ? "" : " on ",
        asked_.lane ? "lane " + FormatLaneQuery(*asked_.lane) : ""));
  }

  // Orders of the period may be no longer kept.
  bool IsCut(const Period& period) const {
    const std::optional<Instant>& purged = view_.catalog_->purged_before;
    return purged && StartOf(period.first) < *purged;
  }

  absl::Status CheckKept() const {
    const std::optional<Day>& from = answer_.kept_from;
    if (!from || (asked_.shop.empty() && *from <= asked_.period.first)) return absl::OkStatus();
    return absl::FailedPreconditionError(
        absl::StrCat("orders that were over before ", FormatDay(*from),
                     " are no longer kept, so they cannot be told one by one or by shop; a review "
                     "of all shops still counts them"));
  }

  bool OnLane(const Lane& lane) const { return !asked_.lane || asked_.lane->Covers(lane); }
  bool Covers(const std::string& supplier, const Lane& lane) const {
    return OnLane(lane) && (asked_.supplier.empty() || asked_.supplier == supplier);
  }

  // No part of it can be the supplier's that was asked for.
  bool IsOther(const std::vector<Event>& events) const {
    return !asked_.supplier.empty() &&
           std::none_of(events.begin(), events.end(),
                        [&](const Event& event) { return event.supplier == asked_.supplier; });
  }

  bool IsOther(const PlainOrder& order) const {
    return !asked_.supplier.empty() && !order.supplier.empty() && asked_.supplier != order.supplier;
  }

  // It was over before the first day that counts.
  static bool IsPast(const std::vector<Event>& events, Instant start) {
    bool delivered = false;
    for (const Event& event : events) {
      if (start <= event.time || (event.promise && start <= *event.promise)) return false;
      if (event.type == EventType::kRetracted || event.revision) return false;
      delivered |= event.type == EventType::kDelivered;
    }
    return delivered;
  }

  absl::Status CountOrders(const std::function<bool()>& give_up) {
    const Instant start = StartOf(std::min(answer_.periods[1].first, answer_.periods[2].first));
    const std::vector<Period> ranges = RangesOf(answer_.periods);
    std::vector<OrderTally> tallies(kFoldingThreads, OrderTally(answer_.periods, rules_, priced_));
    std::vector<ShopCells> cells(kFoldingThreads);
    const bool of_shop = !asked_.shop.empty();
    OrderPass pass{*view_.snapshot_,
                   view_.rules_.fold,
                   *view_.catalog_->excuses,
                   [&](size_t thread, std::string_view key, const PlainOrder& order) {
                     return AddPlain(key, order, tallies[thread]);
                   },
                   [&](const std::vector<Event>& events) {
                     // Of other suppliers' orders shares are made.
                     return (IsOther(events) && (!of_shop || asked_.to_share)) ||
                            IsPast(events, start);
                   },
                   give_up,
                   asked_.shop};
    if (of_shop) pass.plain = {};  // its cells are made of what the fold finds
    const absl::Status read = ForEachOrder(
        pass, kFoldingThreads,
        [&](size_t thread, const OrderKey& order, const auto& events, const OrderState& state) {
          for (const PartState& part : state.parts) {
            if (part.counts() && Covers(part.supplier, part.lane)) {
              tallies[thread].Add(order, events, part);
            }
            if (of_shop && part.counts()) cells[thread].Add(part, ranges);
          }
        });
    orders_ = tallies[0].Take();
    for (size_t i = 1; i < kFoldingThreads; ++i) orders_.Add(tallies[i].Take());
    for (const ShopCells& some : cells) shop_cells_.Add(some);
    return read;
  }

  // False: it must be folded.
  bool AddPlain(std::string_view key, const PlainOrder& order, OrderTally& tally) const {
    if (IsOther(order)) return true;
    const OrderTally::Plain plain = tally.LookAt(order, view_.rules_.fold);
    if (plain == OrderTally::Plain::kMore) return false;
    if (plain == OrderTally::Plain::kNothing) return true;
    const ExcuseBook& excuses = *view_.catalog_->excuses;
    if (asked_.lane || !excuses.all().empty()) {
      const Lane lane{std::string(order.origin), std::string(order.destination),
                      std::string(order.service)};
      if (!OnLane(lane)) return true;
      const Day due = DayOf(order.promise->time + view_.rules_.fold.tolerance_millis);
      if (excuses.Find(ParseOrderRecordKey(key), order.part, lane, due) != nullptr) return false;
    }
    tally.AddOnTime(order.supplier, order.item);
    return true;
  }

  absl::Status CountAssignments() {
    if (asked_.to_share) return absl::OkStatus();
    return view_.EachAssignment(StartOf(asked_.period.first),
                                std::min(EndOf(asked_.period.last), answer_.as_of + 1),
                                [&](const StoredAssignment& stored) {
                                  const Assignment& one = stored.assignment;
                                  if (!Covers(one.pick.supplier, one.pick.lane) ||
                                      (!asked_.shop.empty() && asked_.shop != one.order.shop)) {
                                    return true;
                                  }
                                  AssignedCount& count = assigned_[one.pick];
                                  ++count.count;
                                  count.trials += one.trial ? 1 : 0;
                                  count.chosen += one.mode == AssignMode::kChosen ? 1 : 0;
                                  if (one.expected_saving && one.mode != AssignMode::kChosen) {
                                    count.savings[one.currency].first += *one.expected_saving;
                                    ++count.savings[one.currency].second;
                                  }
                                  return true;
                                });
  }

  absl::Status CountCells(const std::function<bool()>& give_up) {
    std::vector<const Pair*> pairs;
    for (const Pair& pair : view_.catalog_->pairs->by_supplier) {
      const bool needed = !asked_.to_share || Covers(pair.supplier, pair.lane);
      if (OnLane(pair.lane) && needed) pairs.push_back(&pair);
    }
    const PairCount count{*view_.snapshot_,
                          answer_.periods,
                          rules_,
                          orders_.pairs,
                          assigned_,
                          [&](const Pair& pair) { return Covers(pair.supplier, pair.lane); },
                          [&](Kept& kept, const Counting& counted, const std::string& supplier,
                              const auto& lane) { Keep(kept, counted, supplier, lane); },
                          give_up,
                          asked_.shop.empty() ? nullptr : &shop_cells_};
    auto counted = CountPairs(count, pairs);
    if (counted.ok()) counted_ = *std::move(counted);
    return counted.status();
  }

  // Makes the account of what was counted, where there was any order. From several threads, each
  // with suppliers of its own.
  void Keep(Kept& kept, const Counting& counted, const std::string& supplier,
            const std::optional<LaneQuery>& lane) {
    const Scope scope = supplier.empty() ? Scope::kWithExcused : Scope::kCounted;
    std::array<Figures, kPeriodCount> figures;
    for (size_t i = 0; i < kPeriodCount; ++i) {
      figures[i] = counted.figures[i].Make(scope);
      figures[i].orders_gone = IsCut(answer_.periods[i]);
      counted.orders.in[i].PutInto(figures[i]);
    }
    if (IsEmpty(figures[0]) && IsEmpty(figures[1])) return;
    Account account;
    account.supplier = supplier;
    account.lane = lane;
    account.period = std::move(figures[0]);
    if (!IsEmpty(figures[1])) account.before = std::move(figures[1]);
    if (!IsEmpty(figures[2])) account.year_ago = std::move(figures[2]);
    const auto compare = [&](Which which, Change::Against against) {
      const auto changes = counted.figures[0].TimesAgainst(
          counted.figures[static_cast<size_t>(which)], against, scope);
      account.times_changes.insert(account.times_changes.end(), changes.begin(), changes.end());
    };
    if (account.before) compare(Which::kBefore, Change::Against::kPeriodBefore);
    if (account.year_ago) compare(Which::kYearAgo, Change::Against::kYearAgo);
    const bool all_kept = !account.period.orders_gone;
    if (all_kept) account.excuses = counted.orders.excuses;
    if (all_kept) account.paid_for = counted.orders.paid_for;
    if (!account.IsPair()) {
      account.weeks = counted.figures[0].Weeks(scope);
      account.transit = counted.figures[0].TransitCurve(scope);
      account.transit_before = counted.figures[1].TransitCurve(scope);
    }
    if (account.IsSupplier()) {
      const auto items = orders_.items.find(supplier);
      if (all_kept && items != orders_.items.end()) account.item_counts = std::move(items->second);
      if (priced_ != nullptr && all_kept) account.costs = counted.orders.costs;
      const HeldTerms* terms = view_.catalog_->agreements->terms.Find(supplier);
      if (terms != nullptr) account.targets = ReadTargets(terms->terms.targets, account.period);
    }
    ReviewedAccount rest;
    rest.assigned = counted.assigned;
    rest.alerts =
        AlertMarksOf(*view_.catalog_->alerts, account, asked_.period, rules_.moment.underway_limit);
    kept.accounts.push_back(std::move(account));
    kept.rest.push_back(std::move(rest));
  }

  // ---- shares of suppliers, and what is judged over all accounts

  std::optional<double> WorthOf(const Money& money) const {
    if (answer_.currency.empty()) return std::nullopt;
    const auto converted =
        view_.catalog_->agreements->exchange.Convert(money, answer_.currency, DayOf(answer_.as_of));
    if (!converted.ok()) return std::nullopt;
    return static_cast<double>(converted->money.minor_units);
  }

  static std::array<Figures*, kPeriodCount> FiguresOf(Account& account) {
    return {&account.period, account.before ? &*account.before : nullptr,
            account.year_ago ? &*account.year_ago : nullptr};
  }

  void Concentrate(Account& account, const Counting& counted) const {
    const auto figures = FiguresOf(account);
    for (size_t i = 0; i < kPeriodCount; ++i) {
      if (figures[i] == nullptr) continue;
      Shares(counted.portions[i], worth_).PutConcentration(*figures[i]);
    }
  }

  void ShareOut() {
    for (size_t i = 0; i < kPeriodCount; ++i) {
      const Shares shares(counted_.all.portions[i], worth_);
      for (Account& account : counted_.suppliers.accounts) {
        Figures* figures = FiguresOf(account)[i];
        if (figures != nullptr) shares.Put(account.supplier, *figures);
      }
    }
  }

  void Finish() {
    const ReviewCurrency currency =
        ChooseCurrency(counted_.all.portions[0], priced_ == nullptr ? "" : priced_->costs.currency,
                       asked_.to_share);
    answer_.currency = currency.code;
    answer_.currency_problem = currency.problem;
    if (!asked_.to_share) ShareOut();
    Kept made;
    if (asked_.supplier.empty()) {
      Keep(made, counted_.all, "", {});
      if (!made.accounts.empty()) Concentrate(made.accounts.back(), counted_.all);
      made.Add(std::move(counted_.suppliers));
      for (const auto& [ends, counted] : counted_.lanes) {
        const size_t before = made.accounts.size();
        const auto service = asked_.lane ? asked_.lane->service : std::nullopt;
        Keep(made, counted, "", LaneQuery{ends.first, ends.second, service});
        if (before < made.accounts.size()) Concentrate(made.accounts.back(), counted);
      }
    } else {
      made.Add(std::move(counted_.suppliers));
    }
    made.Add(std::move(counted_.pairs));
    answer_.accounts = std::move(made.accounts);
    answer_.rest = std::move(made.rest);
    answer_.comparison_count = JudgeChanges(answer_.accounts);
    const Stakes stakes{answer_.currency, worth_};
    for (Account& account : answer_.accounts) {
      if (!account.IsSupplier()) continue;
      account.points = PointsToRaise(account, stakes);
      account.at_stake = AtStake(account.points, stakes);
    }
  }

  const View& view_;
  const ReviewAsked& asked_;
  ReviewRules rules_;
  const Agreements* priced_ = nullptr;
  ReviewAnswer answer_;
  OrderSums orders_;
  ShopCells shop_cells_;  // with a shop asked for
  std::map<Pair, AssignedCount> assigned_;
  CountedPairs counted_;
  const Worth worth_ = [this](const Money& money) { return WorthOf(money); };
};

absl::StatusOr<ReviewAnswer> View::Review(const ReviewAsked& asked,
                                          const std::function<bool()>& give_up) const {
  return Reviewer(*this, asked).Run(give_up);
}

absl::Status View::Evidence(const ReviewAsked& asked,
                            const std::function<bool(const EvidenceOrder&)>& each) const {
  return Reviewer(*this, asked).Evidence(each);
}

}  // namespace plumblane
