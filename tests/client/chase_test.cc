// `underway` and `claims` against a fake daemon: what is asked, and the screens.

#include <gmock/gmock.h>

#include <nlohmann/json.hpp>

#include "client/exit_codes.h"
#include "client/fake_daemon.h"
#include "client/show_chase.h"
#include "client/support.h"

namespace plumblane::client {
namespace {

using testing::HasSubstr;
using testing::Not;

constexpr char kUnderway[] = R"({"asOfTime":"2026-10-01T00:00:00Z",
  "newsTime":"2026-09-28T00:00:00Z","orders":[
  {"shop":"harbour","orderId":"1043","part":1,"supplierId":"lotus-works",
   "lane":{"origin":"VN","destination":"DE","service":"express"},
   "promiseTime":"2026-09-16T22:00:00Z","ageDays":41.04,"state":"STATE_OVERDUE","lateChance":1,
   "cost":{"minorUnits":"1375","currencyCode":"EUR"},
   "reason":"11 days past its promise and not shipped; not shipped after 38 days; nine in ten)"
                             R"( of its supplier leave within 3 days"},
  {"shop":"default","orderId":"77","part":2,"supplierId":"linden-store",
   "lane":{"origin":"DE","destination":"SE","service":""},"promiseTime":"2026-10-02T22:00:00Z",
   "ageDays":3.5,"state":"STATE_ON_TIME","lateChance":0.043},
  {"shop":"default","orderId":"78","part":1,"supplierId":"linden-store",
   "lane":{"origin":"DE","destination":"SE","service":""},"ageDays":0.2,
   "state":"STATE_NO_PROMISE"}],
  "counts":[
  {"supplierId":"linden-store","lane":{"origin":"DE","destination":"SE","service":""},
   "orderCount":"1400","likelyLateCount":"12"},
  {"supplierId":"lotus-works","lane":{"origin":"VN","destination":"DE","service":"express"},
   "orderCount":"41","overdueCount":"3","likelyLateCount":"2","unshippedLateCount":"1"}]})";

class ChaseTest : public testing::Test {
 protected:
  Result Run(const std::vector<std::string>& arguments) {
    return RunProgram(arguments, daemon_.address());
  }

  FakeDaemon daemon_;
};

TEST_F(ChaseTest, UnderwaySaysWhichOrdersAreWanted) {
  EXPECT_EQ(Run({"underway", "--late", "--supplier", "a", "--lane", "vn-de/-"}).code, kDone);
  EXPECT_EQ(daemon_.state.underway_request.ShortDebugString(),
            "supplier: \"a\" lane { origin: \"VN\" destination: \"DE\" service: \"\" } "
            "late_only: true page_size: 1000");
  Run({"underway"});
  EXPECT_EQ(daemon_.state.underway_request.ShortDebugString(), "page_size: 1000");
}

TEST_F(ChaseTest, UnderwayWholeScreen) {
  daemon_.state.underway = FromJson<v1::ListUnderwayResponse>(kUnderway);
  EXPECT_EQ(Run({"underway"}).out,
            "               age  promise           late\n"
            "order         days  UTC                  %       paid\n"
            "harbour/1043  41.0  2026-09-16 22:00   100  13.75 EUR\n"
            "  lotus-works, VN-DE/express: 11 days past its promise and not shipped; not\n"
            "  shipped after 38 days; nine in ten of its supplier leave within 3 days\n"
            "default/77#2   3.5  2026-10-02 22:00   4.3          -\n"
            "  linden-store, DE-SE/-\n"
            "default/78     0.2  -                    -          -\n"
            "  linden-store, DE-SE/-\n"
            "\n"
            "supplier                                     likely  slow to\n"
            "and lane                    orders  overdue    late    leave\n"
            "linden-store, DE-SE/-        1,400        0      12        0\n"
            "lotus-works, VN-DE/express      41        3       2        1\n"
            "\n"
            "1,441 orders under way: 3 overdue, 14 likely late, 1 slow to leave.\n"
            "age: since it was paid; late: the chance that it misses its promise, as it is\n"
            "not there yet; paid: to the supplier; overdue: its promise is over; likely late:\n"
            "more likely than not; slow to leave: not shipped, though nine in ten of its\n"
            "supplier leave sooner; -: not known.\n"
            "\n"
            "delivery news up to 2026-09-28; as of 2026-10-01\n");
  EXPECT_THAT(Run({"underway", "--late"}).out, HasSubstr("\n1,441 orders to chase: 3 overdue, "));
}

TEST_F(ChaseTest, UnderwayFollowsEveryPageAndCountsOnce) {
  daemon_.state.underway = FromJson<v1::ListUnderwayResponse>(kUnderway);
  const Result whole = Run({"underway"});
  daemon_.state.page_size = 1;
  EXPECT_EQ(Run({"underway"}).out, whole.out);
  const auto json = nlohmann::json::parse(Run({"underway", "--json"}).out);
  EXPECT_EQ(json["orders"].size(), 3u);
  EXPECT_EQ(json["orders"][2]["orderId"], "78");
  EXPECT_EQ(json["counts"].size(), 2u);
  EXPECT_EQ(json["nextPageToken"], "");
}

TEST_F(ChaseTest, NothingUnderwayIsSaid) {
  EXPECT_EQ(Run({"underway"}).out, "no orders under way\n");
  EXPECT_EQ(Run({"underway", "--late"}).out,
            "no order under way is late, likely to be late, or slow to leave\n");
}

TEST_F(ChaseTest, NothingOfWhatWasAskedIsNotNothing) {
  EXPECT_EQ(Run({"underway", "--supplier", "a", "--lane", "VN-DE/-"}).out,
            "no orders under way for a, VN-DE/-\n");
  EXPECT_EQ(Run({"underway", "--late", "--lane", "VN-DE"}).out, "no orders to chase for VN-DE\n");
  EXPECT_EQ(Run({"claims", "--supplier", "a"}).out,
            "no claims to file, unanswered or owed for a\n");
  EXPECT_EQ(Run({"claims", "--all", "--supplier", "a"}).out, "no claims for a\n");
}

TEST_F(ChaseTest, UnderwayNeedsADaemon) {
  daemon_.Stop();
  EXPECT_EQ(Run({"underway"}).code, kOutOfReach);
}

TEST(ShowChaseTest, LongNamesFit) {
  auto answer = FromJson<v1::ListUnderwayResponse>(kUnderway);
  const std::string name(64, 'n');
  for (auto& one : *answer.mutable_orders()) {
    one.set_shop(name);
    one.set_order_id(name);
    one.set_supplier_id(name);
    one.set_age_days(1234.5);
    one.mutable_cost()->set_minor_units(12'345'678);
    one.mutable_cost()->set_currency_code("VND");
  }
  for (auto& one : *answer.mutable_counts()) {
    one.set_supplier_id(name);
    one.set_overdue_count(1'234'567);
  }
  const std::string text = ShowUnderway(answer, false, 80);
  EXPECT_LE(WidestLine(text), 80) << text;
}

// ---- claims -----------------------------------------------------------------------------------

// By hand: owed 9.90 + 4.10 EUR = 14.00 EUR, and 98,000 VND.
constexpr char kClaims[] = R"({"asOfTime":"2026-10-01T00:00:00Z","claims":[
  {"shop":"harbour","orderId":"1043","part":1,"supplierId":"lotus-works",
   "lane":{"origin":"VN","destination":"DE","service":"express"},"reason":"REASON_NOT_RECEIVED",
   "state":"STATE_TO_FILE","lastDate":"2026-10-04","daysLeft":3},
  {"shop":"harbour","orderId":"1044","part":2,"supplierId":"lotus-works",
   "lane":{"origin":"VN","destination":"DE","service":""},"reason":"REASON_QUALITY",
   "state":"STATE_UNANSWERED","waitingDays":12.9,
   "claimed":{"minorUnits":"990","currencyCode":"EUR"},
   "owed":{"minorUnits":"990","currencyCode":"EUR"}},
  {"shop":"default","orderId":"9","part":1,"supplierId":"linden-store",
   "lane":{"origin":"DE","destination":"SE","service":""},"reason":"REASON_DAMAGED",
   "state":"STATE_OWED","claimed":{"minorUnits":"1000","currencyCode":"EUR"},
   "refunded":{"minorUnits":"590","currencyCode":"EUR"},
   "owed":{"minorUnits":"410","currencyCode":"EUR"}},
  {"shop":"default","orderId":"10","part":1,"supplierId":"linden-store",
   "lane":{"origin":"DE","destination":"SE","service":""},"state":"STATE_OWED",
   "claimed":{"minorUnits":"98000","currencyCode":"VND"},
   "owed":{"minorUnits":"98000","currencyCode":"VND"}}]})";

TEST_F(ChaseTest, ClaimsSayWhichAreWanted) {
  EXPECT_EQ(Run({"claims", "--all", "--supplier", "a"}).code, kDone);
  EXPECT_EQ(daemon_.state.claims_request.ShortDebugString(),
            "supplier: \"a\" with_settled: true page_size: 1000");
  Run({"claims"});
  EXPECT_EQ(daemon_.state.claims_request.ShortDebugString(), "page_size: 1000");
}

TEST_F(ChaseTest, ClaimsWholeScreen) {
  daemon_.state.claims = FromJson<v1::ListClaimsResponse>(kClaims);
  EXPECT_EQ(Run({"claims"}).out,
            "order             claimed  refunded       owed  last day\n"
            "harbour/1043            -         -          -  2026-10-04\n"
            "  lotus-works, VN-DE/express: not received, to file, 3 days left\n"
            "harbour/1044#2   9.90 EUR         -   9.90 EUR  -\n"
            "  lotus-works, VN-DE/-: poor quality, unanswered for 12 days\n"
            "default/9       10.00 EUR  5.90 EUR   4.10 EUR  -\n"
            "  linden-store, DE-SE/-: damaged, owed\n"
            "default/10      98000 VND         -  98000 VND  -\n"
            "  linden-store, DE-SE/-: owed\n"
            "\n"
            "4 claims: 1 to file, 1 unanswered and 2 answered but owed.\n"
            "Suppliers owe 14.00 EUR and 98000 VND.\n"
            "claimed, refunded, owed: by the supplier; last day: to file it; -: not known.\n"
            "\n"
            "as of 2026-10-01\n");
}

TEST_F(ChaseTest, ClaimsFollowEveryPage) {
  daemon_.state.claims = FromJson<v1::ListClaimsResponse>(kClaims);
  const Result whole = Run({"claims"});
  daemon_.state.page_size = 1;
  EXPECT_EQ(Run({"claims"}).out, whole.out);
  EXPECT_EQ(nlohmann::json::parse(Run({"claims", "--json"}).out)["claims"].size(), 4u);
}

TEST(ShowChaseTest, LastDayIsCounted) {
  const std::pair<int, std::string> cases[] = {{0, "to file, today is the last day\n"},
                                               {1, "to file, 1 day left\n"},
                                               {-2, "to file, 2 days too late\n"}};
  for (const auto& [days, text] : cases) {
    v1::ListClaimsResponse answer;
    v1::Claim& claim = *answer.add_claims();
    claim.set_state(v1::Claim::STATE_TO_FILE);
    claim.set_days_left(days);
    EXPECT_THAT(ShowClaims(answer, false, 80), HasSubstr(text));
    EXPECT_THAT(ShowClaims(answer, false, 80), Not(HasSubstr("owe ")));
  }
}

TEST(ShowChaseTest, NoClaimsAreSaid) {
  EXPECT_EQ(ShowClaims({}, false, 80), "nothing to claim and nothing owed\n");
  EXPECT_EQ(ShowClaims({}, true, 80), "no claims\n");
}

}  // namespace
}  // namespace plumblane::client
