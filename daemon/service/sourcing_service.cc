#include "service/sourcing_service.h"

#include <absl/strings/str_cat.h>

#include <algorithm>
#include <cassert>
#include <map>
#include <utility>

#include "engine/leaving.h"
#include "service/page_token.h"
#include "service/query_services.h"
#include "service/read_question.h"
#include "service/read_sourcing.h"
#include "service/status.h"
#include "service/write_answer.h"

namespace plumblane {
namespace {

constexpr int kDefaultRanked = 10;
constexpr int kMaxRanked = 1000;
constexpr int kMaxOrders = 1000;
constexpr int kDefaultRiskDays = 90;
constexpr int kMostRiskDays = 3650;
constexpr size_t kMostReason = 200;

void SetProblem(v1::AssignOrderResult::Code code, const std::string& field,
                const std::string& problem, v1::AssignOrderResult* out) {
  out->set_code(code);
  out->set_field(field);
  out->set_problem(problem);
}

// Decides the orders of one request.
class Assigner {
 public:
  Assigner(const View& view, const v1::AssignOrdersRequest& request)
      : view_(view), request_(request) {}

  absl::Status Assign(const v1::OrderToAssign& in, v1::AssignOrderResult* out) {
    auto asked = ReadOrderToGive(in);
    if (!asked.ok()) {
      SetProblem(v1::AssignOrderResult::CODE_BAD_VALUE, FieldOf(asked.status()),
                 std::string(asked.status().message()), out);
      return absl::OkStatus();
    }
    const auto gone = NotKeptSince(view_.snapshot(), asked->key);
    if (!gone.ok()) return gone.status();
    if (*gone) {
      SetProblem(v1::AssignOrderResult::CODE_BAD_VALUE, "order_id",
                 absl::StrCat("order ", FormatOrder(asked->key), " is no longer kept, since ",
                              FormatDay(**gone), ", so nothing more is taken of it"),
                 out);
      return absl::OkStatus();
    }
    auto history = HistoryOf(asked->key);
    if (!history.ok()) return history.status();
    int part = 1;
    if (Settled(*history, part, out)) return absl::OkStatus();
    if (!request_.instead_of().empty()) {
      for (const auto& [number, held] : history->assignments) {
        if (!held.assignment.instead_of.empty()) {
          asked->order.could_not.push_back(held.assignment.instead_of);
        }
      }
      asked->order.could_not.push_back(request_.instead_of());
    }
    asked->order.given = given_;
    const auto answer = view_.Source(asked->order, {}, 0);
    if (absl::IsInvalidArgument(answer.status())) {
      SetProblem(v1::AssignOrderResult::CODE_BAD_VALUE, FieldOf(answer.status()),
                 std::string(answer.status().message()), out);
      return absl::OkStatus();
    }
    if (!answer.ok()) return answer.status();
    Take(Decide(asked->order, answer->answer, asked->key, part, view_.now(), request_.supplier(),
                request_.reason()),
         out);
    return absl::OkStatus();
  }

  std::vector<Assignment> TakeMade() { return std::move(made_); }

 private:
  // What is known of an order: its assignments, and to whom its parts were paid.
  struct History {
    std::map<int, StoredAssignment> assignments;  // by part
    std::map<int, std::string> paid;
  };

  absl::StatusOr<History> HistoryOf(const OrderKey& key) const {
    History history;
    auto held = view_.AssignmentsOf(key);
    if (!held.ok()) return held.status();
    for (StoredAssignment& one : *held) {
      const int part = one.assignment.part;
      history.assignments[part] = std::move(one);
    }
    if (const auto made = made_of_.find(key); made != made_of_.end()) {
      const Assignment& one = made_[made->second];
      history.assignments[one.part] = {one, AssignmentState::kOpen};
    }
    const auto order = view_.Order(key);
    if (!order.ok() && !absl::IsNotFound(order.status())) return order.status();
    if (order.ok()) {
      for (const PartState& part : order->state.parts) {
        if (part.paid) history.paid[part.part] = part.supplier;
      }
    }
    return history;
  }

  // Answers what is settled already; else says which part is to be assigned.
  bool Settled(const History& history, int& part, v1::AssignOrderResult* out) const {
    const auto taken = [&](const std::string& problem) {
      SetProblem(v1::AssignOrderResult::CODE_ASSIGNED_ALREADY, "", problem, out);
      return true;
    };
    const StoredAssignment* last =
        history.assignments.empty() ? nullptr : &history.assignments.rbegin()->second;
    const int last_paid = history.paid.empty() ? 0 : history.paid.rbegin()->first;
    const std::string& instead_of = request_.instead_of();
    if (!instead_of.empty()) {
      if (last != nullptr && last->assignment.instead_of == instead_of &&
          last->assignment.part > last_paid) {
        return RepeatOrRefuse(*last, out);
      }
      const int before = std::max(last == nullptr ? 0 : last->assignment.part, last_paid);
      if (before == 0) {
        SetProblem(v1::AssignOrderResult::CODE_BAD_VALUE, "instead_of",
                   "expected an order that was assigned or paid before", out);
        return true;
      }
      assert(before == last_paid || last != nullptr);
      const std::string& who =
          before == last_paid ? history.paid.at(before) : last->assignment.pick.supplier;
      if (who != instead_of) {
        SetProblem(v1::AssignOrderResult::CODE_BAD_VALUE, "instead_of",
                   absl::StrCat("part ", before, " went to ", who), out);
        return true;
      }
      part = before + 1;
      if (part <= kMaxPart) return false;
      return taken(absl::StrCat("the order has ", kMaxPart, " parts already"));
    }
    if (last != nullptr && last->assignment.part >= last_paid) {
      return RepeatOrRefuse(*last, out);
    }
    if (last_paid > 0) {
      return taken(absl::StrCat("paid to ", history.paid.at(last_paid),
                                " already; to route it again say instead of whom"));
    }
    return false;
  }

  // The assignment that stands, unless another supplier is asked for.
  bool RepeatOrRefuse(const StoredAssignment& held, v1::AssignOrderResult* out) const {
    const std::string& supplier = held.assignment.pick.supplier;
    if (!request_.supplier().empty() && request_.supplier() != supplier) {
      SetProblem(
          v1::AssignOrderResult::CODE_ASSIGNED_ALREADY, "",
          absl::StrCat("assigned to ", supplier, " already; to route it again say instead of whom"),
          out);
      return true;
    }
    out->set_existed(true);
    WriteAssignment(held, /*with_candidates=*/true, out->mutable_assignment());
    return true;
  }

  void Take(Decision decision, v1::AssignOrderResult* out) {
    if (!decision.assignment) {
      SetProblem(v1::AssignOrderResult::CODE_NONE_ELIGIBLE, "",
                 request_.supplier().empty()
                     ? decision.excluded.empty() ? "no supplier has shipped there or quotes for it"
                                                 : "no supplier is eligible"
                     : absl::StrCat(request_.supplier(), " has neither shipped there nor quoted"),
                 out);
      for (const ExcludedPair& one : decision.excluded) WriteExcluded(one, out->add_excluded());
      return;
    }
    WriteAssignment({*decision.assignment, AssignmentState::kOpen}, /*with_candidates=*/true,
                    out->mutable_assignment());
    ++given_[decision.assignment->pick.supplier];
    made_of_[decision.assignment->order] = made_.size();
    made_.push_back(*std::move(decision.assignment));
  }

  const View& view_;
  const v1::AssignOrdersRequest& request_;
  std::map<std::string, int64_t> given_;
  std::vector<Assignment> made_;
  // Places in made_. Of an order there is at most one: asked for again, it is what stands.
  std::map<OrderKey, size_t> made_of_;
};

}  // namespace

namespace {

// Another daemon may have given an order at the same moment: of several the first stands.
absl::Status TellWhatStands(const View& view, v1::AssignOrdersResponse* response) {
  for (v1::AssignOrderResult& result : *response->mutable_results()) {
    if (!result.has_assignment() || result.existed()) continue;
    const v1::Assignment& told = result.assignment();
    const auto held = view.AssignmentsOf({told.shop(), told.order_id()});
    if (!held.ok()) return held.status();
    for (const StoredAssignment& one : *held) {
      if (one.assignment.part != told.part()) continue;
      result.set_existed(one.assignment.pick.supplier != told.supplier());
      result.mutable_assignment()->Clear();
      WriteAssignment(one, /*with_candidates=*/true, result.mutable_assignment());
    }
  }
  return absl::OkStatus();
}

}  // namespace

grpc::ServerUnaryReactor* SourcingService::RankSuppliers(grpc::CallbackServerContext* context,
                                                         const v1::RankSuppliersRequest* request,
                                                         v1::RankSuppliersResponse* response) {
  return ReplyNow(context, [&] {
    const View view = engine_.Look();
    return plumblane::RankSuppliers(view, *request, LatestAskable(engine_, view), response);
  });
}

absl::Status RankSuppliers(const View& view, const v1::RankSuppliersRequest& request,
                           Instant latest, v1::RankSuppliersResponse* response) {
  const auto asked = ReadAsked(request, latest);
  if (!asked.ok()) return asked.status();
  const auto order = ReadOrderToSource(request);
  if (!order.ok()) return order.status();
  if (request.limit() < 0) return absl::InvalidArgumentError("limit: expected 0 to 1,000");
  const auto told = static_cast<size_t>(
      request.limit() == 0 ? kDefaultRanked : std::min(request.limit(), kMaxRanked));
  const auto answer = view.Source(*order, *asked, told);
  if (!answer.ok()) return answer.status();
  WriteSourcing(*answer, told, response);
  return absl::OkStatus();
}

grpc::ServerUnaryReactor* SourcingService::AssignOrders(grpc::CallbackServerContext* context,
                                                        const v1::AssignOrdersRequest* request,
                                                        v1::AssignOrdersResponse* response) {
  grpc::ServerUnaryReactor* reactor = context->DefaultReactor();
  assigning_.Do([this, reactor, request, response] {
    if (const std::string missing = Missing(engine_); !missing.empty()) {
      return reactor->Finish({grpc::UNAVAILABLE, missing + "; no order is given on that"});
    }
    auto made = plumblane::AssignOrders(engine_.Look(), *request, response);
    if (!made.ok()) return reactor->Finish(ToGrpc(made.status()));
    if (made->empty()) return reactor->Finish(grpc::Status::OK);
    Submission submission;
    submission.assignments = *std::move(made);
    // The next request must see what this one gives.
    const Receipt given = SubmitAndWait(engine_, std::move(submission));
    response->set_log_sequence(static_cast<int64_t>(given.log_sequence));
    absl::Status status = given.status;
    if (status.ok() && engine_.shared_log()) status = TellWhatStands(engine_.Look(), response);
    reactor->Finish(ToGrpc(status));
  });
  return reactor;
}

absl::StatusOr<std::vector<Assignment>> AssignOrders(const View& view,
                                                     const v1::AssignOrdersRequest& request,
                                                     v1::AssignOrdersResponse* response) {
  if (request.orders().empty()) {
    return absl::InvalidArgumentError("orders: expected at least one");
  }
  if (request.orders_size() > kMaxOrders) {
    return absl::ResourceExhaustedError(
        absl::StrCat("orders: ", request.orders_size(), " of them; expected at most ", kMaxOrders));
  }
  const bool own_choice = !request.supplier().empty();
  if ((own_choice || !request.instead_of().empty()) && request.orders_size() > 1) {
    return absl::InvalidArgumentError(
        "orders: expected one order with a supplier or instead_of of one's own");
  }
  if (own_choice && request.supplier() == request.instead_of()) {
    return absl::InvalidArgumentError("supplier: expected another one than instead_of");
  }
  if (own_choice && (request.reason().empty() || request.reason().size() > kMostReason)) {
    return absl::InvalidArgumentError(
        "reason: expected why it is this supplier, up to 200 characters");
  }
  Assigner assigner(view, request);
  for (const v1::OrderToAssign& order : request.orders()) {
    if (absl::Status status = assigner.Assign(order, response->add_results()); !status.ok()) {
      return status;
    }
  }
  std::vector<Assignment> made = assigner.TakeMade();
  if (request.dry_run()) made.clear();
  return made;
}

grpc::ServerUnaryReactor* SourcingService::GetRisk(grpc::CallbackServerContext* context,
                                                   const v1::GetRiskRequest* request,
                                                   v1::Risk* response) {
  grpc::ServerUnaryReactor* reactor = context->DefaultReactor();
  reading_.Do([this, reactor, request, response] {
    reactor->Finish(ToGrpc(plumblane::GetRisk(engine_.Look(), *request, response)));
  });
  return reactor;
}

absl::Status GetRisk(const View& view, const v1::GetRiskRequest& request, v1::Risk* response) {
  if (request.days() < 0 || request.days() > kMostRiskDays) {
    return absl::InvalidArgumentError(absl::StrCat("days: expected 1 to ", kMostRiskDays));
  }
  const int days = request.days() == 0 ? kDefaultRiskDays : request.days();
  const auto answer = view.Risk(days);
  if (!answer.ok()) return answer.status();
  WriteRisk(view, *answer, request.supplier(), days, response);
  if (!request.supplier().empty() && response->suppliers().empty()) {
    return absl::NotFoundError(absl::StrCat("no order names supplier ", request.supplier()));
  }
  return absl::OkStatus();
}

grpc::ServerUnaryReactor* SourcingService::ListAssignments(
    grpc::CallbackServerContext* context, const v1::ListAssignmentsRequest* request,
    v1::ListAssignmentsResponse* response) {
  grpc::ServerUnaryReactor* reactor = context->DefaultReactor();
  reading_.Do([this, reactor, request, response] {
    reactor->Finish(ToGrpc(plumblane::ListAssignments(engine_.Look(), *request, response)));
  });
  return reactor;
}

absl::Status ListAssignments(const View& view, const v1::ListAssignmentsRequest& request,
                             v1::ListAssignmentsResponse* response) {
  const auto page_size = ReadPageSize(request.page_size());
  if (!page_size.ok()) return page_size.status();
  const auto size = static_cast<int>(*page_size);
  std::optional<Instant> from, to;
  if (request.has_from_time()) {
    const auto time = ReadTime("from_time", request.from_time(), kLatestInstant);
    if (!time.ok()) return time.status();
    from = *time;
  }
  if (request.has_to_time()) {
    const auto time = ReadTime("to_time", request.to_time(), kLatestInstant);
    if (!time.ok()) return time.status();
    to = *time;
  }
  const std::string question =
      absl::StrCat(request.supplier(), "|", from ? from->millis : -1, "|", to ? to->millis : -1);
  const auto after = ReadToken(question, request.page_token());
  if (!after.ok()) return after.status();
  const auto name = [](const Assignment& one) {
    return absl::StrCat(one.order.shop, "/", one.order.order_id, "/", one.part);
  };
  std::map<std::string, v1::ListAssignmentsResponse::Saving> savings;
  bool started = after->empty();
  std::string last;
  const absl::Status scanned = view.EachAssignment(from, to, [&](const StoredAssignment& stored) {
    const Assignment& one = stored.assignment;
    if (!request.supplier().empty() && one.pick.supplier != request.supplier()) return true;
    response->set_total_count(response->total_count() + 1);
    if (one.trial) response->set_trial_count(response->trial_count() + 1);
    if (one.mode == AssignMode::kChosen) response->set_chosen_count(response->chosen_count() + 1);
    if (one.expected_saving) {
      auto& saving = savings[one.currency];
      saving.set_expected_saving(saving.expected_saving() + *one.expected_saving);
      saving.set_assignment_count(saving.assignment_count() + 1);
    }
    if (!started) {
      started = name(one) == *after;
    } else if (response->assignments_size() < size) {
      WriteAssignment(stored, request.with_candidates(), response->add_assignments());
      last = name(one);
    } else {
      response->set_next_page_token(MakeToken(question, last));
    }
    return true;
  });
  for (auto& [currency, saving] : savings) {
    saving.set_currency_code(currency);
    *response->add_savings() = saving;
  }
  return scanned;
}

}  // namespace plumblane
