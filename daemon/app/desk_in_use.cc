#include "app/desk_in_use.h"

#include <utility>

#include "app/peer_channel.h"

namespace plumblane {
DeskInUse::DeskInUse(const Settings& settings, Store& store, LogInUse& log, const Clock& clock,
                     const std::function<void(const absl::Status&)>& lost) {
  EngineOptions options = settings.engine;
  log.AddTo(options, lost);
  if (log.partitions() == 1) {
    one_.emplace(store, log.log(), clock, options, log.ownership());
    return;
  }
  peers_ = std::make_unique<Peers>(
      [&cluster = settings.cluster](const auto& address) { return ChannelTo(address, cluster); },
      settings.cluster.token);
  many_.emplace(store, log.log(), clock, options, log.partitions(), *log.ownership(), *peers_);
}

absl::Status DeskInUse::Start(const std::function<void()>& still_at_it) {
  return one_ ? one_->Start(still_at_it) : many_->Start(still_at_it);
}

void DeskInUse::Stop() {
  if (one_) return one_->Stop();
  peers_->Stop();
  many_->Stop();
}

PeersService::Take DeskInUse::taker() {
  return [this](uint32_t partition, Submission&& content, Desk::Answer answer) {
    if (many_) return many_->TakeHere(partition, std::move(content), std::move(answer));
    answer({absl::UnavailableError("this daemon has no partitions"), 0, {}, {}});
  };
}

}  // namespace plumblane
