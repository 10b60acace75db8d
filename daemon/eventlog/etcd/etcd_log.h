// The log in etcd, for several daemons. Keys, under the prefix of the client:
//
//   id                        version of these keys, number of partitions, id of the log
//   tail/PPPP                 the last entry of a partition
//   log/PPPP/SEQUENCE         an entry, or the last piece of a long one; 16 digits
//   piece/PPPP/SEQUENCE/HASH/NNNN   the other pieces, written before it
//   owner/PPPP                who may append (etcd_ownership.h)
//   nodes/NODE, beat/NODE     who is there (likewise)
//   reader/PPPP/NODE          entries below this one are not needed there
//   copy/PPPP/NODE            up to which entry a copy that was read back holds all, and where to
//                             have it: SEQUENCE ADDRESS
//   cells4/PPPP/SEQUENCE      hash of the cells as of this entry, of the first to tell; of those
//                             that daemons of data format 4 store, as earlier ones have other bytes
//
// An entry: number of pieces before its last (big32), hash of all its bytes (big64), last piece.
//
// An append is one transaction that etcd makes only if the owner is still the one with this fence,
// the tail is the entry before, and nothing is at its place. So each number is given once, and an
// append whose answer is lost is made again: if it was there already, what stands there is
// compared.
#pragma once

#include <chrono>
#include <condition_variable>
#include <cstdint>
#include <map>
#include <mutex>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "base/stopwatch.h"
#include "eventlog/etcd/etcd_ownership.h"
#include "eventlog/event_log.h"

namespace plumblane {

struct EtcdLogOptions {
  std::string node;  // this daemon among the readers
  // How long an append asks what became of it before it is kUnknown; less once the lease has not
  // been confirmed for as long as it lasts, as by then another one may be the owner.
  std::chrono::milliseconds settle{10'000};
  // Of an entry in one transaction; etcd takes 1.5 MiB as it comes.
  size_t piece_bytes = 1 << 20;
  // A reader that has not been heard of for so long is waited for no more.
  std::chrono::seconds reader{86'400};
  // What was told of cells stays for so many entries longer than these: who is slow to count its
  // own compares them still.
  uint64_t cells_kept = 20'000;
};

class EtcdLog final : public EventLog {
 public:
  // Both must outlive it.
  EtcdLog(EtcdClient& client, EtcdOwnership& ownership, EtcdLogOptions options)
      : client_(client), ownership_(ownership), options_(std::move(options)) {}

  // The id of the log, "" = there is none yet. FAILED_PRECONDITION: made by a newer version.
  absl::StatusOr<std::string> Id();
  // How many it has, for good; 0 = there is no log yet.
  absl::StatusOr<uint32_t> Partitions();
  // Makes the log, unless there is one: with so many partitions, each as if `tail` entries had been
  // trimmed. `id` holds no space. The id of the log there is then.
  absl::StatusOr<std::string> Create(uint32_t partitions, uint64_t tail, const std::string& id);

  Appended Append(uint32_t partition, uint64_t sequence, std::string bytes) override;
  absl::StatusOr<std::vector<LogRecord>> Read(uint32_t partition, uint64_t from,
                                              size_t max_bytes) const override;
  absl::StatusOr<uint64_t> Tail(uint32_t partition) const override;
  // All partitions' are asked for at once, and who asks meanwhile is told the same.
  absl::StatusOr<Recent> RecentTail(uint32_t partition) const override;
  // The first entry of each of these that is still there; the tail plus one when none is.
  absl::StatusOr<std::vector<uint64_t>> First(const std::vector<uint32_t>& partitions) const;
  // What this reader needs no more; Keep does the rest.
  absl::Status Trim(uint32_t partition, uint64_t below) override;
  void Leave(uint32_t partition) override;
  bool KeepsStoreDurable() const override { return false; }

  // A copy of what was applied, elsewhere than in the store: as of that entry, on the disk and read
  // back. Entries that no copy holds stay.
  struct Copy {
    uint64_t sequence = 0;
    std::string node, address;  // of the daemon that gives it to others
  };
  // That this daemon keeps one, instead of an earlier one. Keep does the rest.
  void TellCopy(uint32_t partition, uint64_t sequence, const std::string& address);
  // By partition, the latest first.
  absl::StatusOr<std::map<uint32_t, std::vector<Copy>>> Copies() const;

  // Whether the cells of this daemon as of that entry are those of the daemon that told first.
  // DATA_LOSS: they are not. FAILED_PRECONDITION: too late, what was told of it is removed.
  absl::Status CompareCells(uint32_t partition, uint64_t sequence, uint64_t hash);

  // Tells what was trimmed and copied here, and where this daemon is the owner removes what no
  // reader needs and some copy holds, with etcd's own memory of it; but nothing of what it alone of
  // several daemons has, which would be gone with it. To be called now and then by
  // one thread. RESOURCE_EXHAUSTED: etcd has no room; what could be removed was.
  absl::Status Keep();

 private:
  struct Bounds {
    uint64_t first = 0, tail = 0;
  };
  struct Identity {
    std::string id;
    uint32_t partitions = 0;
  };
  absl::StatusOr<Identity> Identify();
  absl::StatusOr<std::map<uint32_t, uint64_t>> AskTails() const;
  // By partition, in the answer to a Range of them.
  static absl::StatusOr<std::map<uint32_t, uint64_t>> TailsIn(
      const etcdserverpb::TxnResponse& response, int index);
  static constexpr char kCellsPlace[] = "cells4";
  std::string Place(const char* kind, uint32_t partition) const;  // ends with a slash
  std::string EntryKey(uint32_t partition, uint64_t sequence) const;
  std::string PiecesPrefix(uint32_t partition, uint64_t sequence, uint64_t hash) const;
  std::string TailKey(uint32_t partition) const;
  // The operations that BoundsIn reads the answers of, from `index` on.
  void AskBounds(uint32_t partition, etcdserverpb::TxnRequest& txn) const;
  absl::StatusOr<Bounds> BoundsIn(const etcdserverpb::TxnResponse& response, int index) const;
  // Likewise of these partitions, one after the other.
  void AskAllBounds(const std::vector<uint32_t>& partitions, etcdserverpb::TxnRequest& txn) const;
  absl::StatusOr<std::vector<Bounds>> AllBoundsIn(const etcdserverpb::TxnResponse& response,
                                                  int index,
                                                  const std::vector<uint32_t>& partitions) const;
  // Makes a transaction whose failure says first what is at `key`, next to `value`.
  Appended Settle(uint32_t partition, const etcdserverpb::TxnRequest& txn,
                  const std::string& value) const;
  absl::StatusOr<std::string> Whole(uint32_t partition, uint64_t sequence,
                                    const std::string& value) const;
  // What stands at keys that go when this daemon has not been heard of for long; "" = nothing.
  absl::Status Tell(const std::map<std::string, std::string>& values);
  // Entries of a partition below that; the revision, 0 = it is another's.
  absl::StatusOr<int64_t> Remove(uint32_t partition, uint64_t below);

  EtcdClient& client_;
  EtcdOwnership& ownership_;
  const EtcdLogOptions options_;
  mutable std::mutex mutex_;
  struct Standing {
    uint64_t unneeded_below = 0, copied = 0;
    std::string copy;  // what is told of it
    bool left = false;
  };
  std::map<uint32_t, Standing> standings_;  // guarded by mutex_
  struct KnownTails {
    std::map<uint32_t, uint64_t> tails;
    absl::Status status;
    Stopwatch since;  // they were asked for
  };
  mutable std::mutex tails_mutex_;
  mutable std::condition_variable tails_known_;
  mutable std::optional<KnownTails> recent_;  // guarded by tails_mutex_
  mutable bool asking_ = false;               // guarded by tails_mutex_
  mutable uint64_t rounds_ = 0;               // guarded by tails_mutex_
  // The thread's that calls Keep.
  std::map<std::string, std::string> told_;
  int64_t lease_ = 0, compacted_ = 0;
};

}  // namespace plumblane
