// What was agreed, over a real server on a socket: loads are taken whole or not at all, one after
// the other; lists say what holds today; and orders paid afterwards are filled from it.
#include <absl/strings/str_cat.h>
#include <gmock/gmock.h>
#include <grpcpp/grpcpp.h>
#include <gtest/gtest.h>
#include <stdlib.h>

#include <atomic>
#include <filesystem>
#include <thread>
#include <vector>

#include "service/agreement_service.h"
#include "service/intake_service.h"
#include "service/service_support.h"

namespace plumblane {
namespace {

using test::At;
using test::OrderBuilder;
using test::RunningEngine;
using test::SentPaid;
using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;
using ::testing::SizeIs;

v1::Quote QuoteOf(const std::string& item, int64_t cents, const std::string& from = "",
                  const std::string& currency = "EUR") {
  v1::Quote quote;
  quote.set_supplier("lotus");
  quote.set_item(item);
  quote.set_origin("VN");
  quote.set_destination("DE");
  quote.mutable_price()->set_minor_units(cents);
  quote.mutable_price()->set_currency_code(currency);
  quote.set_promised_days("8");
  quote.set_valid_from(from);
  return quote;
}

v1::LoadQuotesRequest QuotesOf(const std::vector<v1::Quote>& quotes) {
  v1::LoadQuotesRequest request;
  for (const v1::Quote& quote : quotes) *request.add_quotes() = quote;
  return request;
}

// Today is 2026-06-01.
class AgreementsTest : public ::testing::Test {
 protected:
  AgreementsTest() {
    std::string name = (std::filesystem::temp_directory_path() / "plumblane.XXXXXX").string();
    EXPECT_NE(mkdtemp(name.data()), nullptr);
    directory_ = name;
    grpc::ServerBuilder builder;
    builder.SetMaxReceiveMessageSize(8 << 20);
    builder.AddListeningPort("unix:" + directory_ + "/socket", grpc::InsecureServerCredentials());
    builder.RegisterService(&service_);
    builder.RegisterService(&intake_);
    server_ = builder.BuildAndStart();
    EXPECT_NE(server_, nullptr);
    channel_ =
        grpc::CreateChannel("unix:" + directory_ + "/socket", grpc::InsecureChannelCredentials());
    stub_ = v1::Agreements::NewStub(channel_);
  }
  ~AgreementsTest() override {
    intake_.Drain();
    server_->Shutdown(std::chrono::system_clock::now() + std::chrono::seconds(5));
    std::filesystem::remove_all(directory_);
  }

  template <typename Request, typename Response>
  using Method = grpc::Status (v1::Agreements::Stub::*)(grpc::ClientContext*, const Request&,
                                                        Response*);
  template <typename Request, typename Response>
  grpc::Status Call(Method<Request, Response> method, const Request& request, Response& response) {
    grpc::ClientContext context;
    return (stub_.get()->*method)(&context, request, &response);
  }
  // Calls that must succeed.
  template <typename Request, typename Response>
  Response Ask(Method<Request, Response> method, const Request& request) {
    Response response;
    const grpc::Status status = Call(method, request, response);
    EXPECT_TRUE(status.ok()) << status.error_message();
    return response;
  }
  v1::LoadResponse Load(const std::vector<v1::Quote>& quotes) {
    return Ask(&v1::Agreements::Stub::LoadQuotes, QuotesOf(quotes));
  }
  v1::BatchReceipt Send(const v1::Event& event) {
    grpc::ClientContext context;
    auto stream = v1::Intake::NewStub(channel_)->IngestEvents(&context);
    v1::EventBatch batch;
    *batch.add_events() = event;
    v1::BatchReceipt receipt;
    EXPECT_TRUE(stream->Write(batch) && stream->Read(&receipt));
    stream->WritesDone();
    EXPECT_TRUE(stream->Finish().ok());
    return receipt;
  }
  uint64_t Sequence() { return engine_->Look().catalog().log_sequence; }
  // "price state" of each quote.
  std::vector<std::string> Listed(v1::ListQuotesRequest request = {}) {
    std::vector<std::string> listed;
    const auto response = Ask(&v1::Agreements::Stub::ListQuotes, request);
    for (const v1::QuoteStatus& quote : response.quotes()) {
      const std::string state = v1::QuoteStatus::State_Name(quote.state()).substr(6);
      listed.push_back(absl::StrCat(quote.quote().price().minor_units(), " ", state));
    }
    return listed;
  }

  std::string directory_;
  RunningEngine engine_;
  AgreementsService service_{*engine_};
  IntakeService intake_{*engine_, test::SystemZones()};
  std::unique_ptr<grpc::Server> server_;
  std::shared_ptr<grpc::Channel> channel_;
  std::unique_ptr<v1::Agreements::Stub> stub_;
};

TEST_F(AgreementsTest, ALoadIsTakenOnceAndItsRepeatChangesNothing) {
  const v1::LoadResponse first = Load({QuoteOf("lamp", 900), QuoteOf("bowl", 500, "2026-05-01")});
  EXPECT_THAT(first.errors(), IsEmpty());
  EXPECT_EQ(first.loaded_count(), 2);
  EXPECT_EQ(first.unchanged_count(), 0);
  EXPECT_EQ(first.log_sequence(), 1);
  EXPECT_THAT(first.notes(), ElementsAre("no order names supplier lotus yet"));
  // Also on another day, when "from today" is another day than it was.
  engine_.clock().Set(At("2026-06-03"));
  const v1::LoadResponse again = Load({QuoteOf("lamp", 900), QuoteOf("bowl", 500, "2026-05-01")});
  EXPECT_EQ(again.loaded_count(), 0);
  EXPECT_EQ(again.unchanged_count(), 2);
  EXPECT_EQ(again.log_sequence(), 1);
  EXPECT_EQ(Sequence(), 1u);
  const v1::LoadResponse changed = Load({QuoteOf("lamp", 950), QuoteOf("bowl", 500, "2026-05-01")});
  EXPECT_EQ(changed.loaded_count(), 1);
  EXPECT_EQ(changed.unchanged_count(), 1);
  EXPECT_THAT(Listed(), ElementsAre("500 VALID", "950 VALID"));
}

TEST_F(AgreementsTest, OneWrongRowLoadsNothingAndEveryWrongRowIsNamed) {
  v1::Quote wrong = QuoteOf("vase", -1);
  wrong.set_promised_days("soon");
  const v1::LoadResponse response = Load({QuoteOf("lamp", 900), wrong, QuoteOf("lamp", 800)});
  std::vector<std::string> places;
  for (const v1::RowError& error : response.errors()) {
    places.push_back(absl::StrCat(error.index(), " ", error.field()));
  }
  EXPECT_THAT(places, ElementsAre("1 price.minor_units", "1 promised_days", "2 valid_from"));
  EXPECT_EQ(response.loaded_count(), 0);
  EXPECT_EQ(Sequence(), 0u);
  EXPECT_THAT(Listed(), IsEmpty());
}

TEST_F(AgreementsTest, ACheckLogsNothing) {
  v1::LoadQuotesRequest request = QuotesOf({QuoteOf("lamp", 900)});
  request.set_validate_only(true);
  EXPECT_EQ(Ask(&v1::Agreements::Stub::LoadQuotes, request).loaded_count(), 1);
  EXPECT_EQ(Sequence(), 0u);
  EXPECT_THAT(Listed(), IsEmpty());
}

TEST_F(AgreementsTest, RowsOfAKeyAreLoadedTogetherSoThatNoneEndsItsNeighbour) {
  v1::Quote spring = QuoteOf("lamp", 900, "2026-03-01"),
            summer = QuoteOf("lamp", 800, "2026-06-01");
  spring.set_valid_until("2026-05-31");
  Load({spring, summer});
  spring.mutable_price()->set_minor_units(910);
  const v1::LoadResponse response = Load({spring, summer, QuoteOf("bowl", 1)});
  EXPECT_EQ(response.loaded_count(), 3);
  v1::ListQuotesRequest all;
  all.set_item("lamp");
  EXPECT_THAT(Listed(all), ElementsAre("800 VALID"));
  all.set_with_past(true);
  EXPECT_THAT(Listed(all), ElementsAre("900 REPLACED", "800 REPLACED", "910 EXPIRED", "800 VALID"));
}

TEST_F(AgreementsTest, AListSaysHowQuotesStandToday) {
  v1::Quote ended = QuoteOf("lamp", 1, "2026-01-01"), ending = QuoteOf("bowl", 2, "2026-01-01");
  ended.set_valid_until("2026-05-31");
  ending.set_valid_until("2026-06-01");
  Load({ended, ending, QuoteOf("vase", 3, "2026-06-02"), QuoteOf("", 4)});
  EXPECT_THAT(Listed(), ElementsAre("4 VALID", "2 VALID", "3 NOT_YET"));
  v1::ListQuotesRequest request;
  request.set_item("*");
  EXPECT_THAT(Listed(request), ElementsAre("4 VALID"));
  request.set_item("bowl");
  request.set_destination("de");
  engine_.clock().Set(At("2026-06-01T23:00"));
  const auto listed = Ask(&v1::Agreements::Stub::ListQuotes, request);
  ASSERT_THAT(listed.quotes(), SizeIs(1));
  EXPECT_EQ(listed.quotes(0).days_left(), 1);
  EXPECT_EQ(listed.quotes(0).age_days(), 0);
  EXPECT_EQ(listed.quotes(0).quote().promised_days(), "8");
  request.set_destination("SE");
  EXPECT_THAT(Listed(request), IsEmpty());
}

TEST_F(AgreementsTest, PagesOfQuotesHoldEachOnce) {
  std::vector<v1::Quote> quotes;
  for (int i = 0; i < 25; ++i) quotes.push_back(QuoteOf(absl::StrCat("item", i % 5), i));
  for (int i = 0; i < 25; ++i) quotes[i].set_valid_from(absl::StrCat("2027-01-", 10 + i / 5));
  for (int i = 0; i < 25; ++i) quotes[i].set_valid_until(quotes[i].valid_from());
  Load(quotes);
  const std::vector<std::string> whole = Listed();
  EXPECT_THAT(whole, SizeIs(25));
  std::vector<std::string> paged;
  v1::ListQuotesRequest request;
  request.set_page_size(7);
  do {
    const auto page = Ask(&v1::Agreements::Stub::ListQuotes, request);
    EXPECT_LE(page.quotes_size(), 7);
    for (const auto& quote : page.quotes()) {
      paged.push_back(absl::StrCat(quote.quote().price().minor_units(), " NOT_YET"));
    }
    request.set_page_token(page.next_page_token());
  } while (!request.page_token().empty());
  EXPECT_EQ(paged, whole);
  request.set_page_token("nonsense");
  v1::ListQuotesResponse response;
  EXPECT_EQ(Call(&v1::Agreements::Stub::ListQuotes, request, response).error_code(),
            grpc::INVALID_ARGUMENT);
}

TEST_F(AgreementsTest, TwentyThousandRowsAreTakenAndOneMoreIsRefused) {
  v1::LoadQuotesRequest request;
  for (int i = 0; i < kMaxLoadRows; ++i) {
    v1::Quote quote = QuoteOf(absl::StrCat("hanging-lamp-of-blue-glass-", i), i, "2026-06-01");
    *quote.mutable_freight() = *quote.mutable_duty() = quote.price();
    *request.add_quotes() = quote;
  }
  RecordProperty("bytes", static_cast<int>(request.ByteSizeLong()));
  EXPECT_EQ(Ask(&v1::Agreements::Stub::LoadQuotes, request).loaded_count(), kMaxLoadRows);
  EXPECT_EQ(Ask(&v1::Agreements::Stub::LoadQuotes, request).unchanged_count(), kMaxLoadRows);
  *request.add_quotes() = QuoteOf("one more", 1);
  v1::LoadResponse response;
  const grpc::Status status = Call(&v1::Agreements::Stub::LoadQuotes, request, response);
  EXPECT_EQ(status.error_code(), grpc::RESOURCE_EXHAUSTED);
  EXPECT_THAT(status.error_message(), HasSubstr("20001 rows; expected at most 20000"));
}

TEST_F(AgreementsTest, OfLoadsAtOnceThatContradictEachOtherOneIsTaken) {
  for (int round = 0; round < 20; ++round) {
    std::atomic<int> taken = 0, refused = 0;
    std::vector<std::thread> loaders;
    for (int i = 0; i < 4; ++i) {
      loaders.emplace_back([&, i] {
        v1::LoadItemsRequest request;
        v1::Item* item = request.add_items();
        item->set_item(absl::StrCat("item ", round, ".", i));
        item->set_supplier("lotus");
        item->set_supplier_item(absl::StrCat("LT-", round));
        const auto response = Ask(&v1::Agreements::Stub::LoadItems, request);
        ++(response.errors().empty() ? taken : refused);
      });
    }
    for (std::thread& loader : loaders) loader.join();
    EXPECT_EQ(taken, 1);
    EXPECT_EQ(refused, 3);
  }
}

TEST_F(AgreementsTest, TermsAreReplacedWholeAndAPauseStays) {
  v1::LoadTermsRequest request;
  v1::Terms& terms = *request.add_terms();
  terms.set_supplier("lotus");
  terms.set_monthly_order_limit(300);
  terms.set_month_start_day(15);
  EXPECT_EQ(Ask(&v1::Agreements::Stub::LoadTerms, request).loaded_count(), 1);
  v1::PauseSupplierRequest pause;
  pause.set_supplier("lotus");
  pause.mutable_pause()->set_reason("quality");
  EXPECT_EQ(Ask(&v1::Agreements::Stub::PauseSupplier, pause).pause().reason(), "quality");
  const uint64_t sequence = Sequence();
  Ask(&v1::Agreements::Stub::PauseSupplier, pause);
  EXPECT_EQ(Ask(&v1::Agreements::Stub::LoadTerms, request).unchanged_count(), 1);
  EXPECT_EQ(Sequence(), sequence) << "what holds already is not logged again";
  terms.clear_monthly_order_limit();
  Ask(&v1::Agreements::Stub::LoadTerms, request);
  auto listed = Ask(&v1::Agreements::Stub::ListTerms, v1::ListTermsRequest());
  ASSERT_THAT(listed.terms(), SizeIs(1));
  EXPECT_FALSE(listed.terms(0).terms().has_monthly_order_limit());
  EXPECT_TRUE(listed.terms(0).has_pause());
  EXPECT_EQ(listed.terms(0).next_month_date(), "2026-06-15");

  v1::ResumeSupplierRequest resume;
  resume.set_supplier("lotus");
  EXPECT_FALSE(Ask(&v1::Agreements::Stub::ResumeSupplier, resume).has_pause());
  v1::TermsStatus response;
  EXPECT_EQ(Call(&v1::Agreements::Stub::ResumeSupplier, resume, response).error_code(),
            grpc::NOT_FOUND);
}

TEST_F(AgreementsTest, AMonthCountsWhatWasPaidInItAndWhatIsAssignedAndUnpaid) {
  const auto pay = [&](const std::string& id, const std::string& time,
                       const std::string& supplier = "lotus") {
    engine_.Submit(OrderBuilder({"default", id}).Paid(time).With([&](Event& e) {
      e.supplier = supplier;
      e.destination = id == "3" ? "SE" : "DE";
    }));
  };
  const auto month = [&] {
    v1::ListTermsRequest request;
    request.set_supplier("lotus");
    const auto listed = Ask(&v1::Agreements::Stub::ListTerms, request);
    if (listed.terms().empty()) return std::string("none");
    return absl::StrCat(listed.terms(0).month_paid_count(), "+",
                        listed.terms(0).month_assigned_count());
  };
  EXPECT_EQ(month(), "none");
  pay("1", "2026-05-31T23:59");
  pay("2", "2026-06-01T00:00");
  pay("3", "2026-06-01T11:00");
  pay("4", "2026-06-01", "copper");
  // Its dates contradict each other; it was paid all the same.
  engine_.Submit(OrderBuilder({"default", "5"})
                     .Paid("2026-06-01")
                     .With([](Event& e) { e.supplier = "lotus"; })
                     .Delivered("2026-05-30"));
  EXPECT_EQ(month(), "3+0");
  Submission given;
  for (const auto& [id, time, supplier] :
       {std::tuple{"6", "2026-06-01", "lotus"}, std::tuple{"7", "2026-06-01T10:00", "lotus"},
        std::tuple{"8", "2026-05-31T23:59", "lotus"}, std::tuple{"9", "2026-06-01", "copper"}}) {
    Assignment one;
    one.order = {"default", id};
    one.time = At(time);
    one.pick = {supplier, {"VN", "DE", ""}};
    given.assignments.push_back(one);
  }
  engine_.Submit(std::move(given));
  EXPECT_EQ(month(), "3+2");
  pay("6", "2026-06-01T11:30");
  EXPECT_EQ(month(), "4+1");
  // From the middle of last month on.
  v1::LoadTermsRequest terms;
  terms.add_terms()->set_supplier("lotus");
  terms.mutable_terms(0)->set_month_start_day(15);
  Ask(&v1::Agreements::Stub::LoadTerms, terms);
  EXPECT_EQ(month(), "5+2");
}

TEST_F(AgreementsTest, RatesItemsAndCostsAreListedAsTheyHold) {
  v1::LoadExchangeRatesRequest rates;
  for (const auto& [date, rate] :
       {std::pair{"2026-05-01", "0.9300"}, {"2026-06-01", "0.92"}, {"2026-07-01", "0.91"}}) {
    v1::ExchangeRate* one = rates.add_rates();
    one->set_date(date);
    one->set_from_currency("USD");
    one->set_to_currency("EUR");
    one->set_rate(rate);
  }
  EXPECT_EQ(Ask(&v1::Agreements::Stub::LoadExchangeRates, rates).loaded_count(), 3);
  EXPECT_EQ(Ask(&v1::Agreements::Stub::LoadExchangeRates, rates).unchanged_count(), 3);
  v1::ListExchangeRatesRequest list;
  auto listed = Ask(&v1::Agreements::Stub::ListExchangeRates, list);
  ASSERT_THAT(listed.rates(), SizeIs(2));
  EXPECT_EQ(listed.rates(0).rate(), "0.92");
  list.set_with_past(true);
  listed = Ask(&v1::Agreements::Stub::ListExchangeRates, list);
  ASSERT_THAT(listed.rates(), SizeIs(3));
  EXPECT_EQ(listed.rates(0).rate(), "0.93");

  v1::CostSettings nothing;
  EXPECT_EQ(Call(&v1::Agreements::Stub::GetCosts, v1::GetCostsRequest(), nothing).error_code(),
            grpc::NOT_FOUND);
  Load({QuoteOf("lamp", 1, "", "TRY")});
  v1::LoadCostsRequest costs;
  costs.mutable_settings()->set_currency_code("EUR");
  v1::CostClass* all = costs.mutable_settings()->add_classes();
  all->mutable_day_late()->set_minor_units(30);
  all->mutable_day_late()->set_currency_code("EUR");
  v1::DefectCost* lost = all->add_defects();
  lost->set_kind("lost");
  lost->set_refund_share(1);
  lost->set_reship(true);
  const auto loaded = Ask(&v1::Agreements::Stub::LoadCosts, costs);
  EXPECT_EQ(loaded.loaded_count(), 1);
  EXPECT_THAT(loaded.notes(), ElementsAre(HasSubstr("no exchange rate from TRY to EUR")));
  EXPECT_EQ(Ask(&v1::Agreements::Stub::LoadCosts, costs).unchanged_count(), 1);
  const auto settings = Ask(&v1::Agreements::Stub::GetCosts, v1::GetCostsRequest());
  EXPECT_EQ(settings.classes(0).day_late().minor_units(), 30);
  ASSERT_THAT(settings.classes(0).defects(), SizeIs(1));
  EXPECT_EQ(settings.classes(0).defects(0).DebugString(), lost->DebugString());
  EXPECT_EQ(settings.trials().most_share(), 0.2);
  EXPECT_EQ(settings.load_time().seconds(), At("2026-06-01T12:00").millis / 1000);
}

TEST_F(AgreementsTest, ALaterQuoteChangesNothingOfStoredOrdersAndARepeatIsStillOne) {
  Load({QuoteOf("", 900, "2026-01-01")});
  v1::Event paid = SentPaid("e1", "1");
  paid.mutable_cost()->set_minor_units(1000);
  paid.mutable_cost()->set_currency_code("EUR");
  EXPECT_EQ(Send(paid).accepted_count(), 1);
  const auto part = [&](const std::string& id) {
    return engine_->Look().Order({"default", id})->state.parts.at(0);
  };
  const PartState before = part("1");
  EXPECT_EQ(before.quoted, (Money{900, "EUR"}));
  EXPECT_EQ(before.promise, (Promise{At("2026-03-13T23:00") + -1, true, true}));

  Load({QuoteOf("", 800, "2026-01-01")});
  EXPECT_EQ(part("1"), before);
  const v1::BatchReceipt repeat = Send(paid);
  EXPECT_EQ(repeat.duplicate_count(), 1);
  EXPECT_EQ(part("1"), before);
  EXPECT_EQ(Send(SentPaid("e2", "2")).accepted_count(), 1);
  EXPECT_EQ(part("2").quoted, (Money{800, "EUR"}));
  paid.set_supplier("copper");
  EXPECT_EQ(Send(paid).conflict_count(), 1);
}

TEST_F(AgreementsTest, OrdersMayNameItemsByTheirSuppliersCode) {
  const auto load = [&](const std::vector<std::vector<std::string>>& rows) {
    v1::LoadItemsRequest request;
    for (const auto& row : rows) {
      v1::Item* item = request.add_items();
      item->set_item(row[0]);
      item->set_item_class(row[1]);
      item->set_supplier(row[2]);
      item->set_supplier_item(row[3]);
    }
    return Ask(&v1::Agreements::Stub::LoadItems, request);
  };
  const auto sent = [](const std::string& id, const std::string& item) {
    v1::Event paid = SentPaid(id, id);
    paid.set_item(item);
    return paid;
  };
  const auto item_of = [&](const std::string& id) {
    const PartState part = engine_->Look().Order({"default", id})->state.parts.at(0);
    return absl::StrCat(part.item, " ", part.supplier_item);
  };
  Send(sent("1", "LT-1"));
  Load({QuoteOf("LT-1", 100, "2026-03-01")});
  v1::LoadResponse loaded = load({{"lamp", "", "lotus", "LT-1"}, {"bowl", "", "lotus", "LT-2"}});
  EXPECT_THAT(loaded.notes(), ElementsAre("lotus calls lamp LT-1, which is quoted for by lotus as "
                                          "an item: orders of lotus that say so mean lamp"));
  EXPECT_THAT(load({{"lamp", "", "lotus", "LT-1"}}).notes(), IsEmpty()) << "said once";
  loaded = Load({QuoteOf("LT-1", 900, "2026-03-01")});
  EXPECT_THAT(loaded.notes(),
              ElementsAre("item LT-1 is what lotus calls lamp: taken as a quote for that"));
  v1::BatchReceipt receipt = Send(sent("2", "LT-1"));
  EXPECT_EQ(receipt.accepted_count(), 1);
  EXPECT_THAT(receipt.results(), IsEmpty());
  EXPECT_EQ(item_of("2"), "lamp LT-1");
  EXPECT_EQ(engine_->Look().Order({"default", "2"})->state.parts.at(0).quoted, (Money{900, "EUR"}));
  // Sent before the code was known: it stays what it is, and its repeat a repeat.
  EXPECT_EQ(Send(sent("1", "LT-1")).duplicate_count(), 1);
  EXPECT_EQ(item_of("1"), "LT-1 ");

  loaded = load({{"LT-2", "gifts", "", ""}});
  EXPECT_THAT(loaded.notes(), ElementsAre("lotus calls bowl LT-2, which is an item of ours too: "
                                          "orders that say so mean ours"));
  receipt = Send(sent("3", "LT-2"));
  EXPECT_EQ(receipt.accepted_count(), 1);
  ASSERT_EQ(receipt.results_size(), 1);
  EXPECT_EQ(receipt.results(0).outcome(), v1::EventResult::OUTCOME_REMARK);
  EXPECT_EQ(receipt.results(0).message(),
            "counts as our item LT-2, not as bowl, which lotus calls so");
  EXPECT_EQ(item_of("3"), "LT-2 ");
  receipt = Send(sent("3", "LT-2"));
  EXPECT_EQ(receipt.duplicate_count(), 1);
  EXPECT_THAT(receipt.results(), IsEmpty());
  EXPECT_THAT(Load({QuoteOf("LT-2", 700)}).notes(),
              ElementsAre("item LT-2 is ours and what lotus calls bowl: taken as ours; give the "
                          "other as supplier_item"));
}

TEST_F(AgreementsTest, CostsAreProposedFromSales) {
  v1::Event paid = SentPaid("e1", "1");
  paid.mutable_sale()->set_minor_units(2500);
  paid.mutable_sale()->set_currency_code("EUR");
  Send(paid);
  v1::ProposeCostsRequest request;
  v1::ProposeCostsResponse response;
  ASSERT_TRUE(Call(&v1::Agreements::Stub::ProposeCosts, request, response).ok());
  ASSERT_EQ(response.settings().classes_size(), 1);
  EXPECT_EQ(response.settings().classes(0).sale().minor_units(), 2500);
  // What is proposed can be loaded as it is.
  v1::LoadCostsRequest load;
  *load.mutable_settings() = response.settings();
  v1::LoadResponse loaded;
  ASSERT_TRUE(Call(&v1::Agreements::Stub::LoadCosts, load, loaded).ok());
  EXPECT_EQ(loaded.errors_size(), 0);
  EXPECT_EQ(loaded.loaded_count(), 1);
  request.set_shop("another");
  response.Clear();
  ASSERT_TRUE(Call(&v1::Agreements::Stub::ProposeCosts, request, response).ok());
  EXPECT_EQ(response.settings().classes_size(), 0);
  request.set_shop("a/b");
  EXPECT_EQ(Call(&v1::Agreements::Stub::ProposeCosts, request, response).error_code(),
            grpc::INVALID_ARGUMENT);
}

}  // namespace
}  // namespace plumblane
