// Entries in words: "on_time 2026-03-10 delivered@0", "money 2026-03-01 cost=1000".
#pragma once

#include <string>
#include <vector>

#include "cohorts/cell.h"
#include "orders/fold.h"

namespace plumblane::test {

inline std::string Word(Measure measure) {
  constexpr const char* kWords[] = {"on_time",  "defect", "handling", "transit", "delivery",
                                    "response", "money",  "underway", "overdue", "exposure"};
  return kWords[IndexOf(measure)];
}

inline std::string Word(Code code) {
  switch (code) {
    case Code::kDelivered:
      return "delivered";
    case Code::kDeliveredLate:
      return "late";
    case Code::kShipped:
      return "shipped";
    case Code::kAnswered:
      return "answered";
    case Code::kLeft:
      return "left";
    case Code::kFault:
      return "fault";
    case Code::kLost:
      return "lost";
    case Code::kClosed:
      return "closed";
    case Code::kDamaged:
      return "damaged";
    case Code::kQuality:
      return "quality";
    case Code::kCost:
      return "cost";
    case Code::kSale:
      return "sale";
    case Code::kRefundBySupplier:
      return "refund";
    case Code::kRefundByShop:
      return "shop-refund";
    case Code::kClaim:
      return "claim";
    case Code::kReplacementCost:
      return "replacement";
    case Code::kQuotedOrders:
      return "quoted-orders";
    case Code::kQuotedCost:
      return "quoted-cost";
    case Code::kQuoted:
      return "quoted";
    default:
      return "other";
  }
}

inline std::string Word(const Entry& entry) {
  std::string text = Word(entry.measure) + " " + FormatDay(entry.day);
  if (entry.excused) text += " excused";
  for (const Outcome& outcome : entry.outcomes) {
    if (HoldsSums(entry.measure)) {
      text += " " + Word(outcome.code) + "=" + std::to_string(outcome.count);
    } else {
      text += " " + Word(outcome.code) + "@" + std::to_string(outcome.bucket);
    }
  }
  return text;
}

// The entries of part 1 in one measure.
inline std::vector<std::string> In(Measure measure, const OrderState& state, size_t part = 0) {
  std::vector<std::string> words;
  for (const Entry& entry : state.parts.at(part).entries) {
    if (entry.measure == measure) words.push_back(Word(entry));
  }
  return words;
}

}  // namespace plumblane::test
