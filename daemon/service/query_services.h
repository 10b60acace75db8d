// Questions in, answers out: convert, look, convert.
#pragma once

#include <plumblane/v1/operations.grpc.pb.h>
#include <plumblane/v1/orders.grpc.pb.h>
#include <plumblane/v1/scores.grpc.pb.h>

#include <functional>
#include <map>
#include <string>

#include "engine/desk.h"
#include "service/in_turn.h"
#include "service/keeping.h"
#include "service/one_at_a_time.h"

namespace plumblane {

// Each `engine` must outlive the service. The handlers' logic is in the functions further down,
// which need no server.

class ScoresService final : public v1::Scores::CallbackService {
 public:
  explicit ScoresService(Desk& engine) : engine_(engine) {}
  grpc::ServerUnaryReactor* GetScore(grpc::CallbackServerContext* context,
                                     const v1::GetScoreRequest* request,
                                     v1::Score* response) override;
  grpc::ServerUnaryReactor* ListScores(grpc::CallbackServerContext* context,
                                       const v1::ListScoresRequest* request,
                                       v1::ListScoresResponse* response) override;
  grpc::ServerUnaryReactor* Backtest(grpc::CallbackServerContext* context,
                                     const v1::BacktestRequest* request,
                                     v1::BacktestResponse* response) override;

 private:
  Desk& engine_;
  OneAtATime backtests_;
};

class OrdersService final : public v1::Orders::CallbackService {
 public:
  explicit OrdersService(Desk& engine) : engine_(engine) {}
  grpc::ServerUnaryReactor* GetOrder(grpc::CallbackServerContext* context,
                                     const v1::GetOrderRequest* request,
                                     v1::Order* response) override;
  grpc::ServerUnaryReactor* LookUpOrders(grpc::CallbackServerContext* context,
                                         const v1::LookUpOrdersRequest* request,
                                         v1::LookUpOrdersResponse* response) override;
  grpc::ServerUnaryReactor* ListUnderway(grpc::CallbackServerContext* context,
                                         const v1::ListUnderwayRequest* request,
                                         v1::ListUnderwayResponse* response) override;
  grpc::ServerUnaryReactor* ListClaims(grpc::CallbackServerContext* context,
                                       const v1::ListClaimsRequest* request,
                                       v1::ListClaimsResponse* response) override;
  grpc::ServerUnaryReactor* CreateExcuse(grpc::CallbackServerContext* context,
                                         const v1::CreateExcuseRequest* request,
                                         v1::Excuse* response) override;
  grpc::ServerUnaryReactor* ListExcuses(grpc::CallbackServerContext* context,
                                        const v1::ListExcusesRequest* request,
                                        v1::ListExcusesResponse* response) override;
  grpc::ServerUnaryReactor* WithdrawExcuse(grpc::CallbackServerContext* context,
                                           const v1::WithdrawExcuseRequest* request,
                                           v1::Excuse* response) override;

 private:
  Desk& engine_;
  // Lists that read order by order, off the threads that answer at once.
  InTurn lists_;
};

class OperationsService final : public v1::Operations::CallbackService {
 public:
  // `add` tells what the engine does not know.
  using Add = std::function<void(v1::ServerStatus&)>;
  OperationsService(
      Desk& engine, std::string version, Add add = [](auto&) {}, Keeping keeping = {})
      : engine_(engine),
        version_(std::move(version)),
        started_(engine.WallNow()),
        add_(std::move(add)),
        keeping_(std::move(keeping)) {}
  grpc::ServerUnaryReactor* GetStatus(grpc::CallbackServerContext* context,
                                      const v1::GetStatusRequest* request,
                                      v1::ServerStatus* response) override;
  // In erasing.cc.
  grpc::ServerUnaryReactor* EraseOrders(grpc::CallbackServerContext* context,
                                        const v1::EraseOrdersRequest* request,
                                        v1::EraseOrdersResponse* response) override;
  grpc::ServerUnaryReactor* EraseSupplier(grpc::CallbackServerContext* context,
                                          const v1::EraseSupplierRequest* request,
                                          v1::EraseSupplierResponse* response) override;
  // In keeping.cc.
  grpc::ServerWriteReactor<v1::VerifyUpdate>* Verify(grpc::CallbackServerContext* context,
                                                     const v1::VerifyRequest* request) override;
  grpc::ServerUnaryReactor* Backup(grpc::CallbackServerContext* context,
                                   const v1::BackupRequest* request,
                                   v1::BackupResponse* response) override;

 private:
  Desk& engine_;
  const std::string version_;
  const Instant started_;
  const Add add_;
  const Keeping keeping_;
  OneAtATime verifies_, backups_, erasures_;
};

// The latest moment that may be asked about: now, or the wall clock when that is ahead.
Instant LatestAskable(const Desk& engine, const View& view);

absl::Status ListScores(const View& view, const v1::ListScoresRequest& request, Instant latest,
                        v1::ListScoresResponse* response);
absl::Status LookUpOrders(const View& view, const v1::LookUpOrdersRequest& request,
                          v1::LookUpOrdersResponse* response);
// Pages go on where the one before ended; an order whose place changes in between may come twice or
// not at all.
absl::Status ListUnderway(const View& view, const v1::ListUnderwayRequest& request,
                          v1::ListUnderwayResponse* response);
absl::Status ListClaims(const View& view, const v1::ListClaimsRequest& request,
                        v1::ListClaimsResponse* response,
                        const std::function<bool()>& give_up = {});
// The excuse to log for a request to create one.
absl::StatusOr<Excuse> ExcuseToCreate(const View& view, const v1::CreateExcuseRequest& request);
// The excuse to log for a request to withdraw one.
absl::StatusOr<Excuse> ExcuseToWithdraw(const View& view, const std::string& excuse_id);

// What the answers of a daemon that shares its log say besides: how far it is behind and what it
// lacks (plumblane-remark); where it takes no events, that it follows (plumblane-follows), and
// where the other one takes them, when that is known (plumblane-owner).
// Where not all is held it says so (plumblane-partial) and where it is, as if it followed that one.
std::map<std::string, std::string> Behind(const Desk& engine);
// A daemon that does not hold all takes events and says how it is; of all else it says where to go,
// since what it has would be too low. "" = `method` is answered here.
std::string WhyNotHere(const Desk& engine, std::string_view method);
// Why what is counted may be too low, "" = it is not: partitions that are not followed now.
std::string Missing(const Desk& engine);

}  // namespace plumblane
