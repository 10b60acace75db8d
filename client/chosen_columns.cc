#include "client/chosen_columns.h"

#include <algorithm>
#include <iterator>

namespace plumblane::client {
namespace {

using Kind = ColumnGuess::Kind;

constexpr std::string_view kNumbers[] = {"promise_days", "units", "cost", "sale",
                                         "refund",       "claim", "part", "replaces"};
constexpr std::string_view kReasoned[] = {"disputed", "refunded", "cancelled"};

bool Fits(const ColumnFacts& facts, std::string_view field) {
  if (facts.filled() == 0) return false;
  if (field == "promise" || field == "time") return !facts.date_forms().empty();
  const bool needs_number =
      std::find(std::begin(kNumbers), std::end(kNumbers), field) != std::end(kNumbers);
  return !needs_number || facts.is_number();
}

class Chooser {
 public:
  Chooser(const std::vector<ColumnGuess>& guesses, const std::vector<ColumnFacts>& facts,
          std::vector<bool> is_out)
      : guesses_(guesses), facts_(facts) {
    chosen_.is_used = std::move(is_out);
  }

  ChosenColumns Choose() {
    for (const std::string_view fact : kOrderFacts) {
      chosen_.facts.push_back(Take(Kind::kFact, fact, fact));
    }
    for (const std::string_view type : kEventTypes) {
      chosen_.events.push_back(Take(Kind::kEvent, type, "time"));
    }
    chosen_.refund = Take(Kind::kDetail, "refund", "refund");
    // "Refunded" may be how much rather than when.
    if (chosen_.refund == kNoColumn) chosen_.refund = Take(Kind::kEvent, "refunded", "refund");
    chosen_.claim = Take(Kind::kDetail, "claim", "claim");
    chosen_.by = Take(Kind::kDetail, "by", "by");
    for (const std::string_view type : kReasoned) {
      chosen_.reasons.emplace_back(type, Take(Kind::kDetail, type, "reason"));
    }
    // A plain "Reason" is that of the first of these events that has none of its own.
    for (auto& [type, column] : chosen_.reasons) {
      if (column != kNoColumn || chosen_.event(type) == kNoColumn) continue;
      column = Take(Kind::kDetail, "reason", "reason");
    }
    chosen_.status = Take(Kind::kStatus, "", "status");
    if (chosen_.status != kNoColumn) chosen_.status_time = Take(Kind::kStatusTime, "", "time");
    return std::move(chosen_);
  }

 private:
  // Those whose name leaves nothing open come first.
  int Rank(size_t column) const {
    return guesses_[column].exactness + (guesses_[column].question.empty() ? 1000 : 0);
  }

  size_t Take(Kind kind, std::string_view word, std::string_view field) {
    size_t best = kNoColumn;
    for (size_t i = 0; i < guesses_.size(); ++i) {
      if (chosen_.is_used[i] || guesses_[i].kind != kind || guesses_[i].word != word) continue;
      if (!Fits(facts_[i], field)) continue;
      if (best == kNoColumn || Rank(i) > Rank(best)) best = i;
    }
    if (best != kNoColumn) chosen_.is_used[best] = true;
    return best;
  }

  const std::vector<ColumnGuess>& guesses_;
  const std::vector<ColumnFacts>& facts_;
  ChosenColumns chosen_;
};

}  // namespace

size_t ChosenColumns::fact(std::string_view name) const {
  const auto it = std::find(std::begin(kOrderFacts), std::end(kOrderFacts), name);
  return facts[static_cast<size_t>(it - std::begin(kOrderFacts))];
}

size_t ChosenColumns::event(std::string_view type) const {
  const auto it = std::find(std::begin(kEventTypes), std::end(kEventTypes), type);
  return events[static_cast<size_t>(it - std::begin(kEventTypes))];
}

size_t ChosenColumns::reason(std::string_view type) const {
  for (const auto& [of, column] : reasons) {
    if (of == type) return column;
  }
  return kNoColumn;
}

ChosenColumns ChooseColumns(const std::vector<ColumnGuess>& guesses,
                            const std::vector<ColumnFacts>& facts, std::vector<bool> is_out) {
  return Chooser(guesses, facts, std::move(is_out)).Choose();
}

}  // namespace plumblane::client
