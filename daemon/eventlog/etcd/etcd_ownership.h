// Owners in etcd: a key for each partition under a lease, so that it goes when its owner has not
// been heard of for as long. The revision at which the key was written is the fence: an append
// names it and is refused when the key has been written since, or is gone. So an owner that was
// held up past its lease can do no harm, whatever it believes, and no clock of ours matters.
//
// A new leader of etcd gives every lease its whole time anew, and more. So an owner also writes a
// key of its own whenever it renews (beat/NODE: seconds of its lease, term of the leader that it
// knows of), and who has seen that stand still for so long by its own clock takes over in one
// transaction, if it still stands. By then the owner does not believe any more that it is one.
// While etcd has no leader nobody can write: a silence counts only where etcd has then answered for
// as long as an owner that is well takes to be heard. What was written for one leader and is there
// under the next may have been sent long before, so it is no sign; the owner writes again.
#pragma once

#include <chrono>
#include <cstdint>
#include <map>
#include <mutex>
#include <string>
#include <vector>

#include "base/stopwatch.h"
#include "eventlog/etcd/etcd_client.h"
#include "eventlog/ownership.h"

namespace plumblane {

class EtcdOwnership final : public Ownership {
 public:
  // `client` must outlive it. `node` names this daemon among the others, `address` is where it
  // takes events. `lease` is at least 2 s.
  // `follows_all`: otherwise it only follows what it owns, and owns the first partition, whose
  // owner tells of alerts, only where no daemon is alive that follows all.
  EtcdOwnership(EtcdClient& client, const std::string& node, const std::string& address,
                std::chrono::seconds lease, bool follows_all = true)
      : client_(client),
        lease_time_(lease),
        node_(node),
        value_(node + "\n" + address),
        follows_all_(follows_all) {}

  // How many partitions the log has, before anything else: they are shared among the daemons alive
  // (nodes/NODE, a key under the lease of each) as evenly as whole ones can be, the first by name
  // having one more where it does not come out even.
  void ShareOut(uint32_t partitions);

  // Also anew when this daemon is the owner: then with another fence, so that what it sent before
  // and has not heard of cannot come later.
  absl::StatusOr<bool> Acquire(uint32_t partition) override;
  void Release(uint32_t partition) override;
  // Not when etcd has not confirmed it for the time of the lease.
  bool IsMine(uint32_t partition) const override;
  bool ShallLetGo(uint32_t partition) const override;
  std::string OwnersAddress(uint32_t partition) const override;
  bool IsFree(uint32_t partition) const override;
  std::vector<Other> Others() const override;

  // Keeps the lease and looks who is alive and who owns what. To be called a few times in the time
  // of the lease. Error UNAVAILABLE: nothing is known to have changed.
  absl::Status Renew();

  // What appends must name; 0 = this daemon is not the owner.
  int64_t Fence(uint32_t partition) const;
  std::string OwnerKey(uint32_t partition) const;

 private:
  struct Claim {
    int64_t fence = 0;
    std::string owner;    // the value of the key, "" = nobody
    int64_t written = 0;  // the key's revision
  };
  struct Beat {
    int64_t revision = 0, lease_seconds = 0;
    Stopwatch since;  // it was first seen
  };
  absl::StatusOr<int64_t> Lease();
  std::string BeatKey(const std::string& node) const;
  void PutBeat(etcdserverpb::TxnRequest& txn, int64_t lease) const;
  void NoteBeats(const etcdserverpb::TxnResponse& response, int index);  // REQUIRES: mutex_ is held
  bool IsConfirmed() const;  // lately; REQUIRES: mutex_ is held
  // Whether that daemon was an owner and has not been heard of for the time of its lease.
  bool IsSilent(const std::string& node) const;  // likewise
  void ForgetSilent();                           // likewise
  // How many partitions this daemon is to own, by who was last known to be alive.
  uint32_t Share() const;                         // REQUIRES: mutex_ is held
  uint32_t OwnedBelow(uint32_t partition) const;  // likewise
  bool MayOwn(uint32_t partition) const;          // likewise
  bool WantsMore(uint32_t partition) const;       // likewise
  // Whether this daemon takes the first though its share is full, as not every one can; then it
  // lets another one go.
  bool HasFirstBesides() const;  // likewise
  absl::Status Register(int64_t lease);
  uint64_t Term() const;
  absl::Status RenewOnce();
  // As well writes that this daemon is there, if it has been an owner under this lease.
  absl::StatusOr<etcdserverpb::TxnResponse> AskAndBeat(const etcdserverpb::TxnRequest& question,
                                                       int64_t lease);
  // As an owner's key said at that revision, null = there was none.
  void Note(uint32_t partition, const etcdserverpb::KeyValue* key, int64_t as_of);

  EtcdClient& client_;
  const std::chrono::seconds lease_time_;
  const std::string node_, value_;
  const bool follows_all_;
  mutable std::mutex mutex_;  // guards what follows
  uint32_t partitions_ = 1;
  std::map<std::string, Other> alive_;  // by name, this one among them
  int64_t registered_ = 0;              // under which lease
  int64_t lease_ = 0;
  int64_t beats_under_ = 0;  // which lease
  std::map<uint32_t, Claim> claims_;
  std::map<std::string, Beat> beats_;  // by name
  bool answers_ = false;               // etcd did when it was last asked
  uint64_t term_ = 0;                  // of the leader that etcd was last known to have
  Stopwatch since_answering_;          // in this term
  Stopwatch since_confirmed_;
};

}  // namespace plumblane
