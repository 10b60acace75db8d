#include "service/query_services.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_join.h>

#include <algorithm>
#include <memory>
#include <set>
#include <string_view>
#include <vector>

#include "base/ids.h"
#include "service/page_token.h"
#include "service/read_question.h"
#include "service/status.h"
#include "service/write_answer.h"

namespace plumblane {
namespace {

constexpr int kMaxQuestions = 1000;

std::string Fingerprint(const v1::ListScoresRequest& request) {
  return absl::StrCat(request.collection(), "|", request.as_of_time().seconds(), ".",
                      request.as_of_time().nanos(), "|", request.half_life().seconds(), ".",
                      request.half_life().nanos(), "|", request.rate_mode(), "|",
                      request.lane().ShortDebugString(), "|", request.tag(), "|",
                      request.min_order_count());
}

absl::StatusOr<View::SupplierFilter> ReadFilter(const v1::ListScoresRequest& request) {
  View::SupplierFilter filter;
  filter.tag = request.tag();
  filter.min_order_count = request.min_order_count();
  if (request.has_lane()) {
    auto lane = ReadLane("lane", request.lane());
    if (!lane.ok()) return lane.status();
    filter.lane = *std::move(lane);
  }
  const bool asks = filter.lane || !filter.tag.empty() || filter.min_order_count > 0;
  if (asks && request.collection() != v1::ListScoresRequest::COLLECTION_SUPPLIERS) {
    return absl::InvalidArgumentError("lane, tag, min_order_count: expected for suppliers only");
  }
  return filter;
}

void WritePart(const SharedPart& part, v1::PartitionStatus* out) {
  out->set_is_owned(part.is_mine);
  out->set_owner_address(part.owners_address);
  out->set_log_sequence(static_cast<int64_t>(part.applied));
  out->set_tail_sequence(static_cast<int64_t>(part.tail));
  if (part.is_held && part.as_of) WriteTime(*part.as_of, out->mutable_as_of_time());
}

std::string CompleteUpTo(const std::optional<Instant>& as_of) {
  return absl::StrCat("complete up to ", as_of ? FormatInstant(*as_of) : "never");
}

// "2 of 4 partitions (1, 3)".
std::string NamesOfMissing(const SharedLog& shared, Instant now) {
  std::vector<size_t> missing;
  for (size_t part = 0; part < shared.parts.size(); ++part) {
    if (shared.parts[part].is_missing(now)) missing.push_back(part);
  }
  return absl::StrCat(missing.size(), " of ", shared.parts.size(), " partitions (",
                      absl::StrJoin(missing, ", "), ")");
}

std::string Partial(const SharedLog& shared, Instant now) {
  return absl::StrCat("this daemon does not follow ", NamesOfMissing(shared, now), "; ",
                      shared.whole_address.empty()
                          ? "no daemon that follows all is known"
                          : "the one at " + shared.whole_address + " follows all");
}

v1::ServerStatus StatusOf(const Desk& engine, const View& view) {
  v1::ServerStatus out;
  const Catalog& catalog = view.catalog();
  out.set_clock_mode(engine.clock_mode() == ClockMode::kWall ? v1::ServerStatus::CLOCK_MODE_WALL
                                                             : v1::ServerStatus::CLOCK_MODE_EVENTS);
  WriteTime(view.now(), out.mutable_now_time());
  WriteDuration(view.rules().half_life_days * 86400, out.mutable_half_life());
  WriteDuration(static_cast<double>(view.rules().settle_delay_millis) / kMillisPerSecond,
                out.mutable_settle_delay());
  const std::optional<Instant> news = catalog.NewsHorizon();
  if (news) WriteTime(*news, out.mutable_news_time());
  out.set_log_sequence(static_cast<int64_t>(catalog.log_sequence));
  out.set_order_count(catalog.order_count);
  out.set_purged_order_count(catalog.purged_count);
  out.set_erased_order_count(catalog.erased_count);
  if (catalog.purged_before) WriteTime(*catalog.purged_before, out.mutable_purged_before_time());
  out.set_event_count(catalog.event_count);
  std::set<std::string_view> suppliers;
  std::set<std::pair<std::string_view, std::string_view>> lanes;
  for (const Pair& pair : catalog.pairs->by_supplier) {
    suppliers.insert(pair.supplier);
    lanes.emplace(pair.lane.origin, pair.lane.destination);
  }
  out.set_supplier_count(static_cast<int64_t>(suppliers.size()));
  out.set_lane_count(static_cast<int64_t>(lanes.size()));
  out.set_queued_event_count(static_cast<int64_t>(engine.QueuedEvents()));
  out.set_accepting_events(engine.AcceptsEvents());
  out.set_refusal(engine.refusal());
  if (const auto shared = engine.shared_log()) {
    v1::SharedLogStatus* to = out.mutable_shared_log();
    to->set_follows(shared->follows);
    to->set_owner_address(shared->owners_address);
    to->set_tail_sequence(static_cast<int64_t>(shared->tail));
    if (shared->as_of) WriteTime(*shared->as_of, to->mutable_as_of_time());
    to->set_missing_partition_count(shared->MissingParts(engine.WallNow()));
    if (shared->parts.size() > 1) {
      for (const SharedPart& part : shared->parts) WritePart(part, to->add_partitions());
    }
  }
  for (const auto& [name, source] : catalog.sources) {
    v1::SourceStatus* to = out.add_sources();
    to->set_source(name);
    to->set_kind(source.retired    ? v1::SourceStatus::KIND_RETIRED
                 : source.periodic ? v1::SourceStatus::KIND_PERIODIC
                                   : v1::SourceStatus::KIND_LIVE);
    if (source.complete_through) {
      WriteTime(*source.complete_through, to->mutable_complete_through_time());
    }
    if (source.last_event) WriteTime(*source.last_event, to->mutable_last_event_time());
    to->set_sends_deliveries(source.sends_deliveries);
    to->set_limits_news(source.limits_news() && source.complete_through == news);
  }
  return out;
}

}  // namespace

std::map<std::string, std::string> Behind(const Desk& engine) {
  std::map<std::string, std::string> remarks;
  const auto shared = engine.shared_log();
  if (!shared) return remarks;
  const size_t count = shared->parts.size();
  const auto followed = std::count_if(shared->parts.begin(), shared->parts.end(),
                                      [](const SharedPart& part) { return !part.is_mine; });
  if (count == 1 && shared->follows) {
    remarks["plumblane-follows"] = "yes";
    if (!shared->owners_address.empty()) remarks["plumblane-owner"] = shared->owners_address;
  }
  if (!shared->HoldsAll()) {
    remarks["plumblane-follows"] = remarks["plumblane-partial"] = "yes";
    if (!shared->whole_address.empty()) remarks["plumblane-owner"] = shared->whole_address;
  }
  if (const std::string missing = Missing(engine); !missing.empty()) {
    remarks["plumblane-remark"] = absl::StrCat("PARTIAL: ", missing);
  } else if (count == 1 ? shared->follows : followed > 0) {
    remarks["plumblane-remark"] =
        absl::StrCat("this daemon follows ",
                     count == 1 ? "another" : absl::StrCat(followed, " of ", count, " partitions"),
                     ": entry ", engine.Look().catalog().log_sequence, " of ", shared->tail, "; ",
                     CompleteUpTo(shared->as_of));
  }
  return remarks;
}

std::string WhyNotHere(const Desk& engine, std::string_view method) {
  static const std::set<std::string_view> kHere = {
      "/plumblane.v1.Intake/IngestEvents",     "/plumblane.v1.Intake/ReportNews",
      "/plumblane.v1.Intake/BeginSend",        "/plumblane.v1.Intake/FinishSend",
      "/plumblane.v1.Orders/LookUpOrders",     "/plumblane.v1.Operations/GetStatus",
      "/plumblane.v1.Operations/Verify",       "/plumblane.peer.v1.Peers/TakeParts",
      "/plumblane.peer.v1.Peers/ReadPartition"};
  const auto shared = engine.shared_log();
  if (!shared || shared->HoldsAll() || kHere.contains(method)) return "";
  return Partial(*shared, engine.WallNow());
}

std::string Missing(const Desk& engine) {
  const auto shared = engine.shared_log();
  if (!shared || shared->parts.size() == 1) return "";
  const Instant now = engine.WallNow();
  if (shared->MissingParts(now) == 0) return "";
  if (!shared->HoldsAll()) return Partial(*shared, now);
  return absl::StrCat(NamesOfMissing(*shared, now), " are not followed now, ",
                      CompleteUpTo(shared->as_of), ": what is counted may be too low");
}

Instant LatestAskable(const Desk& engine, const View& view) {
  return std::max(engine.WallNow(), view.now());
}

grpc::ServerUnaryReactor* ScoresService::GetScore(grpc::CallbackServerContext* context,
                                                  const v1::GetScoreRequest* request,
                                                  v1::Score* response) {
  return ReplyNow(context, [&]() -> absl::Status {
    const View view = engine_.Look();
    const auto subject = ReadSubject(request->name());
    if (!subject.ok()) return subject.status();
    const auto asked = ReadAsked(*request, LatestAskable(engine_, view));
    if (!asked.ok()) return asked.status();
    const auto score = view.Score(*subject, *asked);
    if (!score.ok()) return score.status();
    WriteScore(score->basis, score->answer, response);
    return absl::OkStatus();
  });
}

grpc::ServerUnaryReactor* ScoresService::ListScores(grpc::CallbackServerContext* context,
                                                    const v1::ListScoresRequest* request,
                                                    v1::ListScoresResponse* response) {
  return ReplyNow(context, [&] {
    const View view = engine_.Look();
    return plumblane::ListScores(view, *request, LatestAskable(engine_, view), response);
  });
}

grpc::ServerUnaryReactor* ScoresService::Backtest(grpc::CallbackServerContext* context,
                                                  const v1::BacktestRequest* request,
                                                  v1::BacktestResponse* response) {
  grpc::ServerUnaryReactor* reactor = context->DefaultReactor();
  const auto answer = [this, context, request, response]() -> absl::Status {
    const View view = engine_.Look();
    const auto asked = ReadBacktest(*request, LatestAskable(engine_, view));
    if (!asked.ok()) return asked.status();
    // A caller that has gone, and a stop of the daemon, end the work.
    const auto result = view.Backtest(*asked, [context] { return context->IsCancelled(); });
    if (!result.ok()) return result.status();
    WriteBacktest(*asked, *result, response);
    return absl::OkStatus();
  };
  const auto status = std::make_shared<absl::Status>();
  if (!backtests_.Start([status, answer] { *status = answer(); },
                        [status, reactor] { reactor->Finish(ToGrpc(*status)); })) {
    reactor->Finish(
        {grpc::RESOURCE_EXHAUSTED, "another backtest is running; ask again when it is done"});
  }
  return reactor;
}

absl::Status ListScores(const View& view, const v1::ListScoresRequest& request, Instant latest,
                        v1::ListScoresResponse* response) {
  const auto page_size = ReadPageSize(request.page_size());
  if (!page_size.ok()) return page_size.status();
  const size_t size = *page_size;
  const auto asked = ReadAsked(request, latest);
  if (!asked.ok()) return asked.status();
  const auto filter = ReadFilter(request);
  if (!filter.ok()) return filter.status();
  const auto after = ReadToken(Fingerprint(request), request.page_token());
  if (!after.ok()) return after.status();
  absl::StatusOr<WithBasis<std::vector<ScoreAnswer>>> list =
      absl::InvalidArgumentError("collection: expected suppliers or lanes");
  // One more than the page, to know whether there is another.
  if (request.collection() == v1::ListScoresRequest::COLLECTION_SUPPLIERS) {
    list = view.ListSuppliers(*asked, *after, size + 1, *filter);
  } else if (request.collection() == v1::ListScoresRequest::COLLECTION_LANES) {
    list = view.ListLanes(*asked, *after, size + 1);
  }
  if (!list.ok()) return list.status();
  const bool more = list->answer.size() > size;
  if (more) list->answer.resize(size);
  for (const ScoreAnswer& answer : list->answer) {
    WriteScore(list->basis, answer, response->add_scores());
  }
  if (more) {
    const Subject& last = list->answer.back().subject;
    response->set_next_page_token(MakeToken(
        Fingerprint(request), last.supplier ? *last.supplier : FormatLaneQuery(*last.lane)));
  }
  return absl::OkStatus();
}

grpc::ServerUnaryReactor* OrdersService::GetOrder(grpc::CallbackServerContext* context,
                                                  const v1::GetOrderRequest* request,
                                                  v1::Order* response) {
  return ReplyNow(context, [&]() -> absl::Status {
    const auto key = ReadOrderKey(request->shop(), request->order_id());
    if (!key.ok()) return key.status();
    const auto order = engine_.Look().Order(*key);
    if (!order.ok()) return order.status();
    WriteOrder(*order, response);
    return absl::OkStatus();
  });
}

grpc::ServerUnaryReactor* OrdersService::LookUpOrders(grpc::CallbackServerContext* context,
                                                      const v1::LookUpOrdersRequest* request,
                                                      v1::LookUpOrdersResponse* response) {
  return ReplyNow(context, [&]() -> absl::Status {
    const auto shared = engine_.shared_log();
    if (request->questions_size() > 0 && shared && !shared->HoldsAll()) {
      return absl::FailedPreconditionError(Partial(*shared, engine_.WallNow()));
    }
    return plumblane::LookUpOrders(engine_.Look(), *request, response);
  });
}

absl::Status LookUpOrders(const View& view, const v1::LookUpOrdersRequest& request,
                          v1::LookUpOrdersResponse* response) {
  if (request.questions_size() > kMaxQuestions) {
    return absl::InvalidArgumentError("questions: expected at most 1,000");
  }
  for (const auto& question : request.questions()) {
    const v1::OrderName& order = question.order();
    const OrderKey key{order.shop().empty() ? kDefaultShop : order.shop(), order.order_id()};
    auto found = question.has_order() ? view.FindPart(key, std::max(1, order.part()))
                                      : view.FindByTracking(question.tracking());
    if (!found.ok()) return found.status();
    auto* answer = response->add_answers();
    if (!*found) continue;
    answer->set_shop((*found)->key.shop);
    answer->set_order_id((*found)->key.order_id);
    answer->set_part((*found)->part);
    answer->set_destination((*found)->destination);
  }
  return absl::OkStatus();
}

absl::StatusOr<Excuse> ExcuseToCreate(const View& view, const v1::CreateExcuseRequest& request) {
  auto excuse = ReadExcuse(request.excuse());
  if (!excuse.ok()) return excuse.status();
  const auto& known = view.catalog().excuses->all();
  const auto it = known.find(excuse->excuse_id);
  if (it != known.end() && !it->second.withdrawn && it->second.subject != excuse->subject) {
    return absl::AlreadyExistsError(
        absl::StrCat("excuse_id ", excuse->excuse_id, " is taken by another excuse"));
  }
  return excuse;
}

absl::StatusOr<Excuse> ExcuseToWithdraw(const View& view, const std::string& excuse_id) {
  const auto& known = view.catalog().excuses->all();
  const auto it = known.find(excuse_id);
  if (it == known.end()) {
    return absl::NotFoundError(absl::StrCat("there is no excuse ", excuse_id));
  }
  Excuse excuse = it->second;
  excuse.withdrawn = true;
  return excuse;
}

namespace {

grpc::ServerUnaryReactor* LogExcuse(Desk& engine, grpc::CallbackServerContext* context,
                                    const absl::StatusOr<Excuse>& excuse, v1::Excuse* response) {
  grpc::ServerUnaryReactor* reactor = context->DefaultReactor();
  if (!excuse.ok()) {
    reactor->Finish(ToGrpc(excuse.status()));
    return reactor;
  }
  SubmitFact(engine, Submission{{}, {}, {*excuse}}, reactor,
             [response, logged = *excuse](const Receipt&) { WriteExcuse(logged, response); });
  return reactor;
}

}  // namespace

grpc::ServerUnaryReactor* OrdersService::CreateExcuse(grpc::CallbackServerContext* context,
                                                      const v1::CreateExcuseRequest* request,
                                                      v1::Excuse* response) {
  return LogExcuse(engine_, context, ExcuseToCreate(engine_.Look(), *request), response);
}

grpc::ServerUnaryReactor* OrdersService::WithdrawExcuse(grpc::CallbackServerContext* context,
                                                        const v1::WithdrawExcuseRequest* request,
                                                        v1::Excuse* response) {
  return LogExcuse(engine_, context, ExcuseToWithdraw(engine_.Look(), request->excuse_id()),
                   response);
}

grpc::ServerUnaryReactor* OrdersService::ListExcuses(grpc::CallbackServerContext* context,
                                                     const v1::ListExcusesRequest* /*request*/,
                                                     v1::ListExcusesResponse* response) {
  return ReplyNow(context, [&] {
    const View view = engine_.Look();
    for (const auto& [id, excuse] : view.catalog().excuses->all()) {
      WriteExcuse(excuse, response->add_excuses());
    }
    return absl::OkStatus();
  });
}

grpc::ServerUnaryReactor* OperationsService::GetStatus(grpc::CallbackServerContext* context,
                                                       const v1::GetStatusRequest* /*request*/,
                                                       v1::ServerStatus* response) {
  return ReplyNow(context, [&] {
    *response = StatusOf(engine_, engine_.Look());
    response->set_version(version_);
    WriteTime(started_, response->mutable_start_time());
    add_(*response);
    return absl::OkStatus();
  });
}

}  // namespace plumblane
