#include "service/export_service.h"

#include <spdlog/spdlog.h>

#include <algorithm>
#include <chrono>
#include <memory>
#include <utility>

#include "base/give_way.h"
#include "service/exporting.h"
#include "service/pull_stream.h"
#include "service/query_services.h"
#include "service/read_question.h"
#include "service/score_stream.h"

namespace plumblane {
namespace {

constexpr int kMostExports = 4;
constexpr size_t kMostWatchers = 16;
constexpr int64_t kPollMillis = 1000;
// Without events scores move too, slowly, with the time that orders have been on their way.
constexpr int64_t kStaleMillis = 300'000;
constexpr int64_t kRestsOfWork = 9;
constexpr const char* kWatchScores = "/plumblane.v1.Exports/WatchScores";

// Ends at once with that error.
template <typename Message>
grpc::ServerWriteReactor<Message>* Refused(const absl::Status& why) {
  return new PullStream<Message>([why](Message&) -> absl::StatusOr<bool> { return why; }, [] {});
}

}  // namespace

ExportsService::ExportsService(Desk& engine) : engine_(engine), poller_([this] { Poll(); }) {}

ExportsService::~ExportsService() {
  {
    const std::lock_guard lock(mutex_);
    closing_ = true;
  }
  changed_.notify_all();
  poller_.join();
}

template <typename Message, typename Export>
ExportsService::Writer<Message>* ExportsService::Send(absl::StatusOr<Export> exported) {
  if (!exported.ok()) return Refused<Message>(exported.status());
  if (++exports_ > kMostExports) {
    --exports_;
    return Refused<Message>(
        absl::ResourceExhaustedError("four exports are open; ask again when one is done"));
  }
  const auto source = std::make_shared<Export>(*std::move(exported));
  return new PullStream<Message>([source](Message& message) { return source->Next(message); },
                                 [this] { --exports_; });
}

ExportsService::Writer<v1::Score>* ExportsService::ExportScores(
    Context*, const v1::ExportScoresRequest* request) {
  View view = engine_.Look();
  const auto asked = ReadAsked(*request, LatestAskable(engine_, view));
  if (!asked.ok()) return Refused<v1::Score>(asked.status());
  return Send<v1::Score, ScoreExport>(ScoreExport(std::move(view), *asked));
}

ExportsService::Writer<v1::CohortBatch>* ExportsService::ExportCohorts(
    Context*, const v1::ExportCohortsRequest*) {
  return Send<v1::CohortBatch, CohortExport>(CohortExport(engine_.Look()));
}

ExportsService::Writer<v1::EventBatch>* ExportsService::ExportEvents(
    Context*, const v1::ExportEventsRequest*) {
  return Send<v1::EventBatch, EventExport>(EventExport(engine_.Look()));
}

ExportsService::Writer<v1::Assignment>* ExportsService::ExportAssignments(
    Context*, const v1::ExportAssignmentsRequest*) {
  return Send<v1::Assignment, AssignmentExport>(AssignmentExport(engine_.Look()));
}

ExportsService::Writer<v1::ScoreChange>* ExportsService::WatchScores(
    Context*, const v1::WatchScoresRequest* request) {
  auto asked = ReadWatch(*request);
  if (!asked.ok()) return Refused<v1::ScoreChange>(asked.status());
  const std::lock_guard lock(mutex_);
  if (draining_) {
    return Refused<v1::ScoreChange>(absl::UnavailableError("the daemon is stopping"));
  }
  if (streams_.size() >= kMostWatchers) {
    return Refused<v1::ScoreChange>(absl::ResourceExhaustedError("16 others watch scores"));
  }
  auto* stream = new ScoreStream(*this, *std::move(asked));  // deletes itself
  streams_.insert(stream);
  is_new_ = true;
  changed_.notify_all();
  return stream;
}

void ExportsService::Drain() {
  const std::lock_guard lock(mutex_);
  draining_ = true;
  for (ScoreStream* stream : streams_) {
    stream->End({grpc::UNAVAILABLE, "the daemon is stopping; go on from what was told last"});
  }
}

void ExportsService::Forget(ScoreStream* stream) {
  const std::lock_guard lock(mutex_);
  streams_.erase(stream);
}

std::set<v1::ScoreKind> ExportsService::KindsWatched() const {
  std::set<v1::ScoreKind> kinds;
  for (const ScoreStream* stream : streams_) {
    kinds.insert(stream->kinds().begin(), stream->kinds().end());
  }
  return kinds;
}

void ExportsService::Poll() {
  GiveWay(5);
  uint64_t sequence = 0;
  Instant read_at;
  bool failed = false;
  std::unique_lock lock(mutex_);
  while (!closing_) {
    if (streams_.empty()) {
      changed_.wait(lock);
      continue;
    }
    // Looked at after the state, so that what was let go in between is not told.
    const View view = engine_.Look();
    if (const std::string why = WhyNotHere(engine_, kWatchScores); !why.empty()) {
      for (ScoreStream* stream : streams_) stream->End({grpc::FAILED_PRECONDITION, why});
    }
    int64_t took = 0;
    const Instant started = engine_.WallNow();
    if (std::exchange(is_new_, false) || view.catalog().log_sequence != sequence ||
        started - read_at >= kStaleMillis) {
      const std::set<v1::ScoreKind> kinds = KindsWatched();
      lock.unlock();
      auto table = ReadScoreTable(view, kinds, [this] { return closing_.load(); });
      if (!table.ok() && !failed) spdlog::error("scores watched: {}", table.status().ToString());
      failed = !table.ok();
      took = engine_.WallNow() - started;
      sequence = view.catalog().log_sequence;
      read_at = started;
      lock.lock();
      if (table.ok()) {
        const auto told = std::make_shared<const ScoreTable>(*std::move(table));
        for (ScoreStream* stream : streams_) stream->Offer(told);
      }
    }
    changed_.wait_for(lock, std::chrono::milliseconds(std::max(kPollMillis, kRestsOfWork * took)),
                      [this] { return closing_ || is_new_; });
  }
}

}  // namespace plumblane
