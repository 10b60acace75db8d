#include "service/agreement_service.h"

#include <absl/strings/str_cat.h>

#include <memory>
#include <set>

#include "base/ids.h"
#include "service/page_token.h"
#include "service/read_agreement.h"
#include "service/status.h"
#include "service/write_agreement.h"
#include "service/write_answer.h"
#include "storage/bytes.h"

namespace plumblane {
namespace {

using Reactor = grpc::ServerUnaryReactor;

absl::Status WriteStatusOf(const View& view, const std::string& supplier, v1::TermsStatus* out) {
  const Day today = DayOf(view.now());
  const auto use = view.MonthUse(supplier);
  if (!use.ok()) return use.status();
  WriteTermsStatus(view.catalog().agreements->terms, supplier, *use, today, out);
  return absl::OkStatus();
}

// Where a page of quotes ended: the last key and the position of its quote.
std::string MakePlace(const QuoteKey& key, size_t index) {
  ByteWriter writer;
  for (const std::string* text :
       {&key.supplier, &key.item, &key.lane.origin, &key.lane.destination, &key.lane.service}) {
    writer.Text(*text);
  }
  writer.Number(static_cast<uint64_t>(key.minimum_units));
  writer.Number(index);
  return writer.Take();
}

std::pair<QuoteKey, size_t> ReadPlace(const std::string& place) {
  ByteReader reader(place);
  QuoteKey key;
  for (std::string* text :
       {&key.supplier, &key.item, &key.lane.origin, &key.lane.destination, &key.lane.service}) {
    *text = reader.Text();
  }
  key.minimum_units = static_cast<int64_t>(reader.Number());
  return {key, reader.Number()};
}

}  // namespace

template <typename Request>
Reactor* AgreementsService::Load(Context* context, const Request* request,
                                 v1::LoadResponse* response) {
  Reactor* reactor = context->DefaultReactor();
  changes_.Do([this, request, response, reactor] {
    const View view = engine_.Look();
    auto plan = PlanLoad(view, *request);
    if (!plan.ok()) return reactor->Finish(ToGrpc(plan.status()));
    uint64_t sequence = view.catalog().log_sequence;
    if (!plan->changes.empty() && !request->validate_only()) {
      Submission submission;
      submission.agreements = std::move(plan->changes);
      const Receipt receipt = SubmitAndWait(engine_, std::move(submission));
      if (!receipt.status.ok()) return reactor->Finish(ToGrpc(receipt.status));
      sequence = receipt.log_sequence;
    }
    *response = std::move(plan->response);
    response->set_log_sequence(static_cast<int64_t>(sequence));
    reactor->Finish(grpc::Status::OK);
  });
  return reactor;
}

// Logs the pause that `ask` makes of a view, unless it holds already.
template <typename Ask>
Reactor* AgreementsService::ChangePause(Context* context, v1::TermsStatus* response,
                                        const Ask& ask) {
  Reactor* reactor = context->DefaultReactor();
  changes_.Do([this, response, reactor, ask] {
    const View view = engine_.Look();
    const auto pause = ask(view);
    if (!pause.ok()) return reactor->Finish(ToGrpc(pause.status()));
    const auto& known = view.catalog().agreements->terms.pauses();
    const auto held = known.find(pause->supplier);
    if (held == known.end() || held->second != *pause) {
      Submission submission;
      submission.agreements.emplace_back(*pause);
      const Receipt receipt = SubmitAndWait(engine_, std::move(submission));
      if (!receipt.status.ok()) return reactor->Finish(ToGrpc(receipt.status));
    }
    reactor->Finish(ToGrpc(WriteStatusOf(engine_.Look(), pause->supplier, response)));
  });
  return reactor;
}

Reactor* AgreementsService::LoadQuotes(Context* context, const v1::LoadQuotesRequest* request,
                                       v1::LoadResponse* response) {
  return Load(context, request, response);
}
Reactor* AgreementsService::LoadTerms(Context* context, const v1::LoadTermsRequest* request,
                                      v1::LoadResponse* response) {
  return Load(context, request, response);
}
Reactor* AgreementsService::LoadExchangeRates(Context* context,
                                              const v1::LoadExchangeRatesRequest* request,
                                              v1::LoadResponse* response) {
  return Load(context, request, response);
}
Reactor* AgreementsService::LoadItems(Context* context, const v1::LoadItemsRequest* request,
                                      v1::LoadResponse* response) {
  return Load(context, request, response);
}
Reactor* AgreementsService::LoadCosts(Context* context, const v1::LoadCostsRequest* request,
                                      v1::LoadResponse* response) {
  return Load(context, request, response);
}

Reactor* AgreementsService::PauseSupplier(Context* context, const v1::PauseSupplierRequest* request,
                                          v1::TermsStatus* response) {
  return ChangePause(context, response,
                     [request](const View& view) { return PauseToPut(view, *request); });
}
Reactor* AgreementsService::ResumeSupplier(Context* context,
                                           const v1::ResumeSupplierRequest* request,
                                           v1::TermsStatus* response) {
  return ChangePause(context, response,
                     [request](const View& view) { return PauseToEnd(view, *request); });
}

absl::StatusOr<Pause> PauseToPut(const View& view, const v1::PauseSupplierRequest& request) {
  return ReadPause(request, DayOf(view.now()));
}

absl::StatusOr<Pause> PauseToEnd(const View& view, const v1::ResumeSupplierRequest& request) {
  const TermsBook& terms = view.catalog().agreements->terms;
  if (!terms.PausedOn(request.supplier(), DayOf(view.now()))) {
    return absl::NotFoundError(absl::StrCat("supplier ", request.supplier(), " is not paused"));
  }
  return Pause{request.supplier(), /*paused=*/false, std::nullopt, ""};
}

Reactor* AgreementsService::ListQuotes(Context* context, const v1::ListQuotesRequest* request,
                                       v1::ListQuotesResponse* response) {
  return ReplyNow(context,
                  [&] { return plumblane::ListQuotes(engine_.Look(), *request, response); });
}

absl::Status ListQuotes(const View& view, const v1::ListQuotesRequest& request,
                        v1::ListQuotesResponse* response) {
  const auto size = ReadPageSize(request.page_size());
  if (!size.ok()) return size.status();
  std::string destination;
  if (!request.destination().empty()) {
    const auto end = ParseLaneEnd(request.destination());
    if (!end.ok()) {
      return absl::InvalidArgumentError(
          absl::StrCat("destination: ", std::string(end.status().message())));
    }
    destination = *end;
  }
  const std::string question = absl::StrCat(request.supplier(), "|", request.item(), "|",
                                            destination, "|", request.with_past());
  const auto after = ReadToken(question, request.page_token());
  if (!after.ok()) return after.status();
  const Day today = DayOf(view.now());
  const auto& quotes = view.catalog().agreements->quotes.all();
  const auto matches = [&](const QuoteKey& key) {
    return (request.supplier().empty() || request.supplier() == key.supplier) &&
           (request.item().empty() || request.item() == (key.item.empty() ? "*" : key.item)) &&
           (destination.empty() || destination == key.lane.destination);
  };
  const auto place = ReadPlace(*after);
  auto at = after->empty() ? quotes.begin() : quotes.lower_bound(place.first);
  std::string last;
  for (; at != quotes.end(); ++at) {
    if (!matches(at->first)) continue;
    const bool goes_on = !after->empty() && at->first == place.first;
    for (size_t i = goes_on ? place.second + 1 : 0; i < at->second.size(); ++i) {
      const auto state = StateOn(at->second[i], today);
      const bool is_past =
          state == v1::QuoteStatus::STATE_EXPIRED || state == v1::QuoteStatus::STATE_REPLACED;
      if (is_past && !request.with_past()) continue;
      if (static_cast<size_t>(response->quotes_size()) == *size) {
        response->set_next_page_token(MakeToken(question, last));
        return absl::OkStatus();
      }
      WriteQuoteStatus(at->second[i], today, response->add_quotes());
      last = MakePlace(at->first, i);
    }
  }
  return absl::OkStatus();
}

Reactor* AgreementsService::ListTerms(Context* context, const v1::ListTermsRequest* request,
                                      v1::ListTermsResponse* response) {
  return ReplyNow(context,
                  [&] { return plumblane::ListTerms(engine_.Look(), *request, response); });
}

absl::Status ListTerms(const View& view, const v1::ListTermsRequest& request,
                       v1::ListTermsResponse* response) {
  const TermsBook& book = view.catalog().agreements->terms;
  std::set<std::string> suppliers;
  for (const auto& [supplier, terms] : book.all()) suppliers.insert(supplier);
  for (const auto& [supplier, pause] : book.pauses()) {
    if (book.PausedOn(supplier, DayOf(view.now()))) suppliers.insert(supplier);
  }
  if (const std::string& asked = request.supplier(); !asked.empty()) {
    const std::set<Pair>& pairs = view.catalog().pairs->by_supplier;
    const auto pair = pairs.lower_bound(Pair{asked, {}});
    const bool has_orders = pair != pairs.end() && pair->supplier == asked;
    if (!has_orders && !suppliers.contains(asked)) return absl::OkStatus();
    suppliers = {asked};
  }
  for (const std::string& supplier : suppliers) {
    if (absl::Status status = WriteStatusOf(view, supplier, response->add_terms()); !status.ok()) {
      return status;
    }
  }
  return absl::OkStatus();
}

Reactor* AgreementsService::ListExchangeRates(Context* context,
                                              const v1::ListExchangeRatesRequest* request,
                                              v1::ListExchangeRatesResponse* response) {
  return ReplyNow(context, [&] {
    plumblane::ListExchangeRates(engine_.Look(), *request, response);
    return absl::OkStatus();
  });
}

void ListExchangeRates(const View& view, const v1::ListExchangeRatesRequest& request,
                       v1::ListExchangeRatesResponse* response) {
  const Day today = DayOf(view.now());
  for (const auto& [currencies, rates] : view.catalog().agreements->exchange.all()) {
    for (auto rate = rates.begin(); rate != rates.end(); ++rate) {
      const auto next = std::next(rate);
      const bool is_replaced = next != rates.end() && next->first <= today;
      if (is_replaced && !request.with_past()) continue;
      WriteExchangeRate(rate->second, response->add_rates());
    }
  }
}

Reactor* AgreementsService::ListItems(Context* context, const v1::ListItemsRequest* request,
                                      v1::ListItemsResponse* response) {
  return ReplyNow(context, [&] {
    plumblane::ListItems(engine_.Look(), *request, response);
    return absl::OkStatus();
  });
}

void ListItems(const View& view, const v1::ListItemsRequest& request,
               v1::ListItemsResponse* response) {
  for (const Item& item : view.catalog().agreements->items.all()) {
    if (request.item().empty() || request.item() == item.item) {
      WriteItem(item, response->add_items());
    }
  }
}

Reactor* AgreementsService::GetCosts(Context* context, const v1::GetCostsRequest* /*request*/,
                                     v1::CostSettings* response) {
  return ReplyNow(context, [&] { return plumblane::GetCosts(engine_.Look(), response); });
}

absl::Status GetCosts(const View& view, v1::CostSettings* response) {
  const Agreements& agreed = *view.catalog().agreements;
  if (agreed.costs.currency.empty()) return absl::NotFoundError("no cost settings were loaded");
  WriteCosts(agreed.costs, response);
  WriteTime(agreed.costs_loaded_at, response->mutable_load_time());
  return absl::OkStatus();
}

Reactor* AgreementsService::ProposeCosts(Context* context, const v1::ProposeCostsRequest* request,
                                         v1::ProposeCostsResponse* response) {
  Reactor* reactor = context->DefaultReactor();
  const auto status = std::make_shared<absl::Status>();
  const auto propose = [this, context, request, response, status] {
    // A caller that has gone, and a stop of the daemon, end the work.
    *status = plumblane::ProposeCosts(engine_.Look(), *request, response,
                                      [context] { return context->IsCancelled(); });
  };
  if (!proposals_.Start(propose, [status, reactor] { reactor->Finish(ToGrpc(*status)); })) {
    reactor->Finish(
        {grpc::RESOURCE_EXHAUSTED, "another proposal is being made; ask again when it is done"});
  }
  return reactor;
}

absl::Status ProposeCosts(const View& view, const v1::ProposeCostsRequest& request,
                          v1::ProposeCostsResponse* response,
                          const std::function<bool()>& give_up) {
  if (!request.shop().empty()) {
    if (absl::Status status = CheckId(request.shop()); !status.ok()) {
      return absl::InvalidArgumentError(absl::StrCat("shop: ", std::string(status.message())));
    }
  }
  const auto proposal = view.ProposeCosts(request.shop(), give_up);
  if (!proposal.ok()) return proposal.status();
  WriteCosts(proposal->settings, response->mutable_settings());
  for (const std::string& reason : proposal->reasons) response->add_reasons(reason);
  return absl::OkStatus();
}

}  // namespace plumblane
