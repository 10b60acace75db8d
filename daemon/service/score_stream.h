// One reader of changes of scores. Private to service/.
#pragma once

#include <plumblane/v1/exports.pb.h>

#include <memory>
#include <set>
#include <utility>

#include "service/export_service.h"
#include "service/score_watch.h"
#include "service/watch_stream.h"

namespace plumblane {

class ScoreStream final : public WatchStream<v1::ScoreChange> {
 public:
  ScoreStream(ExportsService& service, WatchAsked asked)
      : service_(service), kinds_(asked.kinds), teller_(std::move(asked)) {}

  const std::set<v1::ScoreKind>& kinds() const { return kinds_; }
  void Offer(const std::shared_ptr<const ScoreTable>& table);

  void OnDone() override;

 private:
  absl::StatusOr<bool> Make(v1::ScoreChange& change) override { return teller_.Next(change); }

  ExportsService& service_;
  const std::set<v1::ScoreKind> kinds_;
  ScoreTeller teller_;  // guarded by mutex()
};

}  // namespace plumblane
