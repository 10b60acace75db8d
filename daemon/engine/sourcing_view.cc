#include <absl/strings/str_cat.h>

#include <algorithm>
#include <cmath>
#include <memory>
#include <utility>

#include "engine/pricing.h"
#include "engine/view.h"
#include "ranking/reasons.h"
#include "ranking/shares.h"

namespace plumblane {
namespace {

// A share of the orders worth a word, and a silence.
constexpr double kMuch = 0.4;
constexpr double kSilentDays = 5;

std::string PauseReason(const Pause& pause) {
  return absl::StrCat("paused", pause.until ? absl::StrCat(" until ", FormatDay(*pause.until)) : "",
                      pause.reason.empty() ? "" : absl::StrCat(": ", pause.reason));
}

// Puts the cheapest first.
void SortByCost(std::vector<SourcingCandidate>& candidates) {
  std::vector<std::pair<double, size_t>> order;  // expected cost, place
  order.reserve(candidates.size());
  for (const SourcingCandidate& one : candidates) {
    order.emplace_back(one.priced->cost.belief.Expected(), order.size());
  }
  std::sort(order.begin(), order.end(), [&](const auto& x, const auto& y) {
    return x.first != y.first ? x.first < y.first
                              : candidates[x.second].pair < candidates[y.second].pair;
  });
  std::vector<SourcingCandidate> sorted;
  sorted.reserve(order.size());
  for (const auto& [cost, place] : order) sorted.push_back(std::move(candidates[place]));
  candidates = std::move(sorted);
}

// Puts the cheapest first, with chances, shares and reasons.
void RankByCost(std::vector<SourcingCandidate>& candidates, const ShareRules& shares,
                const std::string& currency, size_t told) {
  if (candidates.empty()) return;
  SortByCost(candidates);
  std::vector<CostBelief> beliefs;
  beliefs.reserve(candidates.size());
  for (const SourcingCandidate& one : candidates) beliefs.push_back(one.priced->cost.belief);
  const std::vector<double> chances = ChancesOfCheapest(beliefs);
  const std::vector<double> given = SharesToGive(beliefs, shares);
  const auto cheapest =
      std::min_element(candidates.begin(), candidates.end(),
                       [](const SourcingCandidate& x, const SourcingCandidate& y) {
                         return x.priced->landed < y.priced->landed;
                       });
  const auto named = [](const SourcingCandidate& one) {
    return Named{one.pair.supplier, one.priced->cost.parts};
  };
  for (size_t i = 0; i < candidates.size(); ++i) {
    SourcingCandidate& one = candidates[i];
    one.priced->cheapest_chance = chances[i];
    one.share = given[i];
    if (i >= told) continue;
    one.priced->quantiles = QuantilesOf(beliefs[i]);
    one.ranked.reason = i == 0 ? WhyFirst(named(one), named(*cheapest), currency)
                               : WhyNotFirst(named(one), named(candidates[0]), currency);
    one.ranked.close_to_first =
        i > 0 && one.priced->quantiles.low <= candidates[0].priced->quantiles.high;
  }
}

}  // namespace

// Puts an answer together, step by step.
class View::Sourcer {
 public:
  Sourcer(const View& view, const Question& question, const OrderToSource& order, size_t told)
      : view_(view),
        question_(question),
        order_(order),
        told_(told),
        agreements_(*view.catalog_->agreements),
        today_(DayOf(question.basis.as_of)),
        offers_(agreements_.quotes.OffersTo(order.destination, order.item, order.units, today_)) {}

  absl::StatusOr<SourcingAnswer> Run() {
    const CostClass* costs = ChooseOrder();
    if (absl::Status status = Collect(); !status.ok()) return status;
    if (answer_.by_cost && !CanJudge()) {
      answer_.by_cost = false;
      answer_.order_reason = "no order of any supplier has settled yet: nothing to reckon with";
    }
    if (answer_.by_cost) {
      answer_.costs = *costs;
      answer_.currency = agreements_.costs.currency;
      answer_.trials_on = agreements_.costs.trials.on;
      if (absl::Status status = ReadSale(); !status.ok()) return status;
    }
    answer_.candidates.reserve(asked_.size());
    for (const OneAsked& one : asked_) {
      if (absl::Status status = Consider(one); !status.ok()) return status;
    }
    if (answer_.by_cost) {
      RankByCost(answer_.candidates, Shares(), answer_.currency, told_);
    } else {
      RankByShare();
    }
    if (absl::Status status = Tell(); !status.ok()) return status;
    std::sort(answer_.excluded.begin(), answer_.excluded.end(),
              [](const ExcludedPair& x, const ExcludedPair& y) { return x.pair < y.pair; });
    return std::move(answer_);
  }

 private:
  // One that may be asked for: it has shipped there, or quotes.
  struct OneAsked {
    const Pair* pair;
    const Outlooks::OfPair* known;  // null: has not shipped, or is not ranked by cost
  };

  bool IsAskedFor(const Lane& lane) const {
    return (!order_.origin || *order_.origin == lane.origin) &&
           (!order_.service || *order_.service == lane.service);
  }

  absl::Status Collect() {
    std::vector<const Pair*> shipped;
    if (answer_.by_cost) {
      auto outlooks = view_.AskOutlooks(order_.destination, question_);
      if (!outlooks.ok()) return outlooks.status();
      outlooks_ = *std::move(outlooks);
      for (const Outlooks::OfPair& one : outlooks_->pairs) {
        if (IsAskedFor(one.pair.lane)) asked_.push_back({&one.pair, &one});
      }
    } else {
      const auto& by_destination = view_.catalog_->pairs->by_destination;
      const auto at = by_destination.find(order_.destination);
      if (at != by_destination.end()) {
        for (const auto& [lane, supplier] : at->second) {
          if (IsAskedFor(lane)) shipped_.push_back({supplier, lane});
        }
      }
      std::sort(shipped_.begin(), shipped_.end());
      for (const Pair& pair : shipped_) asked_.push_back({&pair, nullptr});
    }
    for (const OneAsked& one : asked_) shipped.push_back(one.pair);
    offering_ = PairsOffering(order_, offers_, shipped);
    const auto before = static_cast<std::ptrdiff_t>(asked_.size());
    for (const Pair& pair : offering_) asked_.push_back({&pair, nullptr});
    std::inplace_merge(
        asked_.begin(), asked_.begin() + before, asked_.end(),
        [](const OneAsked& one, const OneAsked& other) { return *one.pair < *other.pair; });
    return absl::OkStatus();
  }

  // By cost, but for what could not be known yet; null when not.
  const CostClass* ChooseOrder() {
    const CostSettings& settings = agreements_.costs;
    const CostClass* costs = settings.Find(order_.shop, agreements_.items.ClassOf(order_.item));
    if (settings.currency.empty()) {
      answer_.order_reason = "no cost settings were loaded (plumblane costs load)";
    } else if (costs == nullptr) {
      answer_.order_reason = "the cost settings have no class for this shop and item";
    } else if (agreements_.quotes.all().empty()) {
      answer_.order_reason = "no quotes were loaded (plumblane quotes load)";
    } else {
      answer_.by_cost = true;
    }
    return costs;
  }

  bool CanJudge() const {
    if (asked_.empty()) return true;
    const Priors priors = question_.fleet->priors.Of({asked_[0].pair, 1});
    return priors.late && priors.defect;
  }

  // What a customer pays, in the currency of the costs.
  absl::Status ReadSale() {
    answer_.sale = answer_.costs.sale;
    if (order_.sale) {
      const auto converted = agreements_.exchange.Convert(*order_.sale, answer_.currency, today_);
      if (!converted.ok()) {
        return absl::InvalidArgumentError(
            absl::StrCat("sale: ", std::string(converted.status().message())));
      }
      answer_.sale = converted->money.minor_units;
    }
    if (!answer_.sale) {
      answer_.order_reason = "no sale price is known: what would be refunded counts as nothing";
    }
    return absl::OkStatus();
  }

  // Among the candidates, or among the excluded with the reason.
  absl::Status Consider(const OneAsked& one) {
    const Pair& pair = *one.pair;
    SourcingCandidate candidate;
    candidate.pair = pair;
    auto why_not = CannotTake(candidate);
    if (!why_not.ok()) return why_not.status();
    if (why_not->empty() && answer_.by_cost) *why_not = Price(one, candidate);
    if (!why_not->empty()) {
      answer_.excluded.push_back({pair, *std::move(why_not)});
      return absl::OkStatus();
    }
    if (!answer_.by_cost) judged_.push_back(question_.fleet->CandidateOf(pair));
    candidate.supplier_item = agreements_.items.CodeAt(pair.supplier, order_.item);
    answer_.candidates.push_back(std::move(candidate));
    return absl::OkStatus();
  }

  // What it is expected to cost; why there is no price, or "".
  std::string Price(const OneAsked& one, SourcingCandidate& candidate) const {
    auto offer = PriceOf(*one.pair, order_, offers_, agreements_, today_, answer_.sale);
    if (!offer.ok()) return std::string(offer.status().message());
    candidate.priced = std::make_shared<PricedCandidate>(std::move(offer->priced));
    if (one.known != nullptr) {
      candidate.ranked = FiguresOf(one.known->judged);
      candidate.priced->cost = CostOf(offer->terms, outlooks_->BeliefOf(*one.known), answer_.costs);
    } else {
      const RankCandidate judged = question_.fleet->CandidateOf(*one.pair);
      candidate.ranked = FiguresOf(judged);
      candidate.priced->cost =
          CostOf(offer->terms, outlooks_->BeliefOf(*one.pair, judged), answer_.costs);
    }
    return "";
  }

  // Why the supplier can take no order now; "" when it can. Fills in what is left of its month.
  absl::StatusOr<std::string> CannotTake(SourcingCandidate& candidate) const {
    const std::string& supplier = candidate.pair.supplier;
    if (std::find(order_.could_not.begin(), order_.could_not.end(), supplier) !=
        order_.could_not.end()) {
      return std::string("could not deliver this order");
    }
    if (const Pause* pause = agreements_.terms.PausedOn(supplier, today_)) {
      return PauseReason(*pause);
    }
    const HeldTerms* terms = agreements_.terms.Find(supplier);
    if (terms == nullptr) return std::string();
    const Day open = FirstOpenDay(today_, terms->terms.closures);
    if (today_ < open) candidate.closed_until = open;
    const std::optional<int64_t>& limit = terms->terms.monthly_order_limit;
    if (!limit) return std::string();
    const auto use = view_.MonthUse(supplier);
    if (!use.ok()) return use.status();
    const auto given = order_.given.find(supplier);
    const int64_t taken =
        use->paid_count + use->assigned_count + (given == order_.given.end() ? 0 : given->second);
    candidate.remaining = std::max<int64_t>(0, *limit - taken);
    if (*candidate.remaining > 0) return std::string();
    return absl::StrCat("its limit of ", *limit, " orders a month is reached; the next begins on ",
                        FormatDay(use->month.next));
  }

  void RankByShare() {
    std::vector<SourcingCandidate> ranked;
    ranked.reserve(judged_.size());
    for (const Ranked& one : RankByBadShare(judged_, told_)) {
      ranked.push_back(std::move(answer_.candidates[one.candidate]));
      ranked.back().ranked = one;
    }
    answer_.candidates = std::move(ranked);
    if (!answer_.candidates.empty()) answer_.candidates[0].share = 1;
  }

  ShareRules Shares() const {
    ShareRules rules;
    rules.trials = answer_.trials_on;
    rules.half_life_days = question_.basis.half_life_days;
    // Steady orders of n a day weigh n half-lives / ln 2.
    rules.orders_a_day = outlooks_->all.orders * std::log(2.0) / rules.half_life_days;
    const TrialSettings& trials = agreements_.costs.trials;
    rules.most_share = trials.most_share;
    if (trials.most_cost) rules.most_cost = static_cast<double>(*trials.most_cost);
    return rules;
  }

  absl::Status Tell() {
    for (size_t i = 0; i < answer_.candidates.size(); ++i) {
      SourcingCandidate& one = answer_.candidates[i];
      one.ranked.candidate = i;
      if (i >= told_) continue;
      auto score = view_.ReadScore(one.pair, question_);
      if (!score.ok()) return score.status();
      one.score = *std::move(score);
      if (absl::Status status = AddNotes(one); !status.ok()) return status;
    }
    return absl::OkStatus();
  }

  absl::Status AddNotes(SourcingCandidate& one) {
    if (one.closed_until) {
      one.notes.push_back(absl::StrCat("closed until ", FormatDay(*one.closed_until)));
    }
    const auto supplier = outlooks_->suppliers.find(one.pair.supplier);
    if (supplier != outlooks_->suppliers.end() && outlooks_->all.orders > 0) {
      const double share = supplier->second.orders / outlooks_->all.orders;
      if (share >= kMuch) {
        one.notes.push_back(absl::StrCat("gets ", std::lround(100 * share), " % of the orders to ",
                                         order_.destination, " already"));
      }
    }
    const auto waiting = view_.WaitingFor(one.pair.supplier, {&one.pair, 1});
    if (!waiting.ok()) return waiting.status();
    for (const auto& [currency, sum] : waiting->exposure) {
      one.notes.push_back(absl::StrCat(FormatMoney({sum, currency}), " paid for ",
                                       waiting->underway_count, " orders under way on this lane"));
    }
    if (waiting->silent_days && *waiting->silent_days >= kSilentDays) {
      one.notes.push_back(
          absl::StrCat("not heard of for ", std::lround(*waiting->silent_days), " days"));
    }
    if (one.score->defect_kinds) {
      for (const Code kind : {Code::kUnsafe, Code::kCounterfeit}) {
        if (one.score->defect_kinds->Of(kind) == 0) continue;
        one.notes.push_back(absl::StrCat(kind == Code::kUnsafe ? "unsafe" : "counterfeit",
                                         " goods were reported: stop selling them, look up what "
                                         "product-safety law asks of you"));
      }
    }
    return absl::OkStatus();
  }

  const View& view_;
  const Question& question_;
  const OrderToSource& order_;
  const size_t told_;
  const Agreements& agreements_;
  const Day today_;
  const std::vector<const HeldQuote*> offers_;
  // Of all that have shipped to the destination: what is believed of a candidate does not depend on
  // who else was asked for. Empty when not ranked by cost.
  std::shared_ptr<const Outlooks> outlooks_ = std::make_shared<const Outlooks>();
  std::vector<Pair> shipped_, offering_;
  std::vector<OneAsked> asked_;        // ascending by pair
  std::vector<RankCandidate> judged_;  // along answer_.candidates, unless ranked by cost
  SourcingAnswer answer_;
};

absl::StatusOr<WithBasis<SourcingAnswer>> View::Source(const OrderToSource& order,
                                                       const Asked& asked, size_t told) const {
  const auto question = Put(asked, Scope::kCounted);
  if (!question.ok()) return question.status();
  auto answer = Sourcer(*this, *question, order, told).Run();
  if (!answer.ok()) return answer.status();
  return WithBasis<SourcingAnswer>{question->basis, *std::move(answer)};
}

absl::StatusOr<std::shared_ptr<const Outlooks>> View::AskOutlooks(const std::string& destination,
                                                                  const Question& question) const {
  return memory_->outlooks.Ask({EndedDays(question.moment), question.rules, destination},
                               {catalog_->log_sequence, catalog_->pairs, question.fleet,
                                [this](const Pair& pair) { return Read(pair); }});
}

}  // namespace plumblane
