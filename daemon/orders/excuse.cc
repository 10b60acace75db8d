#include "orders/excuse.h"

namespace plumblane {
namespace {

bool Covers(const Excuse& excuse, const OrderKey& order, int part, const Lane& lane,
            std::optional<Day> promised_day) {
  if (excuse.withdrawn) return false;
  if (const auto* one = std::get_if<ExcusedOrder>(&excuse.subject)) {
    return one->order == order && one->part == part;
  }
  const auto& days = std::get<ExcusedDays>(excuse.subject);
  return promised_day && days.lane.Covers(lane) && *promised_day >= days.first_due &&
         *promised_day <= days.last_due;
}

}  // namespace

const Excuse* ExcuseBook::Find(const OrderKey& order, int part, const Lane& lane,
                               std::optional<Day> promised_day) const {
  for (const auto& [id, excuse] : excuses_) {
    if (Covers(excuse, order, part, lane, promised_day)) return &excuse;
  }
  return nullptr;
}

}  // namespace plumblane
