#include "engine/split.h"

#include <map>
#include <set>
#include <utility>

#include "engine/partitions.h"
#include "engine/sends.h"

namespace plumblane {
namespace {

class Splitter {
 public:
  Splitter(uint32_t partitions, const std::function<bool(int64_t)>& is_open)
      : is_open_(is_open), parts_(partitions), sends_(partitions) {}

  Submission& To(uint32_t partition) { return parts_[partition].content; }
  Submission& To(const OrderKey& order) { return To(PartitionOf(order, count())); }
  uint32_t count() const { return static_cast<uint32_t>(parts_.size()); }

  void TakeEvents(const EventList& events) {
    size_t place = 0;
    for (const OrderEvent& event : events) {
      const uint32_t partition = PartitionOf(event.order, count());
      Tells(partition, SendOf(event.event));
      parts_[partition].events.push_back(place++);
      To(partition).events.push_back(event);
    }
  }

  // What is told to all.
  template <typename T>
  void TakeForAll(const std::vector<T>& told, std::vector<T> Submission::*where) {
    if (told.empty()) return;
    for (PartOfSubmission& part : parts_) part.content.*where = told;
  }

  void TakeNews(const std::vector<SourceNews>& news) {
    for (uint32_t partition = 0; partition < count(); ++partition) {
      for (const SourceNews& one : news) Tells(partition, one.send);
    }
    TakeForAll(news, &Submission::news);
  }

  // Where nothing was told by it there is nothing to take back, but more might come.
  void TakeSendsBack(const std::vector<int64_t>& sends, int64_t last_send) {
    for (const int64_t send : sends) {
      if (send < 1 || send > last_send) continue;
      for (uint32_t partition = 1; partition < count(); ++partition) Begin(partition, send);
    }
    TakeForAll(sends, &Submission::sends_taken_back);
  }

  void TakePurges(const std::vector<Purge>& purges) {
    for (const Purge& purge : purges) {
      std::map<uint32_t, Purge> by_partition;
      for (const OrderKey& order : purge.orders) {
        Purge& part = by_partition[PartitionOf(order, count())];
        part.before = purge.before;
        part.claim_window_days = purge.claim_window_days;
        part.orders.push_back(order);
      }
      for (auto& [partition, part] : by_partition) To(partition).purges.push_back(std::move(part));
    }
  }

  void TakeErasedSuppliers(const std::vector<ErasedSupplier>& suppliers) {
    for (const ErasedSupplier& erased : suppliers) {
      for (PartOfSubmission& part : parts_) {
        part.content.erased_suppliers.push_back({erased.supplier, {}, erased.rest});
      }
      for (const OrderKey& order : erased.assigned) {
        To(order).erased_suppliers.back().assigned.push_back(order);
      }
    }
  }

  std::vector<PartOfSubmission> Take() {
    std::vector<PartOfSubmission> some;
    for (uint32_t partition = 0; partition < count(); ++partition) {
      if (To(partition).empty()) continue;
      parts_[partition].partition = partition;
      some.push_back(std::move(parts_[partition]));
    }
    return some;
  }

 private:
  void Tells(uint32_t partition, int64_t send) {
    if (partition == 0 || send == 0 || sends_[partition].contains(send)) return;
    if (is_open_(send)) Begin(partition, send);
  }
  void Begin(uint32_t partition, int64_t send) {
    if (!sends_[partition].insert(send).second) return;
    SendBegun begun;
    begun.number = send;
    To(partition).sends_begun.push_back(std::move(begun));
  }

  const std::function<bool(int64_t)>& is_open_;
  std::vector<PartOfSubmission> parts_;
  std::vector<std::set<int64_t>> sends_;  // that each part begins
};

}  // namespace

std::vector<PartOfSubmission> Split(Submission&& whole, uint32_t partitions, const Catalog& catalog,
                                    const std::function<bool(int64_t)>& is_open) {
  Splitter splitter(partitions, is_open);
  splitter.TakeEvents(whole.events);
  splitter.TakeNews(whole.news);
  splitter.TakeForAll(whole.excuses, &Submission::excuses);
  splitter.TakeSendsBack(whole.sends_taken_back, catalog.last_send);
  splitter.TakeForAll(whole.erased, &Submission::erased);
  splitter.TakePurges(whole.purges);
  splitter.TakeErasedSuppliers(whole.erased_suppliers);
  for (Assignment& one : whole.assignments) {
    splitter.To(one.order).assignments.push_back(std::move(one));
  }
  Submission& first = splitter.To(0);
  first.agreements = std::move(whole.agreements);
  first.alert_notices = std::move(whole.alert_notices);
  first.deliveries = std::move(whole.deliveries);
  for (SendBegun& begun : whole.sends_begun) first.sends_begun.push_back(std::move(begun));
  first.sends_finished = std::move(whole.sends_finished);
  // Only its day is asked for, and only where notices are.
  const auto& history = whole.history_through;
  if (history && (!catalog.history_through || DayOf(*catalog.history_through) < DayOf(*history))) {
    first.history_through = history;
  }
  return splitter.Take();
}

}  // namespace plumblane
