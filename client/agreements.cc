#include "client/agreements.h"

#include <absl/strings/str_cat.h>

#include "client/agreement_rows.h"
#include "client/costs.h"
#include "client/paging.h"
#include "client/show.h"
#include "client/show_agreements.h"
#include "client/table_file.h"
#include "client/text.h"

namespace plumblane::client {
namespace {

constexpr int kLoadPatienceSeconds = 120;

// A load whose rows become `Message`s of a `Request`.
template <typename Request, typename Message>
struct Rows {
  std::string_view noun;
  TableColumns columns;
  std::optional<Complaint> (*read)(const Row&, Message&);
  Message* (Request::*add)();
  grpc::Status (v1::Agreements::Stub::*call)(grpc::ClientContext*, const Request&,
                                             v1::LoadResponse*);
};

template <typename Request, typename Message>
ExitCode Load(const Rows<Request, Message>& rows, const Invocation& invocation,
              const Connection& connection, const Io& io) {
  Request request;
  const TableLoad load{rows.noun, rows.columns,
                       [&](const Row& row) {
                         Message message;
                         std::optional<Complaint> bad = rows.read(row, message);
                         if (!bad) *(request.*rows.add)() = std::move(message);
                         return bad;
                       },
                       [&](bool validate_only, v1::LoadResponse* answer) {
                         request.set_validate_only(validate_only);
                         CallContext context(kLoadPatienceSeconds);
                         return (connection.agreements()->*rows.call)(&context, request, answer);
                       }};
  return LoadTable(invocation.agreement.file, load, invocation.json, connection, io);
}

ExitCode LoadQuotes(const Invocation& invocation, const Connection& connection, const Io& io) {
  const Rows<v1::LoadQuotesRequest, v1::Quote> rows{"quote", QuoteColumns(), ReadQuote,
                                                    &v1::LoadQuotesRequest::add_quotes,
                                                    &v1::Agreements::Stub::LoadQuotes};
  return Load(rows, invocation, connection, io);
}

ExitCode LoadTerms(const Invocation& invocation, const Connection& connection, const Io& io) {
  const Rows<v1::LoadTermsRequest, v1::Terms> rows{"supplier", TermsColumns(), ReadTerms,
                                                   &v1::LoadTermsRequest::add_terms,
                                                   &v1::Agreements::Stub::LoadTerms};
  return Load(rows, invocation, connection, io);
}

ExitCode LoadRates(const Invocation& invocation, const Connection& connection, const Io& io) {
  const Rows<v1::LoadExchangeRatesRequest, v1::ExchangeRate> rows{
      "rate", RateColumns(), ReadRate, &v1::LoadExchangeRatesRequest::add_rates,
      &v1::Agreements::Stub::LoadExchangeRates};
  return Load(rows, invocation, connection, io);
}

ExitCode LoadItems(const Invocation& invocation, const Connection& connection, const Io& io) {
  const Rows<v1::LoadItemsRequest, v1::Item> rows{"item", ItemColumns(), ReadItem,
                                                  &v1::LoadItemsRequest::add_items,
                                                  &v1::Agreements::Stub::LoadItems};
  return Load(rows, invocation, connection, io);
}

ExitCode ListQuotes(const Invocation& invocation, const Connection& connection, const Io& io) {
  const AgreementOptions& options = invocation.agreement;
  v1::ListQuotesRequest request;
  request.set_supplier(options.supplier);
  request.set_item(options.item);
  request.set_destination(options.destination);
  request.set_with_past(options.past);
  v1::ListQuotesResponse all;
  const grpc::Status status =
      ListAll(connection.agreements(), &v1::Agreements::Stub::ListQuotes,
              &v1::ListQuotesResponse::mutable_quotes, std::move(request), all);
  const std::string none = NoneFor("quotes", {options.supplier, options.item, options.destination});
  return Print(
      status, all,
      [&](const v1::ListQuotesResponse& list, int width) {
        return list.quotes().empty() && !none.empty() ? none : ShowQuotes(list, width);
      },
      invocation.json, connection, io);
}

ExitCode ListTerms(const Invocation& invocation, const Connection& connection, const Io& io) {
  v1::ListTermsRequest request;
  request.set_supplier(invocation.agreement.supplier);
  CallContext context;
  v1::ListTermsResponse answer;
  const grpc::Status status = connection.agreements()->ListTerms(&context, request, &answer);
  const std::string none = NoneFor("terms", {invocation.agreement.supplier});
  return Print(
      status, answer,
      [&](const v1::ListTermsResponse& list, int width) {
        return list.terms().empty() && !none.empty() ? none : ShowTerms(list, width);
      },
      invocation.json, connection, io);
}

ExitCode Pause(const Invocation& invocation, const Connection& connection, const Io& io) {
  v1::PauseSupplierRequest request;
  request.set_supplier(invocation.agreement.supplier);
  request.mutable_pause()->set_until_date(invocation.agreement.until);
  request.mutable_pause()->set_reason(invocation.agreement.reason);
  CallContext context;
  v1::TermsStatus answer;
  const grpc::Status status = connection.agreements()->PauseSupplier(&context, request, &answer);
  return Print(
      status, answer,
      [](const v1::TermsStatus& terms, int width) {
        return Wrapped(absl::StrCat(terms.supplier(), " is paused ", PauseText(terms.pause()),
                                    ". It gets no orders from rank and assign."),
                       width);
      },
      invocation.json, connection, io);
}

ExitCode Resume(const Invocation& invocation, const Connection& connection, const Io& io) {
  v1::ResumeSupplierRequest request;
  request.set_supplier(invocation.agreement.supplier);
  CallContext context;
  v1::TermsStatus answer;
  const grpc::Status status = connection.agreements()->ResumeSupplier(&context, request, &answer);
  return Print(
      status, answer,
      [](const v1::TermsStatus& terms, int) { return terms.supplier() + " gets orders again\n"; },
      invocation.json, connection, io);
}

ExitCode ListRates(const Invocation& invocation, const Connection& connection, const Io& io) {
  v1::ListExchangeRatesRequest request;
  request.set_with_past(invocation.agreement.past);
  CallContext context;
  v1::ListExchangeRatesResponse answer;
  const grpc::Status status =
      connection.agreements()->ListExchangeRates(&context, request, &answer);
  return Print(status, answer, ShowRates, invocation.json, connection, io);
}

ExitCode ListItems(const Invocation& invocation, const Connection& connection, const Io& io) {
  v1::ListItemsRequest request;
  request.set_item(invocation.agreement.item);
  CallContext context;
  v1::ListItemsResponse answer;
  const grpc::Status status = connection.agreements()->ListItems(&context, request, &answer);
  const std::string none = NoneFor("items", {invocation.agreement.item});
  return Print(
      status, answer,
      [&](const v1::ListItemsResponse& list, int width) {
        return list.items().empty() && !none.empty() ? none : ShowItems(list, width);
      },
      invocation.json, connection, io);
}

}  // namespace

ExitCode RunAgreements(const Invocation& invocation, const Connection& connection, const Io& io) {
  switch (invocation.verb) {
    case Verb::kQuotesLoad:
      return LoadQuotes(invocation, connection, io);
    case Verb::kTermsLoad:
      return LoadTerms(invocation, connection, io);
    case Verb::kRatesLoad:
      return LoadRates(invocation, connection, io);
    case Verb::kItemsLoad:
      return LoadItems(invocation, connection, io);
    case Verb::kQuotesList:
      return ListQuotes(invocation, connection, io);
    case Verb::kTermsList:
      return ListTerms(invocation, connection, io);
    case Verb::kRatesList:
      return ListRates(invocation, connection, io);
    case Verb::kItemsList:
      return ListItems(invocation, connection, io);
    case Verb::kPause:
      return Pause(invocation, connection, io);
    case Verb::kResume:
      return Resume(invocation, connection, io);
    default:
      return RunCosts(invocation, connection, io);
  }
}

}  // namespace plumblane::client
