// The log that the settings name: in the store, or in etcd for several daemons. Nobody else knows
// which one it is.
#pragma once

#include <absl/status/statusor.h>

#include <functional>
#include <memory>
#include <optional>

#include "app/settings.h"
#include "app/standing_copy.h"
#include "eventlog/anchor.h"
#include "eventlog/etcd/etcd_member.h"
#include "publish/timed_log.h"

namespace plumblane {

class LogInUse {
 public:
  // Before the data is opened: where there is none, and the log that is shared does not start with
  // its first entry any more, gets it from another daemon (first_copy.h). `settings` must outlive
  // it. Errors: UNAVAILABLE, and that the log is of a newer version (FAILED_PRECONDITION).
  static absl::StatusOr<std::unique_ptr<LogInUse>> Prepare(
      const Settings& settings, const std::function<void()>& still_at_it);

  // `store` must outlive it; `anchor` is what its file says. Errors: those of EtcdMember::Join.
  absl::Status Open(Store& store, const Anchor& anchor);

  EventLog& log() { return anchored_ ? static_cast<EventLog&>(*anchored_) : *timed_; }
  // What a log that is shared needs of the engine; `lost`: the data here is of no use any more.
  void AddTo(EngineOptions& options, const std::function<void(const absl::Status&)>& lost);
  // The copy that is kept for others; null where the log is not shared, or not all is followed.
  std::unique_ptr<StandingCopy> KeepCopy(const Desk& engine, DiskStore& store);
  Ownership* ownership() { return member_ ? &member_->ownership() : nullptr; }
  // How many the log has.
  uint32_t partitions() const { return partitions_; }
  const TimedLog& timed() const { return *timed_; }
  const AnchoredLog* anchored() const { return anchored_ ? &*anchored_ : nullptr; }

 private:
  explicit LogInUse(const Settings& settings) : settings_(settings) {}
  bool HoldsAll() const { return partitions_ == 1 || settings_.cluster.follow == "all"; }

  const Settings& settings_;
  uint32_t partitions_ = 1;
  std::optional<StoreLog> in_store_;
  std::optional<EtcdMember> member_;
  std::optional<TimedLog> timed_;
  std::optional<AnchoredLog> anchored_;
};

}  // namespace plumblane
