#include "eventlog/etcd/etcd_log.h"

#include <absl/strings/numbers.h>
#include <absl/strings/str_cat.h>
#include <absl/strings/str_split.h>
#include <spdlog/spdlog.h>

#include <algorithm>
#include <utility>

#include "base/hash.h"
#include "base/stop_event.h"
#include "eventlog/etcd/txn.h"
#include "storage/bytes.h"
#include "storage/prefix_end.h"

namespace plumblane {
namespace {

using etcdserverpb::TxnRequest;
using etcdserverpb::TxnResponse;

constexpr int kVersion = 1;
constexpr int64_t kEntriesAtATime = 16;
constexpr std::chrono::milliseconds kAskAgain{50};
constexpr size_t kHeadBytes = 12;
// Tails are asked for again after so long.
constexpr std::chrono::milliseconds kFresh{40};

uint64_t HashOf(std::string_view bytes) {
  StableHash hash;
  hash.Text(bytes);
  return hash.value();
}

}  // namespace

std::string EtcdLog::Place(const char* kind, uint32_t partition) const {
  return client_.Key(absl::StrCat(kind, "/", absl::Dec(partition, absl::kZeroPad4), "/"));
}
std::string EtcdLog::EntryKey(uint32_t partition, uint64_t sequence) const {
  return Place("log", partition) + Padded(sequence);
}
std::string EtcdLog::PiecesPrefix(uint32_t partition, uint64_t sequence, uint64_t hash) const {
  return absl::StrCat(Place("piece", partition), Padded(sequence), "/",
                      absl::Hex(hash, absl::kZeroPad16), "/");
}
std::string EtcdLog::TailKey(uint32_t partition) const {
  return client_.Key(absl::StrCat("tail/", absl::Dec(partition, absl::kZeroPad4)));
}

absl::StatusOr<std::string> EtcdLog::Id() {
  auto identity = Identify();
  if (!identity.ok()) return identity.status();
  return std::move(identity->id);
}

absl::StatusOr<uint32_t> EtcdLog::Partitions() {
  const auto identity = Identify();
  if (!identity.ok()) return identity.status();
  return identity->partitions;
}

absl::StatusOr<EtcdLog::Identity> EtcdLog::Identify() {
  TxnRequest txn;
  *txn.add_success() = Range(client_.Key("id"));
  const auto response = client_.Ask(txn);
  if (!response.ok()) return response.status();
  const auto* kept = Only(*response, 0);
  if (kept == nullptr) return Identity();
  const std::vector<std::string> words = absl::StrSplit(kept->value(), ' ');
  Identity identity;
  if (words.size() != 3 || words[0] != absl::StrCat(kVersion) ||
      !absl::SimpleAtoi(words[1], &identity.partitions)) {
    return absl::FailedPreconditionError(
        absl::StrCat("the log in etcd says of itself \"", kept->value(),
                     "\"; this plumblaned reads version ", kVersion, " only"));
  }
  identity.id = words[2];
  return identity;
}

absl::StatusOr<std::string> EtcdLog::Create(uint32_t partitions, uint64_t tail,
                                            const std::string& id) {
  TxnRequest txn;
  RequireAbsent(txn, client_.Key("id"));
  Put(txn, client_.Key("id"), absl::StrCat(kVersion, " ", partitions, " ", id));
  for (uint32_t partition = 0; partition < partitions; ++partition) {
    Put(txn, TailKey(partition), absl::StrCat(tail));
  }
  const auto response = client_.Txn(txn);
  if (!response.ok() && !absl::IsUnavailable(response.status())) return response.status();
  return Id();
}

Appended EtcdLog::Append(uint32_t partition, uint64_t sequence, std::string bytes) {
  const int64_t fence = ownership_.Fence(partition);
  if (fence == 0) return Appended::kFenced;
  const uint64_t hash = HashOf(bytes);
  const std::string owner = ownership_.OwnerKey(partition);
  uint32_t pieces = 0;
  std::string_view rest = bytes;
  for (; rest.size() > options_.piece_bytes; rest.remove_prefix(options_.piece_bytes), ++pieces) {
    const std::string key =
        absl::StrCat(PiecesPrefix(partition, sequence, hash), absl::Dec(pieces, absl::kZeroPad4));
    TxnRequest txn;
    RequireRevision(txn, owner, fence);
    Put(txn, key, std::string(rest.substr(0, options_.piece_bytes)));
    // Written twice it is the same; what stands there does not matter to who may not write it.
    if (const Appended written = Settle(partition, txn, ""); written != Appended::kDurable)
      return written;
  }
  ByteWriter value(kHeadBytes + rest.size());
  value.Big(pieces, 4);
  value.Big(hash, 8);
  value.Raw(rest);
  std::string entry = value.Take();
  const std::string key = EntryKey(partition, sequence);
  TxnRequest txn;
  RequireAbsent(txn, key);
  RequireRevision(txn, owner, fence);
  RequireValue(txn, TailKey(partition), absl::StrCat(sequence - 1));
  Put(txn, key, entry);
  Put(txn, TailKey(partition), absl::StrCat(sequence));
  *txn.add_failure() = Range(key);
  return Settle(partition, txn, entry);
}

Appended EtcdLog::Settle(uint32_t partition, const TxnRequest& txn,
                         const std::string& value) const {
  const Stopwatch since;
  for (bool is_first = true;; is_first = false) {
    const auto response = client_.Txn(txn);
    if (response.ok()) {
      if (response->succeeded()) return Appended::kDurable;
      const auto* there = txn.failure_size() == 0 ? nullptr : Only(*response, 0);
      return there != nullptr && there->value() == value ? Appended::kDurable : Appended::kFenced;
    }
    if (absl::IsResourceExhausted(response.status()) && is_first) {
      spdlog::error("the log is full: {}", std::string(response.status().message()));
      if (txn.failure_size() == 0) return Appended::kFull;
      // What takes the last of the room etcd writes, and says the same of it.
      TxnRequest look;
      *look.mutable_success() = txn.failure();
      const auto found = client_.Ask(look);
      if (!found.ok()) return Appended::kUnknown;
      const auto* there = Only(*found, 0);
      return there != nullptr && there->value() == value ? Appended::kDurable : Appended::kFull;
    }
    if (!absl::IsUnavailable(response.status()) || ownership_.Fence(partition) == 0 ||
        since.Seconds() * 1000 > static_cast<double>(options_.settle.count())) {
      spdlog::error("an append has an unknown outcome: {}",
                    std::string(response.status().message()));
      return Appended::kUnknown;
    }
    StopEvent().WaitFor(kAskAgain);
  }
}

void EtcdLog::AskBounds(uint32_t partition, TxnRequest& txn) const {
  *txn.add_success() = Range(TailKey(partition));
  const std::string entries = Place("log", partition);
  *txn.add_success() = FirstKey(entries, EndOfPrefix(entries));
}

absl::StatusOr<EtcdLog::Bounds> EtcdLog::BoundsIn(const TxnResponse& response, int index) const {
  const auto* tail_key = Only(response, index);
  if (tail_key == nullptr) {
    return absl::DataLossError("the log is not in etcd any more: was etcd made anew?");
  }
  const auto tail = NumberIn(tail_key->value(), "the tail");
  if (!tail.ok()) return tail.status();
  const auto* first_key = Only(response, index + 1);
  if (first_key == nullptr) return Bounds{*tail + 1, *tail};
  const auto first = NumberIn(first_key->key(), "an entry");
  if (!first.ok()) return first.status();
  return Bounds{*first, *tail};
}

absl::StatusOr<uint64_t> EtcdLog::Tail(uint32_t partition) const {
  TxnRequest txn;
  AskBounds(partition, txn);
  const auto response = client_.Ask(txn);
  if (!response.ok()) return response.status();
  const auto bounds = BoundsIn(*response, 0);
  if (!bounds.ok()) return bounds.status();
  return bounds->tail;
}

absl::StatusOr<std::map<uint32_t, uint64_t>> EtcdLog::AskTails() const {
  TxnRequest txn;
  const std::string tails = client_.Key("tail/");
  *txn.add_success() = Range(tails, EndOfPrefix(tails));
  const auto response = client_.Ask(txn);
  if (!response.ok()) return response.status();
  return TailsIn(*response, 0);
}

absl::StatusOr<std::map<uint32_t, uint64_t>> EtcdLog::TailsIn(const TxnResponse& response,
                                                              int index) {
  std::map<uint32_t, uint64_t> known;
  for (const etcdserverpb::KeyValue& kv : response.responses(index).response_range().kvs()) {
    const auto partition = NumberIn(kv.key(), "a partition");
    const auto tail = NumberIn(kv.value(), "the tail");
    if (!partition.ok()) return partition.status();
    if (!tail.ok()) return tail.status();
    known[static_cast<uint32_t>(*partition)] = *tail;
  }
  return known;
}

absl::StatusOr<EventLog::Recent> EtcdLog::RecentTail(uint32_t partition) const {
  std::unique_lock lock(tails_mutex_);
  const auto is_fresh = [this] {
    return recent_ && recent_->since.Seconds() * 1000 < static_cast<double>(kFresh.count());
  };
  if (!is_fresh() && asking_) {
    tails_known_.wait(lock, [this, round = rounds_] { return rounds_ != round; });
  } else if (!is_fresh()) {
    asking_ = true;
    lock.unlock();
    KnownTails known;
    auto tails = AskTails();
    known.status = tails.status();
    if (tails.ok()) known.tails = *std::move(tails);
    lock.lock();
    recent_ = std::move(known);
    asking_ = false;
    ++rounds_;
    tails_known_.notify_all();
  }
  if (!recent_->status.ok()) return recent_->status;
  const auto tail = recent_->tails.find(partition);
  if (tail == recent_->tails.end()) {
    return absl::DataLossError("the log is not in etcd any more: was etcd made anew?");
  }
  return Recent{tail->second, std::chrono::milliseconds(
                                  static_cast<int64_t>(recent_->since.Seconds() * 1000) + 1)};
}

absl::StatusOr<std::vector<LogRecord>> EtcdLog::Read(uint32_t partition, uint64_t from,
                                                     size_t max_bytes) const {
  std::vector<LogRecord> records;
  size_t bytes = 0;
  uint64_t next = from;
  for (;;) {
    TxnRequest txn;
    AskBounds(partition, txn);
    *txn.add_success() =
        Range(EntryKey(partition, next), EndOfPrefix(Place("log", partition)), kEntriesAtATime);
    const auto response = client_.Ask(txn);
    if (!response.ok()) return response.status();
    const auto bounds = BoundsIn(*response, 0);
    if (!bounds.ok()) return bounds.status();
    if (next < bounds->first) {
      if (!records.empty()) return records;
      return absl::OutOfRangeError(
          absl::StrCat("the log starts at ", bounds->first, ", not at ", next));
    }
    const uint64_t before = next;
    for (const auto& kv : response->responses(2).response_range().kvs()) {
      const auto sequence = NumberIn(kv.key(), "an entry");
      if (!sequence.ok()) return sequence.status();
      if (*sequence != next) break;  // the next read says so
      auto whole = Whole(partition, next, kv.value());
      if (!whole.ok()) return whole.status();
      if (!records.empty() && bytes + whole->size() > max_bytes) return records;
      bytes += whole->size();
      records.push_back({next++, *std::move(whole)});
    }
    if (next > bounds->tail || bytes >= max_bytes) return records;
    if (next > before) continue;
    if (!records.empty()) return records;
    return absl::DataLossError(absl::StrCat("log entry ", next, " is missing"));
  }
}

absl::StatusOr<std::string> EtcdLog::Whole(uint32_t partition, uint64_t sequence,
                                           const std::string& value) const {
  const auto damaged = [&] {
    return absl::DataLossError(absl::StrCat("log entry ", sequence, " is damaged"));
  };
  if (value.size() < kHeadBytes) return damaged();
  ByteReader head(value);
  const uint64_t pieces = head.Big(4), hash = head.Big(8);
  std::string whole;
  if (pieces > 0) {
    const std::string prefix = PiecesPrefix(partition, sequence, hash);
    for (uint64_t piece = 0; piece < pieces; ++piece) {
      TxnRequest txn;
      *txn.add_success() = Range(absl::StrCat(prefix, absl::Dec(piece, absl::kZeroPad4)));
      const auto response = client_.Ask(txn);
      if (!response.ok()) return response.status();
      const auto* kept = Only(*response, 0);
      if (kept == nullptr) return damaged();
      whole += kept->value();
    }
  }
  whole += std::string_view(value).substr(kHeadBytes);
  if (HashOf(whole) != hash) return damaged();
  return whole;
}

absl::Status EtcdLog::CompareCells(uint32_t partition, uint64_t sequence, uint64_t hash) {
  const std::string key = Place(kCellsPlace, partition) + Padded(sequence);
  const std::string told = absl::StrCat(absl::Hex(hash, absl::kZeroPad16));
  TxnRequest txn;
  RequireAbsent(txn, key);
  Put(txn, key, told);
  AskBounds(partition, txn);
  *txn.add_failure() = Range(key);
  const auto response = client_.Ask(txn);  // the same again changes nothing
  if (!response.ok()) return response.status();
  if (response->succeeded()) {
    const auto bounds = BoundsIn(*response, 1);
    if (!bounds.ok()) return bounds.status();
    if (sequence + options_.cells_kept >= bounds->first) return absl::OkStatus();
    return absl::FailedPreconditionError(
        absl::StrCat("what other daemons told of theirs as of log entry ", sequence,
                     " is no longer in etcd, as the log starts at ", bounds->first));
  }
  if (Only(*response, 0)->value() == told) return absl::OkStatus();
  return absl::DataLossError(
      absl::StrCat("the cells as of log entry ", sequence, " differ from those of another daemon (",
                   told, ", ", Only(*response, 0)->value(),
                   "): the data here or there is wrong. plumblaned --verify on "
                   "each says which"));
}

}  // namespace plumblane
