#include "client/picks.h"

#include <absl/strings/str_cat.h>

#include <algorithm>

#include "client/text.h"

namespace plumblane::client {
namespace {

constexpr const char* kColumns[] = {
    "order_id", "shop",     "destination",   "item",   "units",   "sale",   "currency",
    "part",     "supplier", "supplier_item", "origin", "service", "landed", "landed_currency",
    "trial",    "reason",   "problem"};

std::string Problem(const v1::AssignOrderResult& result) {
  return result.field().empty() ? result.problem()
                                : absl::StrCat(result.field(), ": ", result.problem());
}

void AddPick(const v1::Assignment& pick, std::vector<CsvValue>& cells) {
  const v1::AssignmentCandidate* quoted = PickedCandidate(pick);
  const bool has_landed = quoted != nullptr && quoted->has_landed();
  cells.insert(
      cells.end(),
      {{absl::StrCat(pick.part()), true},
       {pick.supplier()},
       {pick.supplier_item()},
       {pick.lane().origin()},
       {pick.lane().service()},
       {has_landed ? AmountText(static_cast<double>(quoted->landed()), pick.currency_code()) : "",
        true},
       {has_landed ? pick.currency_code() : ""},
       {pick.trial() ? "yes" : "no"},
       {pick.reason()}});
}

std::string Line(const Pick& pick, const CsvStyle& style) {
  const v1::OrderToAssign& order = pick.order;
  std::vector<CsvValue> cells = {
      {order.order_id()},
      {order.shop()},
      {order.destination()},
      {order.item()},
      {absl::StrCat(std::max<int64_t>(1, order.unit_count())), true},
      {order.has_sale() ? AmountText(static_cast<double>(order.sale().minor_units()),
                                     order.sale().currency_code())
                        : "",
       true},
      {order.sale().currency_code()}};
  if (pick.result.has_assignment()) {
    AddPick(pick.result.assignment(), cells);
  } else {
    cells.resize(std::size(kColumns) - 1);
  }
  cells.push_back({Problem(pick.result)});
  return CsvLine(cells, style);
}

}  // namespace

const v1::AssignmentCandidate* PickedCandidate(const v1::Assignment& assignment) {
  for (const v1::AssignmentCandidate& candidate : assignment.candidates()) {
    if (candidate.supplier() == assignment.supplier() &&
        LaneText(candidate.lane()) == LaneText(assignment.lane())) {
      return &candidate;
    }
  }
  return nullptr;
}

std::string PicksText(const std::vector<Pick>& picks, const CsvStyle& style) {
  std::string text = CsvTextLine({std::begin(kColumns), std::end(kColumns)}, style);
  for (const Pick& pick : picks) text += Line(pick, style);
  return text;
}

}  // namespace plumblane::client
