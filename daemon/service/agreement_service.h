// What was agreed: loads in, lists out. Loads, pauses and their ends are taken one after the other,
// so that what a load is checked against is what it is added to.
#pragma once

#include <plumblane/v1/agreements.grpc.pb.h>

#include "engine/desk.h"
#include "service/in_turn.h"
#include "service/one_at_a_time.h"

namespace plumblane {

inline constexpr int kMaxLoadRows = 20'000;

class AgreementsService final : public v1::Agreements::CallbackService {
 public:
  // `engine` must outlive the service.
  explicit AgreementsService(Desk& engine) : engine_(engine) {}

  using Context = grpc::CallbackServerContext;
  using Reactor = grpc::ServerUnaryReactor;
  Reactor* LoadQuotes(Context*, const v1::LoadQuotesRequest*, v1::LoadResponse*) override;
  Reactor* LoadTerms(Context*, const v1::LoadTermsRequest*, v1::LoadResponse*) override;
  Reactor* LoadExchangeRates(Context*, const v1::LoadExchangeRatesRequest*,
                             v1::LoadResponse*) override;
  Reactor* LoadItems(Context*, const v1::LoadItemsRequest*, v1::LoadResponse*) override;
  Reactor* LoadCosts(Context*, const v1::LoadCostsRequest*, v1::LoadResponse*) override;
  Reactor* PauseSupplier(Context*, const v1::PauseSupplierRequest*, v1::TermsStatus*) override;
  Reactor* ResumeSupplier(Context*, const v1::ResumeSupplierRequest*, v1::TermsStatus*) override;
  Reactor* ListQuotes(Context*, const v1::ListQuotesRequest*, v1::ListQuotesResponse*) override;
  Reactor* ListTerms(Context*, const v1::ListTermsRequest*, v1::ListTermsResponse*) override;
  Reactor* ListExchangeRates(Context*, const v1::ListExchangeRatesRequest*,
                             v1::ListExchangeRatesResponse*) override;
  Reactor* ListItems(Context*, const v1::ListItemsRequest*, v1::ListItemsResponse*) override;
  Reactor* GetCosts(Context*, const v1::GetCostsRequest*, v1::CostSettings*) override;
  Reactor* ProposeCosts(Context*, const v1::ProposeCostsRequest*,
                        v1::ProposeCostsResponse*) override;

 private:
  template <typename Request>
  Reactor* Load(Context* context, const Request* request, v1::LoadResponse* response);
  template <typename Ask>
  Reactor* ChangePause(Context* context, v1::TermsStatus* response, const Ask& ask);

  Desk& engine_;
  InTurn changes_;
  OneAtATime proposals_;
};

// What a load would do, and what to log for it: nothing when a row is wrong or nothing is new.
struct LoadPlan {
  v1::LoadResponse response;  // without log_sequence
  std::vector<AgreementLoad> changes;
};
// Error of all RESOURCE_EXHAUSTED: more than kMaxLoadRows.
absl::StatusOr<LoadPlan> PlanLoad(const View& view, const v1::LoadQuotesRequest& request);
absl::StatusOr<LoadPlan> PlanLoad(const View& view, const v1::LoadTermsRequest& request);
absl::StatusOr<LoadPlan> PlanLoad(const View& view, const v1::LoadExchangeRatesRequest& request);
absl::StatusOr<LoadPlan> PlanLoad(const View& view, const v1::LoadItemsRequest& request);
absl::StatusOr<LoadPlan> PlanLoad(const View& view, const v1::LoadCostsRequest& request);

// The pause to log. Errors: INVALID_ARGUMENT; NOT_FOUND when there is none to end.
absl::StatusOr<Pause> PauseToPut(const View& view, const v1::PauseSupplierRequest& request);
absl::StatusOr<Pause> PauseToEnd(const View& view, const v1::ResumeSupplierRequest& request);

absl::Status ListQuotes(const View& view, const v1::ListQuotesRequest& request,
                        v1::ListQuotesResponse* response);
// One supplier, or all that have terms or a pause; one without either has orders at least.
absl::Status ListTerms(const View& view, const v1::ListTermsRequest& request,
                       v1::ListTermsResponse* response);
void ListExchangeRates(const View& view, const v1::ListExchangeRatesRequest& request,
                       v1::ListExchangeRatesResponse* response);
void ListItems(const View& view, const v1::ListItemsRequest& request,
               v1::ListItemsResponse* response);
absl::Status GetCosts(const View& view, v1::CostSettings* response);
absl::Status ProposeCosts(const View& view, const v1::ProposeCostsRequest& request,
                          v1::ProposeCostsResponse* response, const std::function<bool()>& give_up);

}  // namespace plumblane
