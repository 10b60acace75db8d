#include "service/alert_service.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_join.h>

#include <algorithm>
#include <chrono>
#include <map>
#include <memory>
#include <utility>

#include "base/ids.h"
#include "base/lane.h"
#include "service/alert_stream.h"
#include "service/page_token.h"
#include "service/status.h"
#include "service/write_alert.h"
#include "service/write_delivery.h"
#include "storage/bytes.h"

namespace plumblane {
namespace {

using Reactor = grpc::ServerUnaryReactor;

constexpr std::chrono::milliseconds kPollEvery{200};

const ToldAlert* Find(const View& view, const std::string& id) {
  const auto& alerts = view.catalog().alerts->by_id;
  const auto alert = alerts.find(id);
  return alert == alerts.end() ? nullptr : &alert->second;
}

// A notice on an open alert, with the note.
absl::StatusOr<AlertNotice> Saying(const View& view, AlertNotice::Kind kind, const std::string& id,
                                   const std::string& note) {
  const ToldAlert* alert = Find(view, id);
  if (alert == nullptr) return absl::NotFoundError(absl::StrCat("no alert ", id));
  if (!note.empty()) {
    if (absl::Status status = CheckText(note); !status.ok()) {
      return absl::InvalidArgumentError(absl::StrCat("note: ", std::string(status.message())));
    }
  }
  if (!alert->is_open()) {
    return absl::FailedPreconditionError(absl::StrCat("alert ", id, " is no longer active"));
  }
  AlertNotice notice;
  notice.kind = kind;
  notice.alert_id = id;
  notice.time = view.now();
  notice.key = alert->key;
  notice.note = note;
  return notice;
}

absl::Status Write(const View& view, const std::string& id, const ToldAlert& alert,
                   const std::map<std::string, std::string>& causes, v1::Alert* out) {
  const auto evidence = view.EvidenceOf(alert);
  if (!evidence.ok()) return evidence.status();
  const auto cause = causes.find(id);
  std::vector<std::string> shared;
  if (cause != causes.end()) shared.push_back(cause->second);
  const std::string same = SameOrders(id, alert, *evidence, *view.catalog().alerts);
  if (!same.empty()) shared.push_back(same);
  WriteAlert(id, alert, &*evidence, absl::StrJoin(shared, "; "), DayOf(view.now()), out);
  return absl::OkStatus();
}

std::map<std::string, std::string> CausesOf(const View& view) {
  return SharedCauses(*view.catalog().alerts, view.alerts().FalseAlarmsAYear());
}

// Where an alert stands in lists: active ones first, then open ones, latest first.
struct Place {
  bool not_active = false, closed = false;
  int32_t minus_opened = 0;
  std::string id;
  auto operator<=>(const Place&) const = default;  // NOLINT(modernize-use-nullptr): not ours
};

Place PlaceOf(const std::string& id, const ToldAlert& alert, Day today) {
  return {StateOf(alert, today) != v1::Alert::STATE_ACTIVE, !alert.is_open(),
          -alert.facts.opened.number, id};
}

std::string Packed(const Place& place) {
  ByteWriter writer;
  writer.Byte(place.not_active ? 1 : 0);
  writer.Byte(place.closed ? 1 : 0);
  writer.Signed(place.minus_opened);
  writer.Text(place.id);
  return writer.Take();
}

Place Unpacked(const std::string& bytes) {
  ByteReader reader(bytes);
  Place place;
  place.not_active = reader.Byte() != 0;
  place.closed = reader.Byte() != 0;
  place.minus_opened = static_cast<int32_t>(reader.Signed());
  place.id = reader.Text();
  return place;
}

bool Matches(const v1::ListAlertsRequest& request, const ToldAlert& alert) {
  if (!request.with_closed() && !alert.is_open()) return false;
  if (!request.supplier().empty() && request.supplier() != alert.key.supplier) return false;
  if (!request.has_lane()) return true;
  if (alert.key.IsPool()) {
    return std::binary_search(alert.pooled.begin(), alert.pooled.end(),
                              Lane{request.lane().origin(), request.lane().destination(), ""});
  }
  return alert.key.supplier.empty() && request.lane().origin() == alert.key.origin &&
         request.lane().destination() == alert.key.destination;
}

}  // namespace

AlertsService::AlertsService(Desk& engine, const Deliverer& deliverer)
    : engine_(engine), deliverer_(deliverer) {
  poller_ = std::thread([this] { Poll(); });
}

AlertsService::~AlertsService() {
  {
    const std::lock_guard lock(mutex_);
    closing_ = true;
  }
  changed_.notify_all();
  poller_.join();
}

void AlertsService::Poll() {
  std::unique_lock lock(mutex_);
  while (!closing_) {
    if (streams_.empty()) {
      changed_.wait(lock);
      continue;
    }
    for (AlertStream* stream : streams_) stream->Next();
    changed_.wait_for(lock, kPollEvery);
  }
}

void AlertsService::Forget(AlertStream* stream) {
  const std::lock_guard lock(mutex_);
  streams_.erase(stream);
}

void AlertsService::Drain() {
  const std::lock_guard lock(mutex_);
  draining_ = true;
  for (AlertStream* stream : streams_) {
    stream->End({grpc::UNAVAILABLE, "the daemon is stopping; resume from the last cursor"});
  }
}

grpc::ServerWriteReactor<v1::AlertNotice>* AlertsService::WatchAlerts(
    Context* /*context*/, const v1::WatchAlertsRequest* request) {
  auto* stream = new AlertStream(*this, *request);  // deletes itself
  const std::lock_guard lock(mutex_);
  streams_.insert(stream);
  if (draining_) stream->End({grpc::UNAVAILABLE, "the daemon is stopping"});
  changed_.notify_all();
  return stream;
}

absl::StatusOr<int64_t> CursorToWatch(const View& view, const v1::WatchAlertsRequest& request) {
  const int64_t last = view.catalog().alerts->last_cursor;
  const int64_t after = request.after_cursor();
  if (after == 0) return last;
  if (after < 0 || after > last) {
    return absl::OutOfRangeError(absl::StrCat("after_cursor: ", after, " is no notice; there are ",
                                              last, " so far, numbered from 1"));
  }
  return after;
}

Reactor* AlertsService::ListAlerts(Context* context, const v1::ListAlertsRequest* request,
                                   v1::ListAlertsResponse* response) {
  return ReplyNow(context,
                  [&] { return plumblane::ListAlerts(engine_.Look(), *request, response); });
}

absl::Status ListAlerts(const View& view, const v1::ListAlertsRequest& request,
                        v1::ListAlertsResponse* response) {
  const auto size = ReadPageSize(request.page_size());
  if (!size.ok()) return size.status();
  const std::string question =
      absl::StrCat(request.with_closed(), "|", request.supplier(), "|", request.lane().origin(),
                   "|", request.lane().destination());
  const auto after = ReadToken(question, request.page_token());
  if (!after.ok()) return after.status();
  const Day today = DayOf(view.now());
  std::map<Place, const ToldAlert*> alerts;
  for (const auto& [id, alert] : view.catalog().alerts->by_id) {
    const bool is_active = StateOf(alert, today) == v1::Alert::STATE_ACTIVE;
    if (is_active) response->set_active_count(response->active_count() + 1);
    if (Matches(request, alert)) alerts.emplace(PlaceOf(id, alert, today), &alert);
  }
  auto next = after->empty() ? alerts.begin() : alerts.upper_bound(Unpacked(*after));
  Place last;
  const auto causes = CausesOf(view);
  for (; next != alerts.end(); ++next) {
    if (static_cast<size_t>(response->alerts_size()) == *size) {
      response->set_next_page_token(MakeToken(question, Packed(last)));
      break;
    }
    last = next->first;
    if (absl::Status status = Write(view, last.id, *next->second, causes, response->add_alerts());
        !status.ok()) {
      return status;
    }
  }
  return absl::OkStatus();
}

Reactor* AlertsService::GetAlert(Context* context, const v1::GetAlertRequest* request,
                                 v1::Alert* response) {
  return ReplyNow(
      context, [&] { return plumblane::GetAlert(engine_.Look(), request->alert_id(), response); });
}

absl::Status GetAlert(const View& view, const std::string& alert_id, v1::Alert* response) {
  const ToldAlert* alert = Find(view, alert_id);
  if (alert == nullptr) return absl::NotFoundError(absl::StrCat("no alert ", alert_id));
  return Write(view, alert_id, *alert, CausesOf(view), response);
}

// Logs what `plan` makes of the request, unless it holds already.
template <typename Request, typename Plan>
Reactor* AlertsService::Say(Context* context, const Request* request, v1::Alert* response,
                            const Plan& plan) {
  Reactor* reactor = context->DefaultReactor();
  saying_.Do([this, request, response, reactor, plan] {
    auto notice = plan(engine_.Look(), *request);
    if (!notice.ok()) return reactor->Finish(ToGrpc(notice.status()));
    if (*notice) {
      Submission submission;
      submission.alert_notices.push_back(**std::move(notice));
      const Receipt receipt = SubmitAndWait(engine_, std::move(submission));
      if (!receipt.status.ok()) return reactor->Finish(ToGrpc(receipt.status));
    }
    reactor->Finish(ToGrpc(plumblane::GetAlert(engine_.Look(), request->alert_id(), response)));
  });
  return reactor;
}

Reactor* AlertsService::AcknowledgeAlert(Context* context,
                                         const v1::AcknowledgeAlertRequest* request,
                                         v1::Alert* response) {
  return Say(context, request, response,
             [](const View& view, const auto& asked) { return NoticeOf(view, asked); });
}
Reactor* AlertsService::ShelveAlert(Context* context, const v1::ShelveAlertRequest* request,
                                    v1::Alert* response) {
  return Say(context, request, response,
             [](const View& view, const auto& asked) { return NoticeOf(view, asked); });
}
Reactor* AlertsService::AcceptAlert(Context* context, const v1::AcceptAlertRequest* request,
                                    v1::Alert* response) {
  return Say(context, request, response,
             [](const View& view, const auto& asked) { return NoticeOf(view, asked); });
}

absl::StatusOr<std::optional<AlertNotice>> NoticeOf(const View& view,
                                                    const v1::AcknowledgeAlertRequest& request) {
  auto notice = Saying(view, AlertNotice::Kind::kAcknowledged, request.alert_id(), request.note());
  if (!notice.ok()) return notice.status();
  const ToldAlert& alert = *Find(view, request.alert_id());
  if (alert.acknowledged && alert.note == request.note()) return std::nullopt;
  return *std::move(notice);
}

absl::StatusOr<std::optional<AlertNotice>> NoticeOf(const View& view,
                                                    const v1::ShelveAlertRequest& request) {
  auto notice = Saying(view, AlertNotice::Kind::kShelved, request.alert_id(), request.note());
  if (!notice.ok()) return notice.status();
  const auto until = ParseDay(request.until_date());
  if (!until.ok()) {
    return absl::InvalidArgumentError(
        absl::StrCat("until_date: ", std::string(until.status().message())));
  }
  if (*until <= DayOf(view.now())) {
    return absl::InvalidArgumentError(
        absl::StrCat("until_date: expected a day after today, ", FormatDay(DayOf(view.now()))));
  }
  const ToldAlert& alert = *Find(view, request.alert_id());
  if (alert.shelved_until == *until && alert.note == request.note()) return std::nullopt;
  notice->day = *until;
  return *std::move(notice);
}

absl::StatusOr<std::optional<AlertNotice>> NoticeOf(const View& view,
                                                    const v1::AcceptAlertRequest& request) {
  auto notice = Saying(view, AlertNotice::Kind::kAccepted, request.alert_id(), request.note());
  if (!notice.ok()) return notice.status();
  const ToldAlert& alert = *Find(view, request.alert_id());
  if (alert.key.measure > AlertMeasure::kDelivery) {
    return absl::FailedPreconditionError(
        absl::StrCat("alert ", request.alert_id(),
                     " is of no rate that could be normal; acknowledge or shelve it"));
  }
  // Right after a start the watch may not have come so far yet.
  const auto taken = view.alerts().LastTaken(alert.key);
  notice->day = std::max(taken.value_or(alert.facts.opened), alert.facts.opened);
  return *std::move(notice);
}

Reactor* AlertsService::ListWatches(Context* context, const v1::ListWatchesRequest* /*request*/,
                                    v1::ListWatchesResponse* response) {
  // It may wait for the watches to be brought up to date.
  Reactor* reactor = context->DefaultReactor();
  const bool started =
      listing_.Start([this, response] { plumblane::ListWatches(engine_.Look(), response); },
                     [reactor] { reactor->Finish(grpc::Status::OK); });
  if (!started) {
    reactor->Finish({grpc::RESOURCE_EXHAUSTED, "another list is being made; ask again shortly"});
  }
  return reactor;
}

Reactor* AlertsService::ListDeliveries(Context* context,
                                       const v1::ListDeliveriesRequest* /*request*/,
                                       v1::ListDeliveriesResponse* response) {
  return ReplyNow(context, [&] {
    for (const RouteState& state : deliverer_.states()) {
      WriteDelivery(state, response->add_deliveries());
    }
    return absl::OkStatus();
  });
}

void ListWatches(const View& view, v1::ListWatchesResponse* response) {
  for (const AlertBook::Shown& shown : view.alerts().Watches()) {
    WriteWatch(shown, response->add_watches());
  }
  response->set_odds_ratio(view.rules().alerts.odds_ratio);
}

}  // namespace plumblane
