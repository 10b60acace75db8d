// Who gets the next order, through the handlers: by cost once costs and quotes are there, within
// limits, kept once decided.
#include "service/sourcing_service.h"

#include <absl/strings/str_cat.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <map>

#include "service/query_services.h"
#include "service/service_support.h"

namespace plumblane {
namespace {

using test::At;
using test::On;
using test::OrderBuilder;
using test::RunningEngine;
using test::Stamp;
using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;
using ::testing::SizeIs;
using ::testing::StartsWith;

Quote QuoteOf(const std::string& supplier, const std::string& origin, int64_t price,
              const std::string& currency = "EUR") {
  Quote quote;
  quote.key = {supplier, "", {origin, "DE", ""}, 1};
  quote.price = {price, currency};
  quote.promise = PromisedDays{0, 10, false};
  quote.valid_from = On("2026-01-01");
  return quote;
}

CostSettings Costs() {
  CostSettings settings;
  settings.currency = "EUR";
  CostClass costs;
  costs.sale = 3000;
  costs.late_order = 400;
  costs.day_late = 50;
  costs.day_waiting = 5;
  costs.unanswered_day = 20;
  for (DefectCost& defect : costs.defects) defect = {0.5, false};
  costs.defects[IndexOfKind(Code::kLost)] = {0, true};
  settings.classes = {costs};
  return settings;
}

// Three suppliers to DE in spring: "swift" (PL) never late, "cheap" (VN) late two times in five,
// "dear" (TR) never late. It is the 1st of June.
class Sourcing : public ::testing::Test {
 protected:
  Sourcing() {
    for (int i = 0; i < 60; ++i) {
      Add("swift", "PL", i, 5);
      Add("cheap", "VN", i, i % 5 < 2 ? 16 : 8);
      Add("dear", "TR", i, 6);
    }
  }

  void Add(const std::string& supplier, const std::string& origin, int i, int days) {
    OrderBuilder order({"default", absl::StrCat(supplier, i)});
    const Instant paid = At("2026-03-01T12:00") + i * kMillisPerDay;
    order.Paid(FormatInstant(paid).substr(0, 19)).With([&](Event& event) {
      event.supplier = supplier;
      event.origin = origin;
      event.promise = paid + 10 * kMillisPerDay;
      event.cost = Money{1000, "EUR"};
    });
    order.Delivered(FormatInstant(paid + days * kMillisPerDay).substr(0, 19));
    engine_.Submit(order);
  }

  void Load(const AgreementLoad& load) {
    Submission submission;
    submission.agreements = {load};
    EXPECT_TRUE(engine_.Submit(std::move(submission)).status.ok());
  }
  void LoadAll() {
    Load(Costs());
    Load(std::vector<Quote>{QuoteOf("swift", "PL", 1050), QuoteOf("cheap", "VN", 990),
                            QuoteOf("dear", "TR", 1400)});
  }

  v1::RankSuppliersResponse Rank(const v1::RankSuppliersRequest& asked = {}) {
    v1::RankSuppliersRequest request = asked;
    if (request.destination().empty()) request.set_destination("DE");
    const View view = engine_->Look();
    v1::RankSuppliersResponse response;
    const absl::Status status =
        RankSuppliers(view, request, LatestAskable(*engine_, view), &response);
    EXPECT_TRUE(status.ok()) << status;
    return response;
  }

  v1::AssignOrdersResponse Assign(const v1::AssignOrdersRequest& request) {
    v1::AssignOrdersResponse response;
    auto made = AssignOrders(engine_->Look(), request, &response);
    EXPECT_TRUE(made.ok()) << made.status();
    if (made.ok() && !made->empty()) {
      Submission submission;
      submission.assignments = *std::move(made);
      EXPECT_TRUE(engine_.Submit(std::move(submission)).status.ok());
    }
    return response;
  }
  v1::AssignOrderResult AssignOne(const std::string& id, const std::string& supplier = "",
                                  const std::string& instead_of = "") {
    v1::AssignOrdersRequest request;
    v1::OrderToAssign* order = request.add_orders();
    order->set_order_id(id);
    order->set_destination("DE");
    request.set_supplier(supplier);
    if (!supplier.empty()) request.set_reason("they asked for it");
    request.set_instead_of(instead_of);
    return Assign(request).results(0);
  }

  static std::vector<std::string> Suppliers(const v1::RankSuppliersResponse& answer) {
    std::vector<std::string> names;
    for (const auto& one : answer.candidates()) names.push_back(one.score().supplier_id());
    return names;
  }
  static std::map<std::string, std::string> Excluded(const v1::RankSuppliersResponse& answer) {
    std::map<std::string, std::string> reasons;
    for (const auto& one : answer.excluded()) reasons[one.supplier()] = one.reason();
    return reasons;
  }

  RunningEngine engine_;
};

TEST_F(Sourcing, WithoutCostsItGoesByTheShareLateOrBadAndSaysWhatToLoad) {
  const v1::RankSuppliersResponse answer = Rank();
  EXPECT_EQ(answer.order(), v1::RankSuppliersResponse::ORDER_LATE_OR_BAD_SHARE);
  EXPECT_THAT(answer.order_reason(), HasSubstr("no cost settings were loaded"));
  EXPECT_EQ(Suppliers(answer).back(), "cheap");
  EXPECT_FALSE(answer.candidates(0).has_cost());
  EXPECT_EQ(answer.candidates(0).share(), 1);
}

TEST_F(Sourcing, WithCostsAndQuotesTheLowestExpectedCostComesFirst) {
  LoadAll();
  const v1::RankSuppliersResponse answer = Rank();
  EXPECT_EQ(answer.order(), v1::RankSuppliersResponse::ORDER_EXPECTED_COST);
  EXPECT_THAT(Suppliers(answer), ElementsAre("swift", "cheap", "dear"));
  EXPECT_THAT(answer.candidates(0).reason(), StartsWith("0.60 EUR dearer than the quote of cheap, "
                                                        "but that one is late 1 in "));
  EXPECT_THAT(answer.candidates(1).reason(), HasSubstr("dearer than swift: quoted 0.60 EUR less"));
  double chances = 0;
  for (const v1::Candidate& one : answer.candidates()) {
    const v1::ExpectedCost& cost = one.cost();
    const auto& basis = answer.cost_basis();
    // Every part again, from what the answer says it is made of.
    EXPECT_NEAR(cost.late_cost(), cost.late_share() * basis.late_order(), 1e-9);
    EXPECT_NEAR(cost.days_late_cost(), cost.late_days() * basis.day_late(), 1e-9);
    EXPECT_NEAR(cost.waiting_cost(), cost.waiting_days() * basis.day_waiting(), 1e-9);
    EXPECT_NEAR(cost.unanswered_cost(),
                cost.dispute_share() * cost.response_days() * basis.unanswered_day(), 1e-9);
    double defect = 0;
    for (const auto& [kind, share] : cost.defect_shares()) {
      if (kind != "lost") defect += share * 0.5 * static_cast<double>(basis.sale());
    }
    EXPECT_NEAR(cost.defect_cost(), defect, 1e-9);
    EXPECT_NEAR(cost.lost_cost(),
                cost.defect_shares().at("lost") * static_cast<double>(cost.landed()), 1e-9);
    EXPECT_NEAR(cost.expected(),
                static_cast<double>(cost.landed()) + cost.late_cost() + cost.days_late_cost() +
                    cost.waiting_cost() + cost.defect_cost() + cost.lost_cost() +
                    cost.unanswered_cost(),
                1e-9);
    EXPECT_LT(cost.low(), cost.median());
    EXPECT_LT(cost.median(), cost.high());
    chances += cost.cheapest_chance();
  }
  EXPECT_NEAR(chances, 1, 1e-9);
  EXPECT_NEAR(answer.candidates(0).cost().waiting_days(), 5, 0.1);
  EXPECT_EQ(answer.candidates(0).share(), 1);
}

TEST_F(Sourcing, WhoCannotTakeTheOrderIsNamedWithTheReason) {
  Load(Costs());
  Quote expired = QuoteOf("cheap", "VN", 990);
  expired.valid_until = On("2026-05-31");
  Load(std::vector<Quote>{QuoteOf("swift", "PL", 1050), expired, QuoteOf("dear", "TR", 1400, "USD"),
                          QuoteOf("fresh", "IN", 900)});
  Terms terms;
  terms.supplier = "swift";
  terms.monthly_order_limit = 0;
  Load(std::vector<Terms>{terms});
  Load(Pause{"fresh", true, On("2026-07-01"), "quality"});
  const v1::RankSuppliersResponse answer = Rank();
  EXPECT_THAT(answer.candidates(), IsEmpty());
  const auto reasons = Excluded(answer);
  EXPECT_THAT(reasons.at("swift"),
              HasSubstr("its limit of 0 orders a month is reached; the next begins on 2026-07-01"));
  EXPECT_THAT(reasons.at("cheap"), HasSubstr("no quote holds"));
  EXPECT_THAT(reasons.at("dear"), HasSubstr("USD"));
  EXPECT_EQ(reasons.at("fresh"), "paused until 2026-07-01: quality");

  const v1::AssignOrderResult none = AssignOne("n1");
  EXPECT_EQ(none.code(), v1::AssignOrderResult::CODE_NONE_ELIGIBLE);
  EXPECT_THAT(none.excluded(), SizeIs(4));
}

TEST_F(Sourcing, ASupplierThatOnlyQuotesIsPlacedByWhatOthersDo) {
  LoadAll();
  Load(std::vector<Quote>{QuoteOf("fresh", "IN", 700)});
  const v1::RankSuppliersResponse answer = Rank();
  ASSERT_THAT(answer.candidates(), SizeIs(4));
  EXPECT_EQ(answer.candidates(0).score().supplier_id(), "fresh");
  EXPECT_TRUE(answer.candidates(0).assumed());
  EXPECT_TRUE(answer.candidates(0).cost().times_assumed());
  EXPECT_GT(answer.candidates(0).cost().late_share(), 0) << "no data is not zero";
}

TEST_F(Sourcing, MoneyIsConvertedAtTheRateOfTheDay) {
  LoadAll();
  Load(std::vector<ExchangeRate>{*ParseExchangeRate("USD", "EUR", "0.9", On("2026-05-01")),
                                 *ParseExchangeRate("USD", "EUR", "0.5", On("2026-06-02"))});
  Load(std::vector<Quote>{QuoteOf("dear", "TR", 1000, "USD")});
  const v1::RankSuppliersResponse answer = Rank();
  for (const v1::Candidate& one : answer.candidates()) {
    if (one.score().supplier_id() != "dear") continue;
    EXPECT_EQ(one.cost().landed(), 900);
    EXPECT_EQ(one.cost().quoted().minor_units(), 1000);
    EXPECT_EQ(one.cost().exchange_rate(), "1 USD = 0.9 EUR of 2026-05-01");
    return;
  }
  FAIL() << "dear is no candidate";
}

TEST_F(Sourcing, AnAssignmentIsKeptAndRepeatedTheSame) {
  LoadAll();
  const v1::AssignOrderResult first = AssignOne("n1");
  EXPECT_EQ(first.assignment().supplier(), "swift");
  EXPECT_EQ(first.assignment().part(), 1);
  EXPECT_EQ(first.assignment().mode(), v1::Assignment::MODE_LOWEST_COST);
  EXPECT_FALSE(first.assignment().trial());
  EXPECT_GT(first.assignment().expected_saving(), 0) << "against the cheapest quote";
  EXPECT_THAT(first.assignment().candidates(), SizeIs(3));
  Load(std::vector<Quote>{QuoteOf("dear", "TR", 10)});  // would be picked now
  const v1::AssignOrderResult again = AssignOne("n1");
  EXPECT_TRUE(again.existed());
  EXPECT_EQ(again.assignment().SerializeAsString(), first.assignment().SerializeAsString());
  EXPECT_EQ(AssignOne("n2").assignment().supplier(), "dear");
}

TEST_F(Sourcing, AnOrderIsNotGivenToTwo) {
  LoadAll();
  AssignOne("n1");
  const v1::AssignOrderResult other = AssignOne("n1", "dear");
  EXPECT_EQ(other.code(), v1::AssignOrderResult::CODE_ASSIGNED_ALREADY);
  EXPECT_EQ(other.problem(), "assigned to swift already; to route it again say instead of whom");
  EXPECT_THAT(AssignOne("swift3").problem(), HasSubstr("paid to swift already"));
}

TEST_F(Sourcing, RoutedAgainItIsANewPartWithAnotherSupplier) {
  LoadAll();
  AssignOne("n1");
  const v1::AssignOrderResult second = AssignOne("n1", "", "swift");
  EXPECT_EQ(second.assignment().part(), 2);
  EXPECT_EQ(second.assignment().supplier(), "cheap");
  EXPECT_EQ(second.assignment().instead_of(), "swift");
  EXPECT_TRUE(AssignOne("n1", "", "swift").existed()) << "asked again it stays";
  EXPECT_EQ(AssignOne("n1", "dear", "swift").code(), v1::AssignOrderResult::CODE_ASSIGNED_ALREADY)
      << "routed again to cheap already";
  const v1::AssignOrderResult other = AssignOne("n1", "", "dear");
  EXPECT_EQ(other.field(), "instead_of");
  EXPECT_EQ(other.problem(), "part 2 went to cheap") << "the field is named once";
  EXPECT_EQ(AssignOne("n1", "", "cheap").assignment().supplier(), "dear")
      << "swift could not deliver it either";
  EXPECT_THAT(AssignOne("n9", "", "dear").problem(), HasSubstr("assigned or paid before"));
  EXPECT_EQ(AssignOne("swift5", "", "swift").assignment().part(), 2) << "paid, then out of stock";
}

TEST_F(Sourcing, APersonsOwnChoiceClaimsNoSaving) {
  LoadAll();
  const v1::AssignOrderResult own = AssignOne("n1", "dear");
  EXPECT_EQ(own.assignment().supplier(), "dear");
  EXPECT_EQ(own.assignment().mode(), v1::Assignment::MODE_CHOSEN);
  EXPECT_EQ(own.assignment().reason(), "they asked for it");
  EXPECT_FALSE(own.assignment().has_expected_saving());
  EXPECT_EQ(AssignOne("n2", "nobody").code(), v1::AssignOrderResult::CODE_NONE_ELIGIBLE);
}

TEST_F(Sourcing, ADaysOrdersStayWithinTheLimit) {
  LoadAll();
  Terms terms;
  terms.supplier = "swift";
  terms.monthly_order_limit = 2;
  Load(std::vector<Terms>{terms});
  AssignOne("n0");
  v1::AssignOrdersRequest request;
  for (int i = 1; i <= 3; ++i) {
    request.add_orders()->set_order_id(absl::StrCat("n", i));
    request.mutable_orders(i - 1)->set_destination("DE");
  }
  request.set_dry_run(true);
  const v1::AssignOrdersResponse tried = Assign(request);
  request.set_dry_run(false);
  const v1::AssignOrdersResponse done = Assign(request);
  std::vector<std::string> given;
  for (int i = 0; i < 3; ++i) {
    given.push_back(done.results(i).assignment().supplier());
    EXPECT_FALSE(done.results(i).existed());
    EXPECT_EQ(tried.results(i).SerializeAsString(), done.results(i).SerializeAsString());
  }
  EXPECT_THAT(given, ElementsAre("swift", "cheap", "cheap"));
}

TEST_F(Sourcing, PaidOrdersOfTheMonthCountAgainstTheLimitOnce) {
  LoadAll();
  Terms terms;
  terms.supplier = "swift";
  terms.monthly_order_limit = 3;
  Load(std::vector<Terms>{terms});
  AssignOne("n1");
  EXPECT_EQ(Rank().candidates(0).remaining_capacity(), 2);
  OrderBuilder order({"default", "n1"});
  order.Paid("2026-06-01T10:00").With([](Event& event) {
    event.supplier = "swift";
    event.origin = "PL";
  });
  engine_.Submit(order);
  EXPECT_EQ(Rank().candidates(0).remaining_capacity(), 2) << "paid, no longer open";
  EXPECT_EQ(AssignOne("n1").assignment().state(), v1::Assignment::STATE_PAID);
}

TEST_F(Sourcing, TrialsAreFewSaidAndTheSameEachTime) {
  CostSettings settings = Costs();
  settings.trials.on = true;
  Load(settings);
  Load(std::vector<Quote>{QuoteOf("swift", "PL", 1050), QuoteOf("cheap", "VN", 1040),
                          QuoteOf("dear", "TR", 1055)});
  v1::AssignOrdersRequest request;
  request.set_dry_run(true);
  for (int i = 0; i < 1000; ++i) {
    request.add_orders()->set_order_id(absl::StrCat("n", i));
    request.mutable_orders(i)->set_destination("DE");
  }
  const v1::AssignOrdersResponse once = Assign(request);
  int trials = 0;
  for (const v1::AssignOrderResult& one : once.results()) {
    EXPECT_EQ(one.assignment().mode(), v1::Assignment::MODE_SHARED);
    if (!one.assignment().trial()) continue;
    ++trials;
    EXPECT_THAT(one.assignment().reason(), HasSubstr("trial order, about "));
    EXPECT_GE(one.assignment().dearer(), 0);
  }
  double shares = 0;
  const v1::RankSuppliersResponse ranked = Rank();
  for (const v1::Candidate& one : ranked.candidates()) shares += one.rank() > 1 ? one.share() : 0;
  EXPECT_GT(shares, 0);
  EXPECT_NEAR(trials / 1000.0, shares, 4 * std::sqrt(shares / 1000));
  EXPECT_EQ(Assign(request).SerializeAsString(), once.SerializeAsString());
}

TEST_F(Sourcing, AssignmentsAreListedLatestFirstWithWhatTheyAreExpectedToSave) {
  LoadAll();
  double saving = 0;
  for (int i = 0; i < 7; ++i) {
    engine_.clock().Set(engine_.clock().Now() + 60'000);
    const v1::AssignOrderResult one = AssignOne(absl::StrCat("n", i), i == 3 ? "dear" : "");
    saving += one.assignment().expected_saving();
  }
  v1::ListAssignmentsRequest request;
  request.set_page_size(3);
  std::vector<std::string> ids;
  v1::ListAssignmentsResponse page;
  do {
    page.Clear();
    ASSERT_TRUE(ListAssignments(engine_->Look(), request, &page).ok());
    EXPECT_EQ(page.total_count(), 7);
    EXPECT_EQ(page.chosen_count(), 1);
    ASSERT_THAT(page.savings(), SizeIs(1));
    EXPECT_EQ(page.savings(0).assignment_count(), 6);
    EXPECT_NEAR(page.savings(0).expected_saving(), saving, 1e-9);
    for (const auto& one : page.assignments()) ids.push_back(one.order_id());
    request.set_page_token(page.next_page_token());
  } while (!page.next_page_token().empty());
  EXPECT_THAT(ids, ElementsAre("n6", "n5", "n4", "n3", "n2", "n1", "n0"));

  request.clear_page_token();
  request.set_supplier("dear");
  v1::ListAssignmentsResponse own;
  ASSERT_TRUE(ListAssignments(engine_->Look(), request, &own).ok());
  EXPECT_THAT(own.assignments(), SizeIs(1));
  request.set_page_token("other");
  EXPECT_FALSE(ListAssignments(engine_->Look(), request, &own).ok());
}

TEST_F(Sourcing, BadQuestionsAreRefusedByField) {
  LoadAll();
  v1::AssignOrdersRequest request;
  EXPECT_THAT(std::string(AssignOrders(engine_->Look(), request, nullptr).status().message()),
              HasSubstr("orders: expected at least one"));
  struct Row {
    const char* field;
    void (*spoil)(v1::OrderToAssign&);
  };
  const Row rows[] = {
      {"order_id", [](v1::OrderToAssign& o) { o.clear_order_id(); }},
      {"destination", [](v1::OrderToAssign& o) { o.set_destination("!"); }},
      {"origin", [](v1::OrderToAssign& o) { o.set_origin("?"); }},
      {"unit_count", [](v1::OrderToAssign& o) { o.set_unit_count(-1); }},
      {"sale.currency_code", [](v1::OrderToAssign& o) { o.mutable_sale()->set_minor_units(5); }},
      {"sale",
       [](v1::OrderToAssign& o) {
         o.mutable_sale()->set_minor_units(5);
         o.mutable_sale()->set_currency_code("JPY");
       }},
  };
  for (const Row& row : rows) {
    v1::AssignOrdersRequest bad;
    v1::OrderToAssign* order = bad.add_orders();
    order->set_order_id("n1");
    order->set_destination("DE");
    row.spoil(*order);
    bad.add_orders()->set_order_id("n2");
    bad.mutable_orders(1)->set_destination("DE");
    const v1::AssignOrdersResponse answer = Assign(bad);
    EXPECT_EQ(answer.results(0).code(), v1::AssignOrderResult::CODE_BAD_VALUE) << row.field;
    EXPECT_EQ(answer.results(0).field(), row.field);
    EXPECT_TRUE(answer.results(1).has_assignment()) << "the other one is decided";
  }
}

TEST_F(Sourcing, RiskSaysWhatIsPaidForAndHowMuchDependsOnWhom) {
  for (int i = 0; i < 3; ++i) {
    OrderBuilder order({"default", absl::StrCat("open", i)});
    order.Paid("2026-05-30T12:00").With([](Event& event) {
      event.supplier = "swift";
      event.origin = "PL";
      event.cost = Money{1234, "EUR"};
    });
    engine_.Submit(order);
  }
  v1::Risk risk;
  ASSERT_TRUE(GetRisk(engine_->Look(), {}, &risk).ok());
  ASSERT_THAT(risk.suppliers(), SizeIs(3));
  const v1::SupplierRisk& swift = risk.suppliers(2);
  EXPECT_EQ(swift.supplier_id(), "swift");
  EXPECT_EQ(swift.underway_count(), 3);
  ASSERT_THAT(swift.exposures(), SizeIs(1));
  EXPECT_EQ(swift.exposures(0).minor_units(), 3 * 1234);
  EXPECT_NEAR(swift.silent_days(), 2, 0.01);
  EXPECT_FALSE(risk.suppliers(0).has_silent_days()) << "nothing waits for it";
  // 90 days back from the 1st of June is the 4th of March: three orders of each are older.
  EXPECT_EQ(swift.order_count(), 60);
  EXPECT_EQ(risk.suppliers(0).order_count(), 57);
  const double a = 60.0 / 174, b = 57.0 / 174;
  EXPECT_NEAR(risk.order_concentration(), 1e4 * (a * a + 2 * b * b), 1e-6);
  EXPECT_EQ(risk.currency_code(), "EUR");

  v1::GetRiskRequest request;
  request.set_supplier("nobody");
  v1::Risk none;
  EXPECT_TRUE(absl::IsNotFound(GetRisk(engine_->Look(), request, &none)));
  request.set_days(-1);
  EXPECT_TRUE(absl::IsInvalidArgument(GetRisk(engine_->Look(), request, &risk)));
}

TEST_F(Sourcing, SuppliersCanBeAskedForByLaneTagAndOrders) {
  Terms terms;
  terms.supplier = "dear";
  terms.tags = {"fragile"};
  terms.targets.on_time = 0.5;
  Load(std::vector<Terms>{terms});
  const auto names = [&](const auto& change) {
    v1::ListScoresRequest request;
    request.set_collection(v1::ListScoresRequest::COLLECTION_SUPPLIERS);
    change(request);
    const View view = engine_->Look();
    v1::ListScoresResponse response;
    EXPECT_TRUE(ListScores(view, request, LatestAskable(*engine_, view), &response).ok());
    std::vector<std::string> found;
    for (const v1::Score& score : response.scores()) found.push_back(score.name());
    return found;
  };
  EXPECT_THAT(names([](auto& r) { r.set_tag("fragile"); }), ElementsAre("suppliers/dear"));
  EXPECT_THAT(names([](auto& r) {
                r.mutable_lane()->set_origin("vn");
                r.mutable_lane()->set_destination("DE");
              }),
              ElementsAre("suppliers/cheap/lanes/VN-DE"));
  EXPECT_THAT(names([](auto& r) { r.set_min_order_count(60); }), SizeIs(3));
  EXPECT_THAT(names([](auto& r) { r.set_min_order_count(61); }), IsEmpty());
  const View view = engine_->Look();
  const auto score = view.Score({"dear", {}}, {});
  ASSERT_TRUE(score.ok());
  ASSERT_THAT(score->answer.targets, SizeIs(1));
  EXPECT_EQ(score->answer.targets[0].standing, Standing::kMet);
}

}  // namespace
}  // namespace plumblane
