// Who gets the next order: questions, and decisions that are kept.
#pragma once

#include <absl/status/statusor.h>
#include <plumblane/v1/sourcing.grpc.pb.h>

#include "engine/desk.h"
#include "service/in_turn.h"

namespace plumblane {

// `engine` must outlive the service. The handlers' logic is in the functions below, which need no
// server.
class SourcingService final : public v1::Sourcing::CallbackService {
 public:
  explicit SourcingService(Desk& engine) : engine_(engine) {}
  grpc::ServerUnaryReactor* RankSuppliers(grpc::CallbackServerContext* context,
                                          const v1::RankSuppliersRequest* request,
                                          v1::RankSuppliersResponse* response) override;
  grpc::ServerUnaryReactor* AssignOrders(grpc::CallbackServerContext* context,
                                         const v1::AssignOrdersRequest* request,
                                         v1::AssignOrdersResponse* response) override;
  grpc::ServerUnaryReactor* GetRisk(grpc::CallbackServerContext* context,
                                    const v1::GetRiskRequest* request, v1::Risk* response) override;
  grpc::ServerUnaryReactor* ListAssignments(grpc::CallbackServerContext* context,
                                            const v1::ListAssignmentsRequest* request,
                                            v1::ListAssignmentsResponse* response) override;

 private:
  Desk& engine_;
  // Assignments are decided one request after the other: each sees what the one before has given.
  InTurn assigning_;
  // What reads all pairs or all assignments, off the threads that take events in.
  InTurn reading_;
};

absl::Status RankSuppliers(const View& view, const v1::RankSuppliersRequest& request,
                           Instant latest, v1::RankSuppliersResponse* response);

// Decides all orders of the request by the state of the view; what is to be logged, nothing for a
// dry run.
absl::StatusOr<std::vector<Assignment>> AssignOrders(const View& view,
                                                     const v1::AssignOrdersRequest& request,
                                                     v1::AssignOrdersResponse* response);

absl::Status GetRisk(const View& view, const v1::GetRiskRequest& request, v1::Risk* response);

absl::Status ListAssignments(const View& view, const v1::ListAssignmentsRequest& request,
                             v1::ListAssignmentsResponse* response);

}  // namespace plumblane
