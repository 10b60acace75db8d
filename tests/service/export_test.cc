// Exports: all of it, once, in pieces; and which changes of scores a reader is told.
#include <absl/strings/str_cat.h>
#include <gmock/gmock.h>
#include <grpcpp/grpcpp.h>
#include <gtest/gtest.h>

#include <atomic>
#include <map>
#include <set>

#include "service/export_service.h"
#include "service/exporting.h"
#include "service/forwarding_desk.h"
#include "service/score_watch.h"
#include "service/service_support.h"
#include "support/random_orders.h"

namespace plumblane {
namespace {

using test::At;
using test::OrderBuilder;
using test::RunningEngine;
using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;

template <typename Message, typename Export>
std::vector<Message> All(Export from) {
  std::vector<Message> all;
  for (int i = 0; i < 100'000; ++i) {
    Message message;
    const absl::StatusOr<bool> more = from.Next(message);
    EXPECT_TRUE(more.ok()) << more.status();
    if (!more.ok() || !*more) break;
    all.push_back(message);
  }
  return all;
}

OrderBuilder Settled(const std::string& id, const std::string& supplier, bool late) {
  OrderBuilder order({"default", id});
  order.Paid("2026-03-01").With([&](Event& event) { event.supplier = supplier; });
  order.Promised("2026-03-10").Delivered(late ? "2026-03-14" : "2026-03-08");
  return order;
}

// What a daemon would take of what another one exported.
Submission SentAgain(const std::vector<v1::EventBatch>& batches) {
  Submission submission;
  for (const v1::EventBatch& batch : batches) {
    for (const v1::Event& event : batch.events()) {
      submission.events.push_back(test::MustRead(event, At("2027-01-01")));
    }
  }
  return submission;
}

std::map<CellKey, Cell> CellsOf(const View& view) {
  std::map<CellKey, Cell> cells;
  std::string place;
  while (true) {
    const auto some = NextCells(view.snapshot(), 7, place);
    EXPECT_TRUE(some.ok());
    if (!some.ok() || some->empty()) return cells;
    for (auto [key, cell] : *some) {
      // What was quoted comes from quotes, which are no events.
      for (Tally* tally : {&cell.counted, &cell.excused}) {
        std::erase_if(tally->outcomes, [](const Outcome& one) {
          return one.code >= Code::kQuotedOrders && one.code <= Code::kQuoted;
        });
      }
      EXPECT_TRUE(cells.emplace(key, cell).second);
    }
  }
}

TEST(EventExport, WhatIsSentAgainGivesTheSameCells) {
  RunningEngine first, second;
  Submission submission;
  for (test::KeyedEvent& one : test::RandomOrders(3).Make(600)) {
    submission.events.push_back({one.order, std::move(one.event)});
  }
  ASSERT_TRUE(first.Submit(std::move(submission)).status.ok());
  const auto batches = All<v1::EventBatch>(EventExport(first->Look()));
  EXPECT_GT(batches.size(), 1u);
  ASSERT_TRUE(second.Submit(SentAgain(batches)).status.ok());
  const auto cells = CellsOf(first->Look());
  EXPECT_GT(cells.size(), 100u);
  EXPECT_EQ(CellsOf(second->Look()), cells);
}

struct Promises {
  const char* name;
  OrderBuilder order;
  int told;  // events that state a promise
};

OrderBuilder Implied() {
  return OrderBuilder().Paid("2026-03-01").Promised("2026-03-10").With([](Event& event) {
    event.promise_implied = true;
  });
}

TEST(EventExport, AnImpliedPromiseIsToldWhereItCounts) {
  OrderBuilder stated = Implied();
  stated.Paid("2026-03-02").Promised("2026-03-20");
  OrderBuilder taken_back = Implied();
  taken_back.Paid("2026-03-02").Promised("2026-03-20");
  taken_back.Retracted("2026-03-03", taken_back.last_id());
  OrderBuilder other_part = Implied();
  other_part.Part(2).Paid("2026-03-02").Promised("2026-03-20");
  for (const Promises& one :
       {Promises{"alone", Implied(), 1}, Promises{"beside a stated one", stated, 1},
        Promises{"beside one taken back", taken_back, 2},
        Promises{"beside that of another part", other_part, 2}}) {
    RunningEngine first, second;
    ASSERT_TRUE(first.Submit(one.order).status.ok());
    const auto batches = All<v1::EventBatch>(EventExport(first->Look()));
    int told = 0;
    for (const v1::Event& event : batches[0].events()) told += event.has_promise_time();
    EXPECT_EQ(told, one.told) << one.name;
    ASSERT_TRUE(second.Submit(SentAgain(batches)).status.ok());
    EXPECT_EQ(CellsOf(second->Look()), CellsOf(first->Look())) << one.name;
  }
}

TEST(CohortExport, TellsEveryCellOnce) {
  RunningEngine engine;
  for (int i = 0; i < 30; ++i) {
    ASSERT_TRUE(
        engine.Submit(Settled(absl::StrCat(i), absl::StrCat("s", i % 7), i % 3 == 0)).status.ok());
  }
  const View view = engine->Look();
  size_t cells = 0;
  int64_t on_time = 0, late = 0, entered = 0;
  for (const v1::CohortBatch& batch : All<v1::CohortBatch>(CohortExport(view))) {
    for (const v1::Cohort& cohort : batch.cohorts()) {
      ++cells;
      EXPECT_FALSE(cohort.supplier().empty());
      EXPECT_FALSE(cohort.measure().empty());
      if (cohort.measure() != "on_time") continue;
      EXPECT_EQ(cohort.date(), "2026-03-10");
      entered += cohort.entered_count();
      for (const v1::CohortCount& count : cohort.counts()) {
        (count.outcome() == "delivered" ? on_time : late) += count.count();
        if (count.outcome() == "delivered_late") {
          EXPECT_EQ(count.days(), 4);
        }
      }
    }
  }
  EXPECT_EQ(cells, CellsOf(view).size());
  EXPECT_EQ(entered, 30);
  EXPECT_EQ(on_time, 20);
  EXPECT_EQ(late, 10);
}

TEST(ScoreExport, TellsSuppliersLanesAndPairsByName) {
  RunningEngine engine;
  // More than it reads at a time.
  for (int i = 0; i < 120; ++i) {
    ASSERT_TRUE(engine.Submit(Settled(absl::StrCat(i), absl::StrCat("s", i), false)).status.ok());
  }
  std::set<std::string> suppliers, lanes, pairs;
  std::string last;
  for (const v1::Score& score : All<v1::Score>(ScoreExport(engine->Look(), {}))) {
    EXPECT_THAT(score.pairs(), IsEmpty());
    auto& kind = score.supplier_id().empty() ? lanes : score.has_lane() ? pairs : suppliers;
    EXPECT_TRUE(kind.insert(score.name()).second);
    EXPECT_EQ(*kind.rbegin(), score.name()) << "by name";
  }
  EXPECT_EQ(suppliers.size(), 120u);
  EXPECT_THAT(lanes, ElementsAre("lanes/VN-DE"));
  EXPECT_EQ(pairs.size(), 120u);
  EXPECT_EQ(All<v1::Score>(ScoreExport(engine->Look(), {}, {v1::SCORE_KIND_LANE})).size(), 1u);
}

// ---- changes ------------------------------------------------------------------------------------

std::shared_ptr<ScoreTable> Table(const std::map<std::string, double>& on_time) {
  auto table = std::make_shared<ScoreTable>();
  for (const auto& [name, value] : on_time) {
    ScoreTable::Line line;
    line.kind = v1::SCORE_KIND_SUPPLIER;
    line.figures.set_name(name);
    if (value >= 0) line.figures.set_on_time(value);
    table->lines.push_back(line);
  }
  return table;
}

ScoreTeller Teller(const std::map<std::string, double>& seen = {}) {
  v1::WatchScoresRequest request;
  const std::shared_ptr<ScoreTable> table = Table(seen);
  for (const ScoreTable::Line& line : table->lines) *request.add_seen() = line.figures;
  return ScoreTeller(ReadWatch(request).value());
}

std::vector<std::string> Told(ScoreTeller& teller) {
  std::vector<std::string> told;
  for (v1::ScoreChange change; teller.Next(change);) {
    told.push_back(absl::StrCat(change.now().name(), change.has_before() ? " changed" : ""));
  }
  return told;
}

TEST(ScoreTeller, TellsEachFirstAndThenWhatHasChangedByEnough) {
  ScoreTeller teller = Teller();
  teller.Offer(Table({{"a", .9}, {"b", .8}}));
  EXPECT_THAT(Told(teller), ElementsAre("a", "b"));
  EXPECT_THAT(Told(teller), IsEmpty());
  teller.Offer(Table({{"a", .86}, {"b", .85}}));
  EXPECT_THAT(Told(teller), ElementsAre("b changed")) << "five points are enough, four are not";
}

TEST(ScoreTeller, SmallStepsAreToldOnceTheyAddUp) {
  ScoreTeller teller = Teller({{"a", .9}});
  std::vector<double> told_at;
  for (int i = 1; i <= 10; ++i) {
    const double now = .9 - .02 * i;
    teller.Offer(Table({{"a", now}}));
    if (!Told(teller).empty()) told_at.push_back(i);
  }
  EXPECT_THAT(told_at, ElementsAre(3, 6, 9));
}

TEST(ScoreTeller, WhatCameOrWentHasChanged) {
  ScoreTeller teller = Teller({{"a", -1}, {"b", .5}, {"c", -1}});
  teller.Offer(Table({{"a", .5}, {"b", -1}, {"c", -1}}));
  EXPECT_THAT(Told(teller), ElementsAre("a changed", "b changed"));
}

TEST(ScoreTeller, AReaderThatGoesOnIsToldWhatDiffersFromWhatItSaw) {
  ScoreTeller teller = Teller({{"a", .9}, {"b", .8}});
  teller.Offer(Table({{"a", .7}, {"b", .81}, {"c", .5}}));
  EXPECT_THAT(Told(teller), ElementsAre("a changed", "c"));
}

TEST(ScoreTeller, ASlowReaderIsToldOfAllInTurn) {
  ScoreTeller teller = Teller({{"a", 0}, {"b", 0}, {"c", 0}});
  std::set<std::string> told;
  // It takes one line of each table, all of which differ from the one before.
  for (int i = 1; i <= 6; ++i) {
    const double now = i % 2;
    teller.Offer(Table({{"a", now}, {"b", now}, {"c", now}}));
    v1::ScoreChange change;
    if (teller.Next(change)) told.insert(change.now().name());
  }
  EXPECT_THAT(told, ElementsAre("a", "b", "c"));
}

// One that may come to follow but one of two partitions.
class PartialDesk final : public test::ForwardingDesk {
 public:
  using ForwardingDesk::ForwardingDesk;
  std::optional<SharedLog> shared_log() const override {
    SharedLog shared;
    shared.parts.resize(2);
    shared.parts[1].is_held = holds_all;
    shared.whole_address = "10.0.0.2:7415";
    return shared;
  }

  std::atomic<bool> holds_all = true;
};

TEST(ScoreWatch, EndsWhereNotAllIsFollowedAnyMoreAndSaysWhoDoes) {
  RunningEngine engine;
  ASSERT_TRUE(engine.Submit(Settled("1", "lotus", false)).status.ok());
  PartialDesk desk(*engine);
  ExportsService service(desk);
  grpc::ServerBuilder builder;
  builder.RegisterService(&service);
  const std::unique_ptr<grpc::Server> server = builder.BuildAndStart();
  const auto stub = v1::Exports::NewStub(server->InProcessChannel({}));
  grpc::ClientContext context;
  const auto stream = stub->WatchScores(&context, {});
  v1::ScoreChange change;
  ASSERT_TRUE(stream->Read(&change)) << "while all is followed it tells";
  desk.holds_all = false;
  while (stream->Read(&change)) {
  }
  const grpc::Status status = stream->Finish();
  EXPECT_EQ(status.error_code(), grpc::FAILED_PRECONDITION);
  EXPECT_THAT(status.error_message(), HasSubstr("the one at 10.0.0.2:7415 follows all"));
  server->Shutdown();
}

TEST(ReadWatch, RefusesWhatMakesNoSense) {
  v1::WatchScoresRequest share, days, kind;
  share.set_share_change(1.5);
  days.mutable_delivery_change()->set_seconds(0);
  kind.add_kinds(static_cast<v1::ScoreKind>(9));
  for (const auto* request : {&share, &days, &kind}) {
    EXPECT_TRUE(absl::IsInvalidArgument(ReadWatch(*request).status()));
  }
  const auto usual = ReadWatch({});
  ASSERT_TRUE(usual.ok());
  EXPECT_THAT(usual->kinds, ElementsAre(v1::SCORE_KIND_SUPPLIER));
  EXPECT_EQ(usual->share_change, .05);
  EXPECT_EQ(usual->delivery_days_change, 1);
}

}  // namespace
}  // namespace plumblane
