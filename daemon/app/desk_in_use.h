// The engine that the log in use asks for: one, or one for each of its partitions.
#pragma once

#include <absl/status/status.h>

#include <functional>
#include <memory>
#include <optional>

#include "app/log_in_use.h"
#include "app/settings.h"
#include "engine/engine.h"
#include "engine/many_engines.h"
#include "service/peers.h"

namespace plumblane {

class DeskInUse {
 public:
  // All must outlive it. `lost`: the data here is of no use any more.
  DeskInUse(const Settings& settings, Store& store, LogInUse& log, const Clock& clock,
            const std::function<void(const absl::Status&)>& lost);

  absl::Status Start(const std::function<void()>& still_at_it);
  // Where the log is shared: takes what was submitted already, then lets others own it, at once.
  void LetGo();
  void Stop();

  Desk& desk() { return one_ ? static_cast<Desk&>(*one_) : *many_; }
  // What other daemons hand on, and what they read of a partition.
  PeersService::Take taker();
  PeersService::ReadState state_reader();

 private:
  const bool is_shared_;
  std::optional<Engine> one_;
  std::unique_ptr<Peers> peers_;
  std::optional<ManyEngines> many_;
};

}  // namespace plumblane
