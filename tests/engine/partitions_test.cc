// Several partitions read as one against one state of everything: the same submissions, divided and
// not, leave the same bytes and give the same answers.
#include "engine/partitions.h"

#include <absl/strings/str_cat.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <map>
#include <memory>
#include <string>
#include <vector>

#include "engine/joined_catalog.h"
#include "engine/joined_snapshot.h"
#include "engine/records.h"
#include "engine/split.h"
#include "engine/view.h"
#include "storage/keys.h"
#include "support/applied_state.h"

namespace plumblane {
namespace {

using test::AppliedState;
using test::At;
using test::KeyedEvent;
using test::RandomOrders;

const Instant kNow = StartOf(Day{20'000 + 90});

TEST(Partitions, OrdersAreSpreadEvenlyAndAlwaysAlike) {
  std::map<uint32_t, int> orders;
  for (int i = 0; i < 64'000; ++i) ++orders[PartitionOf({"harbour", absl::StrCat("R-", i)}, 64)];
  ASSERT_EQ(orders.size(), 64u);
  for (const auto& [partition, count] : orders) {
    EXPECT_GT(count, 850) << partition;  // 1,000 each, give or take 4.7 standard deviations
    EXPECT_LT(count, 1150) << partition;
  }
  EXPECT_EQ(PartitionOf({"harbour", "R-1"}, 1), 0u);
  // On disk: never change.
  EXPECT_EQ(PartitionOf({"harbour", "R-1"}, 64), 60u);
  EXPECT_EQ(PartitionOf({"meadow", "20315"}, 64), 18u);
}

class Divided {
 public:
  explicit Divided(uint32_t partitions) : states_(partitions) {}

  // The fates of its events.
  std::vector<EventFate::Kind> Apply(Submission content) {
    std::vector<EventFate::Kind> fates(content.events.size());
    const auto whole = Whole();
    const auto is_open = [&](int64_t number) {
      const auto send = ReadSend(*whole, number);
      EXPECT_TRUE(send.ok()) << send.status();
      return *send && (*send)->takes_events();
    };
    for (const PartOfSubmission& part :
         Split(std::move(content), count(), *LoadCatalog(*whole), is_open)) {
      const Applied applied = states_[part.partition].Apply(part.content);
      for (size_t i = 0; i < part.events.size(); ++i) {
        fates[part.events[i]] = applied.fates[i].kind;
      }
    }
    return fates;
  }
  uint32_t count() const { return static_cast<uint32_t>(states_.size()); }
  std::shared_ptr<const Snapshot> Whole() const {
    std::vector<std::shared_ptr<const Snapshot>> parts;
    for (const AppliedState& state : states_) parts.push_back(state.store().TakeSnapshot());
    return std::make_shared<JoinedSnapshot>(std::move(parts));
  }
  std::shared_ptr<const Catalog> catalog() {
    std::vector<std::shared_ptr<const Catalog>> parts;
    for (const AppliedState& state : states_) {
      parts.push_back(std::make_shared<Catalog>(state.catalog()));
    }
    return joined_.Join(parts);
  }

 private:
  std::vector<AppliedState> states_;
  JoinedCatalog joined_;
};

// All that is stored, but for numbers of log entries; what was agreed is counted instead.
std::map<std::string, std::string> BytesOf(const Snapshot& snapshot) {
  std::map<std::string, std::string> bytes;
  int loads = 0;
  for (const Space space : {Space::kOrders, Space::kCells, Space::kIndex, Space::kMeta}) {
    const absl::Status scanned = snapshot.Scan(space, "", "", [&](auto key, auto value) {
      std::string name(key), content(value);
      if (space == Space::kMeta && name == kProgressKey) {
        Catalog progress;
        EXPECT_TRUE(DecodeProgress(content, progress).ok());
        progress.log_sequence = 0;
        content = EncodeProgress(progress);
      }
      if (space == Space::kMeta && name.starts_with(kSendPrefix)) {
        auto send = DecodeSend(content);
        EXPECT_TRUE(send.ok()) << send.status();
        send->first_sequence = send->last_sequence = send->first_sequence > 0;
        content = EncodeSend(*send);
      }
      if (space == Space::kMeta && name.starts_with(kAgreementPrefix)) {
        name = absl::StrCat("agreement ", ++loads);
      }
      bytes[absl::StrCat(static_cast<int>(space), name)] = content;
      return true;
    });
    EXPECT_TRUE(scanned.ok()) << scanned;
  }
  return bytes;
}

void ExpectSame(const Catalog& x, const Catalog& y) {
  EXPECT_EQ(x.sources, y.sources);
  EXPECT_EQ(x.pairs->by_supplier, y.pairs->by_supplier);
  EXPECT_EQ(x.pairs->by_destination, y.pairs->by_destination);
  EXPECT_EQ(*x.assignments, *y.assignments);
  EXPECT_EQ(x.delivered, y.delivered);
  EXPECT_EQ(x.excuses->all().size(), y.excuses->all().size());
  EXPECT_EQ(x.alerts->last_cursor, y.alerts->last_cursor);
  EXPECT_EQ(x.latest_event, y.latest_event);
  EXPECT_EQ(x.order_count, y.order_count);
  EXPECT_EQ(x.event_count, y.event_count);
  EXPECT_EQ(x.last_send, y.last_send);
  EXPECT_EQ(x.purged_count, y.purged_count);
  EXPECT_EQ(x.erased_count, y.erased_count);
  EXPECT_EQ(x.purged_before, y.purged_before);
}

View ViewOf(std::shared_ptr<const Snapshot> snapshot, std::shared_ptr<const Catalog> catalog) {
  return View(std::move(snapshot), std::move(catalog), std::make_shared<Memory>(64 << 20), {},
              kNow);
}

void ExpectSameAnswers(const View& one, const View& many) {
  for (const char* destination : {"DE", "SE"}) {
    OrderToSource order;
    order.destination = destination;
    const auto x = one.Source(order, {}, 3), y = many.Source(order, {}, 3);
    ASSERT_EQ(x.status(), y.status());
    if (!x.ok()) continue;
    ASSERT_EQ(x->answer.candidates.size(), y->answer.candidates.size());
    for (size_t i = 0; i < x->answer.candidates.size(); ++i) {
      ASSERT_EQ(x->answer.candidates[i].pair, y->answer.candidates[i].pair);
      ASSERT_EQ(x->answer.candidates[i].ranked.expected_bad,
                y->answer.candidates[i].ranked.expected_bad);
    }
  }
  for (const char* supplier : {"lotus", "copper", "amber"}) {
    Subject subject;
    subject.supplier = supplier;
    const auto x = one.Score(subject, {}), y = many.Score(subject, {});
    ASSERT_EQ(x.status(), y.status());
    ASSERT_TRUE(!x.ok() || x->answer.score == y->answer.score);
  }
  const auto x = one.Underway({}, {}, 1000), y = many.Underway({}, {}, 1000);
  ASSERT_EQ(x.status(), y.status());
  ASSERT_TRUE(!x.ok() || x->orders.size() == y->orders.size());
}

// Submissions of every kind about orders that come again and again.
class RandomSubmissions {
 public:
  explicit RandomSubmissions(uint64_t seed) : random_(seed), events_(random_.Make(150)) {}

  bool done() const { return at_ >= events_.size(); }

  Submission Next() {
    Submission content;
    const int64_t send = random_.Below(3) == 0 ? AnySend() : 0;
    switch (random_.Below(14)) {
      case 0:
        content.sends_begun = {{{"a.csv"}, "harbour", "a"}};
        ++sends_;
        break;
      case 1:
        content.sends_taken_back = {1 + random_.Below(sends_ + 1)};
        break;
      case 2:
        content.sends_finished = {{1 + random_.Below(sends_ + 1), random_.Below(3)}};
        break;
      case 3:
        content.news = {{AnySource(), AnyNews(), send}};
        break;
      case 4:
        content.excuses = {AnyExcuse()};
        break;
      case 5:
        content.assignments = {AnyAssignment(), AnyAssignment()};
        break;
      case 6:
        content.purges = {{kNow, 30, {AnyOrder(), AnyOrder()}}};
        break;
      case 7:
        if (random_.Below(4) == 0) content.erased = {AnyOrder()};
        break;
      case 8:
        content.agreements.emplace_back(Pause{"lotus", random_.Below(2) == 0, {}, ""});
        break;
      case 9:
        content.deliveries = {{"sink", random_.Below(5)}};
        if (random_.Below(8) == 0) {
          content.erased_suppliers = {{"amber", {AnyOrder(), AnyOrder()}, random_.Below(2) == 0}};
        }
        break;
      default:
        break;
    }
    if (random_.Below(4) == 0) content.history_through = kNow;
    for (int i = random_.Below(40); i > 0 && !done(); --i, ++at_) {
      Event event = events_[at_].event;
      if (send != 0) event.tellings = {{event.revision.value_or(Instant{0}), send}};
      content.events.push_back({events_[at_].order, std::move(event)});
    }
    return content;
  }

 private:
  OrderKey AnyOrder() {
    return {random_.Below(2) == 0 ? "harbour" : "meadow", std::to_string(random_.Below(75))};
  }
  int64_t AnySend() { return random_.Below(8) == 0 ? 99 : random_.Below(sends_ + 1); }  // or none
  std::string AnySource() { return random_.Below(2) == 0 ? "a" : "b"; }
  std::variant<Instant, SourceNews::Live, SourceNews::Retired> AnyNews() {
    const int kind = random_.Below(6);
    if (kind == 0) return SourceNews::Live{};
    if (kind == 1) return SourceNews::Retired{};
    return StartOf(Day{20'000 + random_.Below(60)});
  }
  Excuse AnyExcuse() {
    Excuse excuse{absl::StrCat("e", random_.Below(4)), {}, "storm", random_.Below(4) == 0};
    if (random_.Below(2) == 0) {
      excuse.subject = ExcusedOrder{AnyOrder(), 1};
    } else {
      const int day = 20'000 + random_.Below(60);
      excuse.subject = ExcusedDays{{"VN", "DE", {}}, {day}, {day + 10}};
    }
    return excuse;
  }
  Assignment AnyAssignment() {
    Assignment one;
    one.order = AnyOrder();
    one.part = 1 + random_.Below(2);
    one.time = kNow + random_.Below(1000);
    one.pick.supplier = "copper";
    return one;
  }

  RandomOrders random_;
  const std::vector<KeyedEvent> events_;
  size_t at_ = 0;
  int sends_ = 0;
};

class PartitionsTest : public ::testing::TestWithParam<uint32_t> {};

TEST_P(PartitionsTest, HoldWhatOneStateHolds) {
  for (uint64_t seed = 1; seed <= 20; ++seed) {
    SCOPED_TRACE(absl::StrCat("seed ", seed));
    AppliedState one;
    Divided many(GetParam());
    RandomSubmissions random(seed);
    for (int entry = 1; !random.done(); ++entry) {
      SCOPED_TRACE(absl::StrCat("entry ", entry));
      const Submission content = random.Next();
      if (content.empty()) continue;
      const Applied applied = one.Apply(content);
      const auto fates = many.Apply(content);
      ASSERT_EQ(fates.size(), applied.fates.size());
      for (size_t i = 0; i < fates.size(); ++i) ASSERT_EQ(fates[i], applied.fates[i].kind) << i;
      if (entry % 4 != 0) continue;
      const auto whole = many.Whole();
      ASSERT_EQ(BytesOf(*whole), BytesOf(*one.store().TakeSnapshot()));
      ASSERT_NO_FATAL_FAILURE(ExpectSame(*many.catalog(), one.catalog()));
      ASSERT_NO_FATAL_FAILURE(ExpectSame(*LoadCatalog(*whole), one.catalog()));
      EXPECT_EQ(*FindDifference(*whole, *many.catalog(), {}), "");
    }
    ASSERT_NO_FATAL_FAILURE(ExpectSameAnswers(
        ViewOf(one.store().TakeSnapshot(), std::make_shared<const Catalog>(one.catalog())),
        ViewOf(many.Whole(), many.catalog())));
  }
}

INSTANTIATE_TEST_SUITE_P(Of, PartitionsTest, ::testing::Values(1u, 2u, 4u, 7u),
                         [](const auto& info) { return absl::StrCat(info.param); });

}  // namespace
}  // namespace plumblane
