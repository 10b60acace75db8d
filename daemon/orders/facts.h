// The two halves of the fold: from the events in effect to the facts of a part (facts.cc), from the
// facts to its cohort entries (entries.cc). Private to orders/.
#pragma once

#include <span>
#include <vector>

#include "orders/fold.h"

namespace plumblane {

// The facts of one part into `state`, which is new. `events` are the part's, all of them; `ignored`
// runs along.
void ReadPart(const OrderKey& order, int part, std::span<const Event* const> events,
              std::span<const Ignored> ignored, const FoldRules& rules, const ExcuseBook& excuses,
              PartState& state);

// The kind of defect that a claim or refund for the reason is for; none when it is for no defect.
std::optional<Code> DefectKind(Reason reason);

// The part has an early cancellation (fold.h).
bool CancelledEarly(const PartState& part);

// How the cost of a part and of those that replaced it counts.
struct ReplacementCost {
  bool own_counts_elsewhere = false;               // with the part that this one replaced
  std::map<std::string, int64_t> of_replacements;  // minor units by currency
};

// Second half: what a part adds to the cohorts.
std::vector<Entry> EntriesOf(const PartState& part, const ReplacementCost& cost,
                             const FoldRules& rules);

}  // namespace plumblane
