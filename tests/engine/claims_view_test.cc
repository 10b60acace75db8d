// Claims: against a naive model on random orders, and by hand for each state, reason and last day.
#include <absl/strings/str_cat.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <set>

#include "support/look.h"

namespace plumblane {
namespace {

using test::AppliedState;
using test::At;
using test::FoldAll;
using test::KeyedEvent;
using test::LookAt;
using test::On;
using test::OrderBuilder;
using test::RandomOrders;
using ::testing::ElementsAre;
using ::testing::IsEmpty;
using ::testing::UnorderedElementsAre;

constexpr size_t kAll = 100'000;

std::string WordOf(ClaimState state) {
  return state == ClaimState::kToFile       ? "to file"
         : state == ClaimState::kUnanswered ? "unanswered"
         : state == ClaimState::kOwed       ? "owed"
                                            : "settled";
}

// "harbour/7 to file late until 2026-03-05".
std::string Told(const ClaimToAct& one) {
  return absl::StrCat(FormatOrder(one.place.order, one.place.part), " ", WordOf(one.state), " ",
                      std::string(NameOf(one.reason)),
                      one.last_day ? absl::StrCat(" until ", FormatDay(*one.last_day)) : "");
}
std::vector<std::string> Told(const std::vector<ClaimToAct>& claims) {
  std::vector<std::string> told;
  for (const ClaimToAct& one : claims) told.push_back(Told(one));
  return told;
}

std::vector<ClaimToAct> All(const View& view, const ClaimFilter& filter = {}) {
  auto answer = view.Claims(filter, {}, kAll);
  EXPECT_TRUE(answer.ok()) << answer.status();
  EXPECT_FALSE(answer->more);
  return std::move(answer->claims);
}

Submission SomeTerms() {
  Terms lotus, copper;
  lotus.supplier = "lotus";
  lotus.claim_days = 10;
  copper.supplier = "copper";
  copper.claim_days = 35;
  Submission load;
  load.agreements = {std::vector<Terms>{lotus, copper}};
  return load;
}

// Events in effect of one part, earliest first.
std::vector<Event> InEffect(std::vector<Event> events, int part) {
  std::sort(events.begin(), events.end(), Earlier);
  const std::vector<Ignored> ignored = EventsInEffect(events);
  std::vector<Event> in_effect;
  for (size_t i = 0; i < events.size(); ++i) {
    if (ignored[i] == Ignored::kNo && events[i].part == part) in_effect.push_back(events[i]);
  }
  return in_effect;
}

bool IsBad(Reason reason) { return reason >= Reason::kDamaged && reason <= Reason::kLost; }

// From the events of each part, one rule after the other.
std::set<std::string> NaiveClaims(const std::vector<KeyedEvent>& events, const ExcuseBook& excuses,
                                  Instant now, bool with_settled) {
  const Instant horizon = now - kMillisPerDay;
  std::map<OrderKey, std::vector<Event>> raw;
  for (const KeyedEvent& one : events) raw[one.order].push_back(one.event);
  std::set<std::string> told;
  for (const auto& [order, state] : FoldAll(events, excuses)) {
    for (const PartState& part : state.parts) {
      if (!part.counts()) continue;
      const auto add = [&](const std::string& state_word, Reason reason, const std::string& until) {
        told.insert(absl::StrCat(FormatOrder(order, part.part), " ", state_word, " ",
                                 std::string(NameOf(reason)), until));
      };
      std::optional<Reason> disputed_for;
      std::optional<std::pair<Instant, Reason>> bad;
      std::optional<Instant> disputed;
      bool answered = false, cancelled = false, refunded = false;
      int64_t back = 0;  // in the currency of the claim
      for (const Event& event : InEffect(raw[order], part.part)) {
        const bool refunds = event.type == EventType::kRefunded && !event.refund_by_shop;
        if (event.type == EventType::kDisputed && !disputed) {
          disputed = event.time;
          disputed_for = event.reason;
        }
        cancelled |= event.type == EventType::kCancelled;
        refunded |= refunds;
        if ((event.type == EventType::kDisputed || event.type == EventType::kRefunded) &&
            IsBad(event.reason) && !bad) {
          bad = {event.time, event.reason};
        }
        if (refunds && event.refund && part.claim &&
            event.refund->currency == part.claim->currency) {
          back += event.refund->minor_units;
        }
      }
      for (const Event& event : InEffect(raw[order], part.part)) {
        const bool answers = event.type == EventType::kAnswered ||
                             (event.type == EventType::kRefunded && !event.refund_by_shop);
        answered |= disputed && answers && event.time >= *disputed;
      }
      if (disputed) {
        const bool all_back = part.claim && back >= part.claim->minor_units;
        if (!answered && !all_back) {
          add("unanswered", *disputed_for, "");
        } else if (part.claim && !all_back) {
          add("owed", *disputed_for, "");
        } else if (with_settled) {
          add("settled", *disputed_for, "");
        }
        continue;
      }
      if (cancelled || refunded) continue;
      const bool promised = part.promise && part.promise->counted;
      std::optional<Reason> reason;
      if (bad) {
        reason = bad->second;
      } else if (!part.excuse.empty() || !promised) {
        continue;
      } else if (part.delivered) {
        if (*part.delivered > part.promise->time) reason = Reason::kLate;
      } else if (part.paid) {
        const Day paid = DayOf(*part.paid), due = DayOf(part.promise->time);
        if (EndOf(std::max(due, paid)) <= horizon) reason = Reason::kNotReceived;
        if (EndOf(std::max(due + 30, paid)) <= horizon) reason = Reason::kLost;
      }
      if (!reason) continue;
      const Day since = part.delivered ? DayOf(*part.delivered)
                        : promised     ? DayOf(part.promise->time)
                                       : DayOf(bad->first);
      const int days = part.supplier == "lotus" ? 10 : part.supplier == "copper" ? 35 : 60;
      if (since + days < DayOf(now)) continue;
      add("to file", *reason,
          part.supplier == "amber" ? "" : absl::StrCat(" until ", FormatDay(since + days)));
    }
  }
  return told;
}

// Random claims are in USD and refunds in EUR, so that none would ever be settled: a third are made
// small and in EUR, another third without a sum.
void OtherClaims(std::vector<KeyedEvent>& events, RandomOrders& random) {
  for (KeyedEvent& one : events) {
    if (one.event.type != EventType::kDisputed) continue;
    const int kind = random.Below(3);
    if (kind == 0) one.event.claim.reset();
    if (kind == 1) one.event.claim = Money{1 + random.Below(500), "EUR"};
    one.event.content_hash = ContentHash(one.order, one.event);
  }
}

TEST(Claims, AreWhatANaiveModelFindsInWhateverOrderEventsCame) {
  std::map<std::string, int> seen;  // by state and reason
  for (uint64_t seed = 1; seed <= 40; ++seed) {
    for (const int days : {30, 62, 90}) {
      const Instant now = StartOf(Day{20'000 + days}) + 3'600'000;
      RandomOrders random(seed);
      std::vector<KeyedEvent> events = random.Make(80);
      std::erase_if(events, [&](const KeyedEvent& one) { return one.event.time >= now; });
      OtherClaims(events, random);
      Submission strike;
      strike.excuses.push_back(
          {"lane", ExcusedDays{{"VN", "DE", std::nullopt}, Day{20'010}, Day{20'030}}, "strike"});
      AppliedState state, shuffled;
      ApplyInBatches(state, events, random);
      state.Apply(SomeTerms());
      state.Apply(strike);
      const auto open = NaiveClaims(events, *state.catalog().excuses, now, false);
      const auto every = NaiveClaims(events, *state.catalog().excuses, now, true);
      shuffled.Apply(strike);
      std::shuffle(events.begin(), events.end(), random.generator());
      ApplyInBatches(shuffled, events, random);
      shuffled.Apply(SomeTerms());

      const View view = LookAt(state, now);
      const std::vector<ClaimToAct> claims = All(view);
      const std::vector<std::string> told = Told(claims);
      ASSERT_EQ(std::set<std::string>(told.begin(), told.end()), open) << "seed " << seed;
      ASSERT_EQ(told.size(), open.size());
      ASSERT_EQ(Told(All(LookAt(shuffled, now))), told) << "seed " << seed;
      const std::vector<std::string> settled = Told(All(view, {"", true}));
      ASSERT_EQ(std::set<std::string>(settled.begin(), settled.end()), every) << "seed " << seed;
      for (const ClaimToAct& one : All(view, {"", true})) {
        ++seen[WordOf(one.state)];
        if (one.state == ClaimState::kToFile) ++seen[std::string(NameOf(one.reason))];
      }
    }
  }
  for (const char* word : {"to file", "unanswered", "owed", "settled", "late", "not_received",
                           "lost", "damaged", "wrong_item"}) {
    EXPECT_GT(seen[word], 5) << word;
  }
}

TEST(Claims, PagesAndSuppliersArePartsOfTheWhole) {
  RandomOrders random(4);
  const Instant now = StartOf(Day{20'062});
  AppliedState state;
  ApplyInBatches(state, random.Make(300), random);
  state.Apply(SomeTerms());
  const View view = LookAt(state, now);
  for (const bool with_settled : {false, true}) {
    const std::vector<ClaimToAct> whole = All(view, {"", with_settled});
    ASSERT_GT(whole.size(), 30u);
    EXPECT_TRUE(
        std::is_sorted(whole.begin(), whole.end(), [](const ClaimToAct& a, const ClaimToAct& b) {
          return a.last_day.value_or(kNoLastDay) < b.last_day.value_or(kNoLastDay);
        }));
    for (const size_t size : {1u, 7u}) {
      std::vector<ClaimToAct> paged;
      std::optional<ClaimPlace> after;
      for (bool more = true; more;) {
        const auto page = view.Claims({"", with_settled}, after, size);
        ASSERT_TRUE(page.ok());
        ASSERT_LE(page->claims.size(), size);
        paged.insert(paged.end(), page->claims.begin(), page->claims.end());
        more = page->more;
        after = paged.back().place;
        ASSERT_LE(paged.size(), whole.size());
      }
      ASSERT_EQ(Told(paged), Told(whole));
    }
    for (const char* supplier : {"lotus", "amber", "nobody"}) {
      std::vector<ClaimToAct> own;
      std::copy_if(whole.begin(), whole.end(), std::back_inserter(own),
                   [&](const ClaimToAct& one) { return one.pair.supplier == supplier; });
      EXPECT_EQ(Told(All(view, {supplier, with_settled})), Told(own)) << supplier;
    }
  }
}

TEST(Claims, WithSettledOnesCanBeGivenUp) {
  RandomOrders random(4);
  AppliedState state;
  ApplyInBatches(state, random.Make(2500), random);
  const View view = LookAt(state, StartOf(Day{20'062}));
  EXPECT_TRUE(absl::IsCancelled(view.Claims({"", true}, {}, 10, [] { return true; }).status()));
  EXPECT_TRUE(view.Claims({"", false}, {}, 10, [] { return true; }).ok());
}

// It is the 1st of June, 12:00; claims of "S" are to be filed within 20 days.
class ByHand : public ::testing::Test {
 protected:
  ByHand() {
    Terms terms;
    terms.supplier = "S";
    terms.claim_days = 20;
    Submission load;
    load.agreements = {std::vector<Terms>{terms}};
    state_.Apply(load);
  }
  OrderBuilder Order(const std::string& id, int64_t cents = 0, const std::string& supplier = "S") {
    OrderBuilder order({"default", id});
    order.Paid("2026-05-01").Promised("2026-05-12").With([&](Event& event) {
      event.supplier = supplier;
      if (cents > 0) event.cost = Money{cents, "EUR"};
    });
    return order;
  }
  std::vector<ClaimToAct> Ask(bool with_settled = false, const std::string& now = "") {
    return All(LookAt(state_, now.empty() ? At("2026-06-01T12:00") : At(now)), {"", with_settled});
  }
  AppliedState state_;
};

TEST_F(ByHand, TheLastDayToFileIsCountedFromDeliveryOrFromThePromiseOfWhatDidNotCome) {
  state_.Apply(Order("came").Delivered("2026-05-14T18:00"));
  state_.Apply(Order("not"));
  EXPECT_THAT(Told(Ask()), ElementsAre("default/not to file not_received until 2026-06-01",
                                       "default/came to file late until 2026-06-03"));
  EXPECT_EQ(Ask()[0].days_left, 0);
  EXPECT_EQ(Ask()[1].days_left, 2);
  EXPECT_THAT(Told(Ask(false, "2026-06-03T23:59")),
              ElementsAre("default/came to file late until 2026-06-03"));
  EXPECT_THAT(Ask(false, "2026-06-04"), IsEmpty()) << "too late to file";
}

TEST_F(ByHand, WithoutTermsWhatIsOlderThanTheClaimWindowIsLetGo) {
  state_.Apply(Order("came", 0, "N").Delivered("2026-05-14"));
  state_.Apply(Order("not", 0, "N"));
  EXPECT_THAT(Told(Ask()), UnorderedElementsAre("default/not to file not_received",
                                                "default/came to file late"));
  EXPECT_EQ(Ask()[0].days_left, std::nullopt);
  EXPECT_THAT(Told(Ask(false, "2026-06-20")),
              UnorderedElementsAre("default/not to file lost", "default/came to file late"));
  EXPECT_THAT(Told(Ask(false, "2026-07-12")), ElementsAre("default/came to file late"));
  EXPECT_THAT(Ask(false, "2026-07-14"), IsEmpty());
}

TEST_F(ByHand, NothingIsToBeFiledBeforeTheNewsIsCompleteOrForNoFaultOfTheSupplier) {
  state_.Apply(Order("not"));
  EXPECT_THAT(Ask(false, "2026-05-13T23:59"), IsEmpty()) << "news may still come in";
  EXPECT_EQ(Ask(false, "2026-05-14").size(), 1u);
  Submission news;
  news.news.push_back({"test", At("2026-05-12")});
  state_.Apply(news);
  state_.Apply(Order("seen").Delivered("2026-05-10"));  // the source tells of deliveries
  EXPECT_THAT(Ask(false, "2026-05-20"), IsEmpty());
  state_.Apply(Order("late").Delivered("2026-05-14"));
  ASSERT_EQ(Ask(false, "2026-05-20").size(), 1u);
  Submission excuse;
  excuse.excuses.push_back({"e", ExcusedOrder{{"default", "late"}, 1}, "port strike"});
  state_.Apply(excuse);
  EXPECT_THAT(Ask(false, "2026-05-20"), IsEmpty());
}

TEST_F(ByHand, AFiledClaimSaysHowLongItWaitsAndWhatIsOwed) {
  const auto claim = [](Event& event) { event.claim = Money{900, "EUR"}; };
  const auto refund = [](Event& event) { event.refund = Money{400, "EUR"}; };
  state_.Apply(Order("open").Disputed("2026-05-22", Reason::kLate).With(claim));
  state_.Apply(Order("part")
                   .Disputed("2026-05-22", Reason::kQuality)
                   .With(claim)
                   .Refunded("2026-05-25")
                   .With(refund));
  state_.Apply(Order("done").Disputed("2026-05-22", Reason::kOther).Answered("2026-05-23"));
  const std::vector<ClaimToAct> claims = Ask(true);
  EXPECT_THAT(Told(claims), ElementsAre("default/open unanswered late", "default/part owed quality",
                                        "default/done settled other"));
  EXPECT_THAT(Told(Ask()),
              ElementsAre("default/open unanswered late", "default/part owed quality"));
  EXPECT_EQ(claims[0].waiting_days, 10.5);
  EXPECT_EQ(claims[0].claimed, (Money{900, "EUR"}));
  EXPECT_EQ(claims[0].refunded, (Money{0, "EUR"}));
  EXPECT_EQ(claims[0].owed, (Money{900, "EUR"}));
  EXPECT_EQ(claims[1].waiting_days, std::nullopt);
  EXPECT_EQ(claims[1].refunded, (Money{400, "EUR"}));
  EXPECT_EQ(claims[1].owed, (Money{500, "EUR"}));
  EXPECT_EQ(claims[1].disputed, At("2026-05-22"));
  EXPECT_EQ(claims[2].owed, std::nullopt);
  EXPECT_EQ(claims[2].last_day, std::nullopt);
}

TEST_F(ByHand, OfOneDayTheMostMoneyComesFirst) {
  state_.Apply(Order("a", 500).Delivered("2026-05-20"));
  state_.Apply(Order("b", 2500).Delivered("2026-05-20"));
  state_.Apply(Order("c").Delivered("2026-05-20"));
  state_.Apply(Order("d", 9900).Delivered("2026-05-21"));
  std::string ids;
  for (const ClaimToAct& one : Ask()) ids += one.place.order.order_id;
  EXPECT_EQ(ids, "bacd");
}

TEST_F(ByHand, ADefectThatOnlyTheShopPaidForIsToBeFiled) {
  state_.Apply(Order("bad").Delivered("2026-05-10").Refunded("2026-05-15", Reason::kDamaged, true));
  EXPECT_THAT(Told(Ask(false, "2026-05-20")),
              ElementsAre("default/bad to file damaged until 2026-05-30"));
}

}  // namespace
}  // namespace plumblane
