// One reader of changes of scores. Private to service/.
#pragma once

#include <plumblane/v1/exports.pb.h>

#include <memory>
#include <mutex>

#include "service/export_service.h"
#include "service/score_watch.h"

namespace plumblane {

// Lives from its making until OnDone. At most one change is on its way at a time, so a slow reader
// holds up nobody and costs no memory but what it was told last.
class ScoreStream final : public grpc::ServerWriteReactor<v1::ScoreChange> {
 public:
  ScoreStream(ExportsService& service, WatchAsked asked)
      : service_(service), kinds_(asked.kinds), teller_(std::move(asked)) {}

  const std::set<v1::ScoreKind>& kinds() const { return kinds_; }
  void Offer(const std::shared_ptr<const ScoreTable>& table);
  void End(grpc::Status status);

  void OnWriteDone(bool ok) override;
  void OnCancel() override { End({grpc::CANCELLED, "cancelled"}); }
  void OnDone() override;

 private:
  void Next(std::unique_lock<std::mutex>& lock);
  void Leave(std::unique_lock<std::mutex>& lock);

  ExportsService& service_;
  const std::set<v1::ScoreKind> kinds_;
  std::mutex mutex_;
  // Guarded by mutex_.
  ScoreTeller teller_;
  v1::ScoreChange change_;
  bool writing_ = false, ending_ = false, finished_ = false;
  grpc::Status status_;
};

}  // namespace plumblane
