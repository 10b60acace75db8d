// The part of fake_daemon.h that ranks, assigns and keeps agreements.

#include "client/fake_daemon.h"

namespace plumblane::client {
namespace {

class FakeSourcing : public v1::Sourcing::Service {
 public:
  explicit FakeSourcing(FakeState* state) : state_(*state) {}

  grpc::Status RankSuppliers(grpc::ServerContext*, const v1::RankSuppliersRequest* request,
                             v1::RankSuppliersResponse* answer) override {
    const std::lock_guard lock(state_.mutex);
    state_.rank_request = *request;
    *answer = state_.ranking;
    return grpc::Status::OK;
  }

  grpc::Status GetRisk(grpc::ServerContext*, const v1::GetRiskRequest* request,
                       v1::Risk* answer) override {
    const std::lock_guard lock(state_.mutex);
    state_.risk_requests.push_back(*request);
    if (!state_.risk_status.ok()) return state_.risk_status;
    *answer = state_.risk;
    if (request->supplier().empty()) return grpc::Status::OK;
    answer->clear_suppliers();
    for (const v1::SupplierRisk& one : state_.risk.suppliers()) {
      if (one.supplier_id() == request->supplier()) *answer->add_suppliers() = one;
    }
    return grpc::Status::OK;
  }

  grpc::Status AssignOrders(grpc::ServerContext*, const v1::AssignOrdersRequest* request,
                            v1::AssignOrdersResponse* answer) override {
    const std::lock_guard lock(state_.mutex);
    if (state_.assign_breaks_after == static_cast<int>(state_.assign_requests.size())) {
      return {grpc::StatusCode::UNAVAILABLE, "the daemon is stopping"};
    }
    state_.assign_requests.push_back(*request);
    for (const v1::OrderToAssign& order : request->orders()) {
      v1::AssignOrderResult& result = *answer->add_results();
      if (state_.assign) {
        state_.assign(order, &result);
        continue;
      }
      v1::Assignment& assignment = *result.mutable_assignment();
      assignment.set_shop(order.shop());
      assignment.set_order_id(order.order_id());
      assignment.set_part(1);
      assignment.set_supplier("lotus-works");
      assignment.mutable_lane()->set_origin("VN");
      assignment.mutable_lane()->set_destination(order.destination());
    }
    return grpc::Status::OK;
  }

  grpc::Status ListAssignments(grpc::ServerContext*, const v1::ListAssignmentsRequest* request,
                               v1::ListAssignmentsResponse* answer) override {
    const std::lock_guard lock(state_.mutex);
    state_.assignments_request = *request;
    *answer = state_.assignments;
    Page(state_.assignments.assignments(), state_.page_size, *request,
         answer->mutable_assignments(), answer);
    return grpc::Status::OK;
  }

 private:
  FakeState& state_;
};

class FakeAgreements : public v1::Agreements::Service {
 public:
  explicit FakeAgreements(FakeState* state) : state_(*state) {}

  grpc::Status LoadQuotes(grpc::ServerContext*, const v1::LoadQuotesRequest* request,
                          v1::LoadResponse* answer) override {
    return Load(*request, request->quotes_size(), state_.quotes_load, answer);
  }
  grpc::Status LoadTerms(grpc::ServerContext*, const v1::LoadTermsRequest* request,
                         v1::LoadResponse* answer) override {
    return Load(*request, request->terms_size(), state_.terms_load, answer);
  }
  grpc::Status LoadExchangeRates(grpc::ServerContext*, const v1::LoadExchangeRatesRequest* request,
                                 v1::LoadResponse* answer) override {
    return Load(*request, request->rates_size(), state_.rates_load, answer);
  }
  grpc::Status LoadItems(grpc::ServerContext*, const v1::LoadItemsRequest* request,
                         v1::LoadResponse* answer) override {
    return Load(*request, request->items_size(), state_.items_load, answer);
  }
  grpc::Status LoadCosts(grpc::ServerContext*, const v1::LoadCostsRequest* request,
                         v1::LoadResponse* answer) override {
    return Load(*request, request->settings().classes_size(), state_.costs_load, answer);
  }

  grpc::Status ListQuotes(grpc::ServerContext*, const v1::ListQuotesRequest* request,
                          v1::ListQuotesResponse* answer) override {
    const std::lock_guard lock(state_.mutex);
    state_.quotes_request = *request;
    Page(state_.quotes, state_.page_size, *request, answer->mutable_quotes(), answer);
    return grpc::Status::OK;
  }
  grpc::Status ListTerms(grpc::ServerContext*, const v1::ListTermsRequest* request,
                         v1::ListTermsResponse* answer) override {
    for (const v1::TermsStatus& terms : state_.terms) {
      if (request->supplier().empty() || request->supplier() == terms.supplier()) {
        *answer->add_terms() = terms;
      }
    }
    return grpc::Status::OK;
  }
  grpc::Status PauseSupplier(grpc::ServerContext*, const v1::PauseSupplierRequest* request,
                             v1::TermsStatus* answer) override {
    const std::lock_guard lock(state_.mutex);
    state_.pause_request = *request;
    answer->set_supplier(request->supplier());
    *answer->mutable_pause() = request->pause();
    return grpc::Status::OK;
  }
  grpc::Status ResumeSupplier(grpc::ServerContext*, const v1::ResumeSupplierRequest* request,
                              v1::TermsStatus* answer) override {
    const std::lock_guard lock(state_.mutex);
    if (state_.pause_request.supplier() != request->supplier()) {
      return {grpc::StatusCode::NOT_FOUND, request->supplier() + " is not paused"};
    }
    answer->set_supplier(request->supplier());
    return grpc::Status::OK;
  }
  grpc::Status ListExchangeRates(grpc::ServerContext*, const v1::ListExchangeRatesRequest*,
                                 v1::ListExchangeRatesResponse* answer) override {
    *answer = state_.rates;
    return grpc::Status::OK;
  }
  grpc::Status ListItems(grpc::ServerContext*, const v1::ListItemsRequest*,
                         v1::ListItemsResponse* answer) override {
    *answer = state_.items;
    return grpc::Status::OK;
  }
  grpc::Status GetCosts(grpc::ServerContext*, const v1::GetCostsRequest*,
                        v1::CostSettings* answer) override {
    if (state_.costs.classes().empty()) {
      return {grpc::StatusCode::NOT_FOUND, "no costs were loaded"};
    }
    *answer = state_.costs;
    return grpc::Status::OK;
  }
  grpc::Status ProposeCosts(grpc::ServerContext*, const v1::ProposeCostsRequest*,
                            v1::ProposeCostsResponse* answer) override {
    *answer = state_.proposal;
    return grpc::Status::OK;
  }

 private:
  template <typename Request>
  grpc::Status Load(const Request& request, int rows, Request& seen, v1::LoadResponse* answer) {
    const std::lock_guard lock(state_.mutex);
    ++state_.loads;
    seen = request;
    *answer = state_.load;
    if (answer->errors().empty()) answer->set_loaded_count(rows);
    return grpc::Status::OK;
  }

  FakeState& state_;
};

}  // namespace

std::unique_ptr<v1::Sourcing::Service> MakeFakeSourcing(FakeState* state) {
  return std::make_unique<FakeSourcing>(state);
}

std::unique_ptr<v1::Agreements::Service> MakeFakeAgreements(FakeState* state) {
  return std::make_unique<FakeAgreements>(state);
}

}  // namespace plumblane::client
