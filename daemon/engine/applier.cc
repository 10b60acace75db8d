#include "engine/applier.h"

#include <absl/strings/str_cat.h>

#include <algorithm>
#include <array>
#include <iterator>
#include <map>
#include <set>
#include <utility>

#include "engine/assignment_changes.h"
#include "engine/changes.h"
#include "engine/erased_supplier.h"
#include "engine/excused.h"
#include "engine/leaving.h"
#include "engine/notice_changes.h"
#include "engine/order_work.h"
#include "engine/sends.h"
#include "storage/keys.h"

namespace plumblane {
namespace {

// Fewer are not worth a thread.
constexpr size_t kEventsForTwo = 1000;

// One application of one entry; the members are what it works on.
class Application {
 public:
  Application(const Snapshot& snapshot, const Catalog& catalog, const FoldRules& rules,
              WritersMemory& memory, const DoAll& do_all, const LogEntry& entry)
      : snapshot_(snapshot),
        rules_(rules),
        memory_(memory),
        do_all_(do_all),
        excuses_before_(catalog.excuses),
        leaving_(entry.content) {
    applied_.catalog = catalog;
  }

  absl::StatusOr<Applied> Run(uint64_t sequence, const LogEntry& entry) {
    applied_.catalog.log_sequence = sequence;
    SortOut(entry.content.events);
    if (absl::Status status = TakeSends(entry); !status.ok()) return status;
    if (absl::Status status = TakeExcuses(entry.content.excuses); !status.ok()) return status;
    for (const SourceNews& news : entry.content.news) TakeNews(news);
    TakeAgreements(sequence, entry);
    for (const Assignment& given : entry.content.assignments) Touch(given.order);
    for (const OrderKey& order : leaving_.Orders()) Touch(order);
    if (absl::Status status = TakeEvents(entry.content); !status.ok()) return status;
    std::vector<Assignment> given = entry.content.assignments;
    std::erase_if(given, [&](const Assignment& one) { return not_kept_.contains(one.order); });
    if (absl::Status status =
            ChangeAssignments(snapshot_, payments_, given, applied_.catalog, applied_.batch);
        !status.ok()) {
      return status;
    }
    if (absl::Status status =
            leaving_.AppendTo(snapshot_, entry.receive_time, applied_.catalog, applied_.batch);
        !status.ok()) {
      return status;
    }
    if (auto history = entry.content.history_through) {
      std::optional<Instant>& latest = applied_.catalog.history_through;
      if (!latest || *latest < *history) latest = history;
    }
    if (absl::Status status = FinishSends(sequence, entry); !status.ok()) return status;
    TakeAlertNotices(entry.content.alert_notices, applied_.catalog, applied_.batch);
    TakeDeliveries(entry.content.deliveries, applied_.catalog, applied_.batch);
    for (const ErasedSupplier& erased : entry.content.erased_suppliers) {
      const absl::Status gone =
          EraseSupplier(snapshot_, erased, entry, applied_.catalog, changes_, applied_.batch);
      if (!gone.ok()) return gone;
    }
    if (absl::Status status = Finish(); !status.ok()) return status;
    // What orders fold to may rest on excuses.
    if (entry.content.changes_orders_otherwise()) memory_.Clear();
    applied_.keeps_all_touched =
        changes_.kept_all_pages() && !entry.content.changes_orders_otherwise();
    return std::move(applied_);
  }

 private:
  // Events fill no cache of a processor together, so they are gone through once here.
  void SortOut(const EventList& events) {
    for (const OrderEvent& event : events) {
      of_share_[WritersMemory::ShareOf(event.order)].push_back(events_.size());
      events_.push_back(&event);
      if (const int64_t send = SendOf(event.event); send != 0) sends_told_.insert(send);
    }
    applied_.fates.resize(events_.size());
    applied_.standings.resize(events_.size());
  }

  void Touch(const OrderKey& order) { touched_[WritersMemory::ShareOf(order)].Touch(order); }

  absl::Status TakeSends(const LogEntry& entry) {
    const absl::Status loaded = sends_.Load(snapshot_, std::move(sends_told_), entry.content);
    if (!loaded.ok()) return loaded;
    for (const SendBegun& begun : entry.content.sends_begun) {
      applied_.sends.push_back(sends_.Begin(begun, entry.receive_time, applied_.catalog.last_send));
    }
    for (const int64_t send : entry.content.sends_taken_back) {
      const auto step = sends_.TakeBack(snapshot_, send, entry.receive_time);
      if (!step.ok()) return step.status();
      for (const OrderKey& order : step->orders) {
        Touch(order);
        taken_back_[order].push_back(send);
      }
      if (step->done) sends_gone_.push_back(send);
    }
    return absl::OkStatus();
  }

  absl::Status FinishSends(uint64_t sequence, const LogEntry& entry) {
    for (size_t i = 0; i < applied_.fates.size() && !sends_.empty(); ++i) {
      sends_.Note(events_[i]->event, applied_.fates[i].kind, sequence);
    }
    for (const SendFinished& finished : entry.content.sends_finished) {
      sends_.Finish(finished, entry.receive_time);
    }
    for (const int64_t send : sends_gone_) {
      const absl::Status counted = sends_.Recount(snapshot_, send, applied_.catalog);
      if (!counted.ok()) return counted;
      for (const auto& [name, word] : sends_.Get(send).sources) changed_sources_.insert(name);
    }
    sends_.AppendTo(applied_.batch);
    return absl::OkStatus();
  }

  absl::Status TakeExcuses(const std::vector<Excuse>& excuses) {
    if (excuses.empty()) return absl::OkStatus();
    auto book = std::make_shared<ExcuseBook>(*excuses_before_);
    for (const Excuse& excuse : excuses) {
      // Two who give different excuses one id at the same moment are told apart by nobody before.
      const auto known = book->all().find(excuse.excuse_id);
      absl::Status touched = TouchExcused(excuse);
      if (known != book->all().end()) touched.Update(TouchExcused(known->second));
      if (!touched.ok()) return touched;
      book->Put(excuse);
      applied_.batch.Put(Space::kMeta, ExcuseKey(excuse.excuse_id), EncodeExcuse(excuse));
    }
    applied_.catalog.excuses = std::move(book);
    return absl::OkStatus();
  }

  absl::Status TouchExcused(const Excuse& excuse) {
    return EachExcusedOrder(snapshot_, *applied_.catalog.pairs, excuse,
                            [this](const OrderKey& order) { Touch(order); });
  }

  void TakeNews(const SourceNews& news) {
    if (!sends_.Takes(news.send)) return;
    sends_.NoteNews(news);
    Source& source = applied_.catalog.sources[news.source];
    if (const auto* through = std::get_if<Instant>(&news.news)) {
      Hear({false, *through, {}}, news.send != 0, source);
      source.periodic = true;
      source.retired = false;
    } else if (std::holds_alternative<SourceNews::Live>(news.news)) {
      source.periodic = source.retired = false;
    } else {
      source.retired = true;
    }
    changed_sources_.insert(news.source);
  }

  void TakeAgreements(uint64_t sequence, const LogEntry& entry) {
    const std::vector<AgreementLoad>& loads = entry.content.agreements;
    if (loads.empty()) return;
    auto agreements = std::make_shared<Agreements>(*applied_.catalog.agreements);
    for (size_t i = 0; i < loads.size(); ++i) {
      agreements->Take(loads[i], entry.receive_time);
      applied_.batch.Put(Space::kMeta, AgreementKey(sequence, i),
                         EncodeAgreement(entry.receive_time, loads[i]));
    }
    applied_.catalog.agreements = std::move(agreements);
  }

  absl::Status TakeEvents(const Submission& content) {
    const OrderTask task{.snapshot = snapshot_,
                         .rules = rules_,
                         .catalog = applied_.catalog,
                         .excuses_before = *excuses_before_,
                         .sends = sends_,
                         .leaving = leaving_,
                         .taken_back = taken_back_,
                         .keeps_unchanged_payments = !content.assignments.empty(),
                         .events = events_,
                         .fates = applied_.fates,
                         .standings = applied_.standings};
    std::array<absl::StatusOr<OrderResults>, WritersMemory::kShares> results;
    std::vector<std::function<void()>> work;
    for (size_t i = 0; i < touched_.size(); ++i) {
      work.emplace_back([&, i] {
        results[i] = TakeOrders(task, of_share_[i], std::move(touched_[i]), memory_.orders[i]);
      });
    }
    (events_.size() < kEventsForTwo ? DoAll(OneByOne) : do_all_)(work);
    for (absl::StatusOr<OrderResults>& share : results) {
      if (!share.ok()) return share.status();
      if (&share != &results.front()) results.front()->changes.Add(std::move(share->changes));
      TakeResults(*share);
    }
    changes_ = std::move(results.front()->changes);
    return absl::OkStatus();
  }

  void TakeResults(OrderResults& share) {
    payments_.Add(std::move(share.payments));
    std::move(share.batch.changes.begin(), share.batch.changes.end(),
              std::back_inserter(applied_.batch.changes));
    Catalog& catalog = applied_.catalog;
    catalog.order_count += share.order_count;
    catalog.event_count += share.event_count;
    catalog.latest_event = std::max(catalog.latest_event, share.latest_event);
    for (const auto& [name, word] : share.words) {
      Source& source = catalog.sources[name];
      if (word.outside) Hear(*word.outside, /*by_send=*/false, source);
      if (word.by_sends) Hear(*word.by_sends, /*by_send=*/true, source);
      changed_sources_.insert(name);
    }
    for (const OrderKey& order : share.left) leaving_.Note(order);
    not_kept_.insert(share.not_kept.begin(), share.not_kept.end());
    for (const auto& [send, taken] : share.taken_back) sends_.NoteTakenBack(send, taken);
  }

  absl::Status Finish() {
    std::set<Pair> born, gone;
    if (absl::Status status = changes_.AppendTo(snapshot_, memory_, applied_.batch, born, gone);
        !status.ok()) {
      return status;
    }
    if (!born.empty() || !gone.empty()) {
      auto pairs = std::make_shared<PairDirectory>(*applied_.catalog.pairs);
      for (const Pair& pair : born) pairs->Insert(pair);
      for (const Pair& pair : gone) pairs->Erase(pair);
      applied_.catalog.pairs = std::move(pairs);
    }
    for (const std::string& name : changed_sources_) {
      const auto source = applied_.catalog.sources.find(name);
      if (source == applied_.catalog.sources.end()) {
        applied_.batch.Delete(Space::kMeta, SourceKey(name));
      } else {
        applied_.batch.Put(Space::kMeta, SourceKey(name), EncodeSource(source->second));
      }
    }
    applied_.batch.Put(Space::kMeta, std::string(kProgressKey), EncodeProgress(applied_.catalog));
    applied_.cells = changes_.TakeCells();
    return absl::OkStatus();
  }

  const Snapshot& snapshot_;
  const FoldRules& rules_;
  WritersMemory& memory_;
  const DoAll& do_all_;
  const std::shared_ptr<const ExcuseBook> excuses_before_;
  std::vector<const OrderEvent*> events_;                             // of the entry
  std::array<std::vector<size_t>, WritersMemory::kShares> of_share_;  // likewise, by their orders
  std::set<int64_t> sends_told_;                                      // by the events
  std::array<TouchedOrders, WritersMemory::kShares> touched_;         // by other means than events
  Payments payments_;                                                 // of the parts touched
  std::set<std::string> changed_sources_;
  SendLedger sends_;
  std::map<OrderKey, std::vector<int64_t>> taken_back_;  // sends to take out of these orders
  std::vector<int64_t> sends_gone_;                      // this was their last step
  Leaving leaving_;
  std::set<OrderKey> not_kept_;
  Changes changes_;
  Applied applied_;
};

}  // namespace

absl::StatusOr<Applied> Apply(const Snapshot& snapshot, const Catalog& catalog,
                              const FoldRules& rules, uint64_t sequence, const LogEntry& entry,
                              WritersMemory& memory, const DoAll& do_all) {
  return Application(snapshot, catalog, rules, memory, do_all, entry).Run(sequence, entry);
}

void OneByOne(const std::vector<std::function<void()>>& work) {
  for (const auto& one : work) one();
}

}  // namespace plumblane
