#include "app/desk_in_use.h"

#include <absl/strings/str_cat.h>
#include <spdlog/spdlog.h>

#include <utility>

#include "app/peer_channel.h"

namespace plumblane {
DeskInUse::DeskInUse(const Settings& settings, Store& store, LogInUse& log, const Clock& clock,
                     const std::function<void(const absl::Status&)>& lost)
    : is_shared_(log.ownership() != nullptr) {
  EngineOptions options = settings.engine;
  log.AddTo(options, lost);
  if (log.partitions() == 1) {
    one_.emplace(store, log.log(), clock, options, log.ownership());
    return;
  }
  peers_ = std::make_unique<Peers>(
      [&cluster = settings.cluster](const auto& address) { return ChannelTo(address, cluster); },
      settings.cluster.token);
  options.fetch_state = [&log, &cluster = settings.cluster](uint32_t partition,
                                                            ArrivingState& arriving) {
    std::string why = absl::StrCat("the log does not go back to what is here of partition ",
                                   partition, ", and no other daemon gives its state:");
    for (const Ownership::Other& other : log.ownership()->Others()) {
      const absl::Status fetched =
          FetchPartition(ChannelTo(other.address, cluster), cluster.token, partition, arriving);
      if (fetched.ok()) {
        spdlog::info("fetched partition {} from {}", partition, other.address);
        return fetched;
      }
      absl::StrAppend(&why, " ", other.address, ": ", std::string(fetched.message()), ";");
    }
    why.pop_back();
    return absl::UnavailableError(why);
  };
  many_.emplace(store, log.log(), clock, options, log.partitions(), *log.ownership(), *peers_);
}

absl::Status DeskInUse::Start(const std::function<void()>& still_at_it) {
  return one_ ? one_->Start(still_at_it) : many_->Start(still_at_it);
}

void DeskInUse::LetGo() {
  if (!is_shared_) return;
  one_ ? one_->BeginToStop() : many_->BeginToStop();
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

PeersService::ReadState DeskInUse::state_reader() {
  if (!many_) return {};
  return [this](uint32_t partition, const auto& take) { return many_->ReadState(partition, take); };
}

}  // namespace plumblane
