// Exports, and scores as they change.
//
// Exports run on the threads that answer others too, a few milliseconds at a time. Scores that are
// watched are read by one thread that gives way, for all readers together, when there is news: at
// most once a second, and at most a tenth of the time.
#pragma once

#include <plumblane/v1/exports.grpc.pb.h>

#include <atomic>
#include <condition_variable>
#include <mutex>
#include <set>
#include <thread>

#include "engine/desk.h"

namespace plumblane {

class ScoreStream;

class ExportsService final : public v1::Exports::CallbackService {
 public:
  // `engine` must outlive the service and all its streams.
  explicit ExportsService(Desk& engine);
  ~ExportsService() override;

  using Context = grpc::CallbackServerContext;
  template <typename Message>
  using Writer = grpc::ServerWriteReactor<Message>;
  Writer<v1::Score>* ExportScores(Context*, const v1::ExportScoresRequest*) override;
  Writer<v1::CohortBatch>* ExportCohorts(Context*, const v1::ExportCohortsRequest*) override;
  Writer<v1::EventBatch>* ExportEvents(Context*, const v1::ExportEventsRequest*) override;
  Writer<v1::Assignment>* ExportAssignments(Context*, const v1::ExportAssignmentsRequest*) override;
  Writer<v1::ScoreChange>* WatchScores(Context*, const v1::WatchScoresRequest*) override;

  // Readers that watch are sent away with UNAVAILABLE, and so are new ones. Exports go on.
  void Drain();

 private:
  friend class ScoreStream;
  template <typename Message, typename Export>
  Writer<Message>* Send(absl::StatusOr<Export> exported);
  void Forget(ScoreStream* stream);
  void Poll();
  std::set<v1::ScoreKind> KindsWatched() const;

  Desk& engine_;
  std::atomic<int> exports_ = 0;  // open ones
  std::mutex mutex_;
  std::condition_variable changed_;
  bool draining_ = false, is_new_ = false;  // guarded by mutex_
  std::atomic<bool> closing_ = false;
  std::set<ScoreStream*> streams_;  // guarded by mutex_
  std::thread poller_;
};

}  // namespace plumblane
