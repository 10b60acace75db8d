#include "simulation/world.h"

#include <absl/strings/str_cat.h>

#include <algorithm>
#include <utility>

#include "engine/erased_supplier.h"
#include "support/random_orders.h"

namespace plumblane::test {
namespace {

// RandomOrders tells of this day and the sixty after it.
constexpr Day kFirstDay{20'000};
constexpr int kSteps = 60;

const char* const kSuppliers[] = {"lotus", "copper", "amber"};
const char* const kOrigins[] = {"VN", "TR"};
const char* const kDestinations[] = {"DE", "SE"};

}  // namespace

World::World(uint64_t seed, Broken broken, std::ostream* trace)
    : dice_(seed),
      broken_(broken),
      trace_(trace),
      disk_(dice_, broken.disk),
      clock_(StartOf(kFirstDay + 30)) {
  RandomOrders random(seed);
  const std::vector<KeyedEvent> events = random.Make(6 + dice_.Below(25));
  senders_.resize(static_cast<size_t>(1 + dice_.Below(3)));
  for (const auto& [order, event] : events) {
    orders_.push_back(order);
    senders_[static_cast<size_t>(dice_.Below(static_cast<int>(senders_.size())))].events.push_back(
        {order, event});
  }
  for (Sender& sender : senders_) {
    if (dice_.Chance(50)) {
      std::shuffle(sender.events.begin(), sender.events.end(), dice_.generator());
    }
    sender.acknowledged.resize(sender.events.size());
  }
}

std::string World::Run(Met& met) {
  CrashAndStart();
  const int steps = kSteps / 2 + dice_.Below(kSteps);
  for (int i = 0; i < steps && wrong_.empty(); ++i) Happen();
  // In the end all is sent until it is acknowledged, and there is one more power cut.
  for (Sender& sender : senders_) {
    sender.send = 0;
    std::fill(sender.acknowledged.begin(), sender.acknowledged.end(), false);
  }
  for (int i = 0; wrong_.empty(); ++i) {
    bool all = true;
    for (Sender& sender : senders_) {
      all = all && std::find(sender.acknowledged.begin(), sender.acknowledged.end(), false) ==
                       sender.acknowledged.end();
      HandIn(sender);
    }
    Commit();
    if (all) break;
    if (i == 10'000) Wrong("the senders never come to an end");
  }
  if (wrong_.empty()) CrashAndStart();
  met_.entries = static_cast<int64_t>(entries_.size());
  met_.kept_events = static_cast<int64_t>(oracle_.kept_events());
  if (engine_ != nullptr) {
    const View end = engine_->Look();
    met_.alerts = static_cast<int64_t>(end.catalog().alerts->by_id.size());
    met_.purged = end.catalog().purged_count;
    met_.erased = end.catalog().erased_count;
  }
  met = met_;
  return wrong_;
}

void World::Happen() {
  Sender& sender = senders_[static_cast<size_t>(dice_.Below(static_cast<int>(senders_.size())))];
  const int what = dice_.Below(100);
  if (what < 55) {
    HandIn(sender);
  } else if (what < 62) {
    BeginOrEndSend(sender);
  } else if (what < 65) {
    TakeBackSend();
  } else if (what < 77) {
    SayOther();
  } else if (what < 80) {
    LetGo();
  } else if (what < 86) {
    TellAlerts();
  } else if (what < 90) {
    clock_.Set(clock_.Now() + (dice_.Below(100) - 30) * kMillisPerDay / 4);
  } else if (what < 95) {
    Plan(6);
  } else {
    return CrashAndStart();  // what waits is never answered
  }
  if (dice_.Chance(60)) Commit();
}

void World::HandIn(Sender& sender) {
  std::vector<size_t> batch;
  const int most = 1 + dice_.Below(12);
  for (size_t i = 0; i < sender.events.size() && static_cast<int>(batch.size()) < most; ++i) {
    if (!sender.acknowledged[i]) batch.push_back(i);
  }
  // Now and then something again, and not in the order of before.
  while (!sender.events.empty() && dice_.Chance(20)) {
    batch.push_back(static_cast<size_t>(dice_.Below(static_cast<int>(sender.events.size()))));
  }
  if (dice_.Chance(20)) std::shuffle(batch.begin(), batch.end(), dice_.generator());
  if (batch.empty()) return;
  Submission submission;
  for (const size_t i : batch) {
    OrderEvent event = sender.events[i];
    if (sender.send != 0) {
      event.event.tellings = {{event.event.revision.value_or(Instant{0}), sender.send}};
    }
    oracle_.Sent(event);
    submission.events.push_back(std::move(event));
  }
  Say(absl::StrCat("hands in ", batch.size(), " events"));
  const std::vector<OrderEvent> events(submission.events.begin(), submission.events.end());
  Submit(std::move(submission), [this, &sender, batch, events](const Receipt& receipt) {
    if (!receipt.status.ok()) {
      ++met_.unknown;
      return;
    }
    for (size_t i = 0; i < batch.size(); ++i) {
      const EventFate::Kind fate = receipt.fates[i].kind;
      met_.refused += fate == EventFate::Kind::kNotKept ? 1 : 0;
      met_.repeats += fate == EventFate::Kind::kDuplicate ? 1 : 0;
      // One in ten answers is lost on its way; what holds, holds.
      Wrong(oracle_.Answered(events[i], fate, receipt.log_sequence));
      sender.acknowledged[batch[i]] = fate != EventFate::Kind::kNoSend && !dice_.Chance(10);
    }
  });
}

void World::BeginOrEndSend(Sender& sender) {
  Submission submission;
  if (sender.send != 0) {
    submission.sends_finished.push_back({std::exchange(sender.send, 0), dice_.Below(3)});
    return Submit(std::move(submission), [](const Receipt&) {});
  }
  submission.sends_begun.push_back({{"orders.csv"}, "harbour", "a"});
  Submit(std::move(submission), [this, &sender](const Receipt& receipt) {
    if (!receipt.status.ok()) return;
    sender.send = receipt.sends.at(0);
    sends_.push_back(sender.send);
  });
}

void World::TakeBackSend() {
  if (sends_.empty()) return;
  const int64_t send = sends_[static_cast<size_t>(dice_.Below(static_cast<int>(sends_.size())))];
  Say(absl::StrCat("takes back send ", send));
  for (Sender& sender : senders_) {
    if (sender.send == send) sender.send = 0;
    // It may have told anything by it.
    std::fill(sender.acknowledged.begin(), sender.acknowledged.end(), false);
  }
  Submission submission;
  submission.sends_taken_back = {send};
  Submit(std::move(submission),
         [this](const Receipt& receipt) { met_.sends_taken_back += receipt.status.ok() ? 1 : 0; });
}

void World::SayOther() {
  Submission submission;
  const OrderKey& order =
      orders_[static_cast<size_t>(dice_.Below(static_cast<int>(orders_.size())))];
  const Pair pair{kSuppliers[dice_.Below(3)],
                  {kOrigins[dice_.Below(2)], kDestinations[dice_.Below(2)], ""}};
  const Day day = kFirstDay + dice_.Below(60);
  switch (dice_.Below(6)) {
    case 0:
      submission.news.push_back({dice_.Chance(50) ? "a" : "b", StartOf(day)});
      submission.history_through = StartOf(day);
      break;
    case 1: {
      Excuse excuse{absl::StrCat("e", dice_.Below(4)), ExcusedOrder{order, 1}, "port strike",
                    dice_.Chance(30)};
      if (dice_.Chance(50)) excuse.subject = ExcusedDays{{"VN", "DE", std::nullopt}, day, day + 9};
      submission.excuses.push_back(std::move(excuse));
      ++met_.excuses;
      break;
    }
    case 2: {
      Quote quote;
      quote.key = {pair.supplier, "", pair.lane, 1};
      quote.price = {100 + dice_.Below(900), "EUR"};
      quote.valid_from = day;
      submission.agreements.push_back(std::vector<Quote>{quote});
      break;
    }
    case 3:
    case 4: {
      Assignment given;
      given.order = order;
      given.part = 1 + dice_.Below(2);
      given.time = StartOf(day);
      given.pick = pair;
      given.destination = pair.lane.destination;
      given.reason = "the lowest expected cost";
      submission.assignments.push_back(std::move(given));
      ++met_.assignments;
      break;
    }
    default:
      submission.deliveries.push_back({"mail", dice_.Below(5)});
  }
  Submit(std::move(submission), [this](const Receipt& receipt) {
    if (receipt.status.ok()) oracle_.AnsweredAt(receipt.log_sequence);
  });
}

void World::LetGo() {
  if (dice_.Chance(15)) return EraseSupplier();
  Submission submission;
  Purge purge{StartOf(kFirstDay + 30 + dice_.Below(60)), dice_.Below(20), {}};
  for (int i = 0; i < 8; ++i) {
    purge.orders.push_back(
        orders_[static_cast<size_t>(dice_.Below(static_cast<int>(orders_.size())))]);
  }
  if (dice_.Chance(25)) submission.erased.push_back(std::exchange(purge, {}).orders.front());
  for (const OrderKey& order : purge.orders) oracle_.MayLeave(order);
  for (const OrderKey& order : submission.erased) oracle_.MayLeave(order);
  if (submission.erased.empty()) submission.purges.push_back(std::move(purge));
  Submit(std::move(submission), [](const Receipt&) {});
}

// The steps in the entries of others as they come; now and then one is left out, as when a call is
// given up.
void World::EraseSupplier() {
  const std::string supplier = kSuppliers[dice_.Below(3)];
  const View view = engine_->Look();
  const auto go_on = [] { return false; };
  std::string place;
  const size_t limit = 1 + static_cast<size_t>(dice_.Below(10));
  do {
    auto orders = SomeOrdersNaming(view.snapshot(), supplier, limit, go_on, place);
    if (!orders.ok()) return;  // a planned fault
    for (const OrderKey& order : *orders) oracle_.MayLeave(order);
    Submission step;
    step.erased = *std::move(orders);
    if (!dice_.Chance(10)) Submit(std::move(step), [](const Receipt&) {});
  } while (!place.empty());
  do {
    auto orders = SomeAssignedNaming(view.snapshot(), supplier, limit, place);
    if (!orders.ok()) return;
    Submission step;
    step.erased_suppliers.push_back({supplier, *std::move(orders), false});
    if (!dice_.Chance(10)) Submit(std::move(step), [](const Receipt&) {});
  } while (!place.empty());
  Submission last;
  last.erased_suppliers.push_back({supplier, {}, true});
  Submit(std::move(last),
         [this](const Receipt& receipt) { met_.suppliers_erased += receipt.status.ok() ? 1 : 0; });
}

// As the teller does, and then as a user who answers.
void World::TellAlerts() {
  const View view = engine_->Look();
  if (!view.UpdateAlerts().ok()) return;
  Submission submission;
  submission.alert_notices = view.alerts().News(*view.catalog().alerts, view.now());
  const auto& told = view.catalog().alerts->by_id;
  if (!told.empty() && dice_.Chance(50)) {
    const auto& [id, alert] = *std::next(told.begin(), dice_.Below(static_cast<int>(told.size())));
    AlertNotice notice;
    notice.kind = dice_.Chance(50) ? AlertNotice::Kind::kAcknowledged : AlertNotice::Kind::kShelved;
    notice.alert_id = id;
    notice.key = alert.key;
    notice.time = view.now();
    notice.note = "seen";
    if (notice.kind == AlertNotice::Kind::kShelved) notice.day = DayOf(view.now()) + 5;
    submission.alert_notices.push_back(std::move(notice));
  }
  Say(absl::StrCat("tells ", submission.alert_notices.size(), " notices"));
  Submit(std::move(submission), [](const Receipt&) {});
}

void World::Submit(Submission submission, Engine::Answer answer) {
  if (!engine_->Submit(std::move(submission), std::move(answer))) Say("there is no room");
}

void World::Commit() {
  const int before = disk_.writes();
  engine_->CommitWaiting();
  Say(absl::StrCat("commits: ", disk_.writes() - before, " writes"));
  if (engine_->AcceptsEvents()) return;
  if (planned_ == Fault::kNone) Wrong("the engine takes nothing more, and the disk is well");
  CrashAndStart();
}

void World::Plan(int reach) {
  const int after = dice_.Below(reach);
  switch (dice_.Below(3)) {
    case 0:
      planned_ = Fault::kWrites;
      ++met_.failed_writes;
      return disk_.FailAfter(after, /*full=*/false);
    case 1:
      planned_ = Fault::kFull;
      ++met_.full_disks;
      return disk_.FailAfter(after, /*full=*/true);
    default:
      planned_ = Fault::kReads;
      ++met_.failed_reads;
      return disk_.FailReadsAfter(1 + after * 8);
  }
}

void World::CrashAndStart() {
  const bool has_new_rules = dice_.Chance(4);
  if (has_new_rules) rules_.tolerance_millis = dice_.Below(3) * kMillisPerDay / 2;
  for (int attempt = 0;; ++attempt) {
    const bool is_kill = dice_.Chance(40);
    Say(is_kill ? "the process is killed" : "the power goes");
    ++(is_kill ? met_.kills : met_.power_cuts);
    engine_.reset();
    log_.reset();
    disk_.Crash(is_kill);
    planned_ = Fault::kNone;
    if (has_new_rules && attempt == 0) {
      const auto left = LoadCatalog(*disk_.TakeSnapshot());
      if (!left.ok()) return Wrong(left.status().ToString());
      oracle_.RulesChange(left->log_sequence, rules_);
      ++met_.new_rules;
    }
    if (attempt < 4 && dice_.Chance(25)) Plan(8);
    log_ = std::make_unique<RecordedLog>(disk_, entries_, broken_.early_answers);
    EngineOptions options;
    options.rules.fold = rules_;
    options.queue_events = 60;
    options.entry_events = static_cast<size_t>(1 + dice_.Below(40));
    options.refold_orders = static_cast<size_t>(1 + dice_.Below(5));
    options.writer_bytes = static_cast<size_t>(dice_.Below(3)) * 20'000;
    engine_ = std::make_unique<Engine>(disk_, *log_, clock_, options);
    const absl::Status opened = engine_->Open();
    ++met_.starts;
    Say(absl::StrCat("starts: ", opened.ToString()));
    if (opened.ok()) break;
    ++met_.failed_starts;
    if (planned_ == Fault::kNone) return Wrong(absl::StrCat("does not start: ", opened.ToString()));
  }
  // What is looked at is what is there, whatever is to fail next.
  if (planned_ == Fault::kNone) {
    Wrong(oracle_.Check(engine_->Look(), disk_, entries_));
  }
}

}  // namespace plumblane::test
