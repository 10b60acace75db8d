// The log that the settings name: in the store, or in etcd for several daemons. Nobody else knows
// which one it is.
#pragma once

#include <absl/status/statusor.h>

#include <functional>
#include <memory>
#include <optional>

#include "app/settings.h"
#include "eventlog/anchor.h"
#include "eventlog/etcd/etcd_member.h"
#include "publish/timed_log.h"

namespace plumblane {

class LogInUse {
 public:
  // `store` must outlive it; `anchor` is what its file says. Errors: those of EtcdMember::Join.
  static absl::StatusOr<std::unique_ptr<LogInUse>> Open(const Settings& settings, Store& store,
                                                        const Anchor& anchor);

  EventLog& log() { return anchored_ ? static_cast<EventLog&>(*anchored_) : *timed_; }
  // What a log that is shared needs of the engine; `lost`: the data here is of no use any more.
  void AddTo(EngineOptions& options, const std::function<void(const absl::Status&)>& lost);
  Ownership* ownership() { return member_ ? &member_->ownership() : nullptr; }
  // How many the log has.
  uint32_t partitions() const { return partitions_; }
  const TimedLog& timed() const { return *timed_; }
  const AnchoredLog* anchored() const { return anchored_ ? &*anchored_ : nullptr; }

 private:
  uint32_t partitions_ = 1;
  std::optional<StoreLog> in_store_;
  std::optional<EtcdMember> member_;
  std::optional<TimedLog> timed_;
  std::optional<AnchoredLog> anchored_;
};

}  // namespace plumblane
