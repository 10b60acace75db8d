#include "service/peers.h"

#include <absl/strings/str_cat.h>
#include <grpc/support/time.h>

#include <atomic>
#include <chrono>
#include <optional>

#include "engine/records.h"
#include "service/paced_stream.h"
#include "service/status.h"

namespace plumblane {
namespace {

// A busy owner answers later than an idle one; one that is gone is found out about by its lease.
constexpr std::chrono::seconds kPatience{30};
constexpr size_t kPieceBytes = 256 << 10;

void Write(const Receipt& receipt, peer::v1::PartReceipt* out) {
  if (!receipt.status.ok()) {
    out->set_code(receipt.status.raw_code());
    out->set_message(std::string(receipt.status.message()));
    return;
  }
  out->set_log_sequence(static_cast<int64_t>(receipt.log_sequence));
  for (size_t i = 0; i < receipt.fates.size(); ++i) {
    const EventFate& fate = receipt.fates[i];
    out->mutable_fates()->push_back(static_cast<char>(fate.kind));
    if (fate.message.empty()) continue;
    peer::v1::PartReceipt::Remark* remark = out->add_remarks();
    remark->set_index(static_cast<int>(i));
    remark->set_message(fate.message);
  }
  out->set_order_delta(receipt.standing.orders);
  out->set_waiting_delta(receipt.standing.waiting);
  out->set_unpromised_delta(receipt.standing.unpromised);
  out->mutable_send_numbers()->Assign(receipt.sends.begin(), receipt.sends.end());
}

Receipt Failed(const std::string& address, int code, const std::string& why) {
  const std::string text =
      absl::StrCat("the daemon at ", address, ": ", why, "; send again: repeats change nothing");
  // What has no room there is refused as it would be here; all else may or may not have happened.
  const bool has_no_room = code == grpc::RESOURCE_EXHAUSTED;
  return {
      has_no_room ? absl::ResourceExhaustedError(text) : absl::UnavailableError(text), 0, {}, {}};
}

Receipt Read(const peer::v1::PartReceipt& in, size_t events, const std::string& address) {
  if (in.code() != 0) return Failed(address, in.code(), in.message());
  const Receipt unreadable = Failed(address, 0, "its answer cannot be read");
  if (in.fates().size() != events) return unreadable;
  Receipt receipt;
  receipt.log_sequence = static_cast<uint64_t>(in.log_sequence());
  for (const char kind : in.fates()) {
    if (kind < 0 || kind > static_cast<char>(EventFate::Kind::kNotKept)) return unreadable;
    receipt.fates.push_back({static_cast<EventFate::Kind>(kind), {}});
  }
  for (const auto& remark : in.remarks()) {
    if (remark.index() < 0 || static_cast<size_t>(remark.index()) >= events) return unreadable;
    receipt.fates[static_cast<size_t>(remark.index())].message = remark.message();
  }
  receipt.standing = {in.order_delta(), in.waiting_delta(), in.unpromised_delta()};
  receipt.sends.assign(in.send_numbers().begin(), in.send_numbers().end());
  return receipt;
}

}  // namespace

grpc::ServerUnaryReactor* PeersService::TakeParts(grpc::CallbackServerContext* context,
                                                  const peer::v1::TakePartsRequest* request,
                                                  peer::v1::TakePartsResponse* response) {
  grpc::ServerUnaryReactor* reactor = context->DefaultReactor();
  std::vector<Submission> contents;
  for (const peer::v1::Part& part : request->parts()) {
    auto entry = DecodeLogEntry(part.content());
    if (!entry.ok() || entry->content.empty()) {
      reactor->Finish({grpc::INVALID_ARGUMENT, "content: expected entries of the log"});
      return reactor;
    }
    contents.push_back(std::move(entry->content));
    response->add_receipts();
  }
  // One more for this thread, so that nothing is finished while parts are still being handed in.
  const auto left = std::make_shared<std::atomic<int>>(request->parts_size() + 1);
  const auto done = [left, reactor] {
    if (--*left == 0) reactor->Finish(grpc::Status::OK);
  };
  for (int i = 0; i < request->parts_size(); ++i) {
    peer::v1::PartReceipt* out = response->mutable_receipts(i);
    take_(request->parts(i).partition(), std::move(contents[static_cast<size_t>(i)]),
          [out, done](const Receipt& receipt) {
            Write(receipt, out);
            done();
          });
  }
  done();
  return reactor;
}

grpc::ServerWriteReactor<peer::v1::CopyPiece>* PeersService::ReadCopy(
    grpc::CallbackServerContext* /*context*/, const peer::v1::ReadCopyRequest* /*request*/) {
  auto* stream = new PacedStream<peer::v1::CopyPiece>;
  const auto status =
      std::make_shared<absl::Status>(absl::NotFoundError("no copies are kept here"));
  const auto work = [this, status, stream] {
    if (!read_) return;
    *status = read_([stream](const std::string& file, std::string bytes) {
      peer::v1::CopyPiece piece;
      piece.set_file(file);
      piece.set_content(std::move(bytes));
      return stream->Send(std::move(piece));
    });
  };
  if (!reading_.Start(work, [status, stream] { stream->Finish(ToGrpc(*status)); })) {
    stream->Finish({grpc::RESOURCE_EXHAUSTED, "another daemon reads the copy; ask again later"});
  }
  return stream;
}

grpc::ServerWriteReactor<peer::v1::PartitionPiece>* PeersService::ReadPartition(
    grpc::CallbackServerContext* /*context*/, const peer::v1::ReadPartitionRequest* request) {
  auto* stream = new PacedStream<peer::v1::PartitionPiece>;
  const auto status = std::make_shared<absl::Status>(absl::NotFoundError("no partitions are here"));
  const auto work = [this, status, stream, partition = request->partition()] {
    if (!read_state_) return;
    peer::v1::PartitionPiece piece;
    size_t bytes = 0;
    *status = read_state_(partition, [&](Space space, std::string_view key, auto value) {
      auto* record = piece.add_records();
      record->set_space(static_cast<int>(space));
      record->set_key(std::string(key));
      record->set_value(std::string(value));
      bytes += key.size() + value.size();
      if (bytes < kPieceBytes) return true;
      bytes = 0;
      return stream->Send(std::exchange(piece, {}));
    });
    if (status->ok() && piece.records_size() > 0) stream->Send(std::move(piece));
  };
  if (!reading_state_.Start(work, [status, stream] { stream->Finish(ToGrpc(*status)); })) {
    stream->Finish({grpc::RESOURCE_EXHAUSTED, "another daemon reads a partition; ask again later"});
  }
  return stream;
}

absl::Status FetchPartition(const std::shared_ptr<grpc::Channel>& channel, const std::string& token,
                            uint32_t partition, ArrivingState& arriving) {
  grpc::ClientContext context;
  if (!token.empty()) context.AddMetadata("authorization", "Bearer " + token);
  peer::v1::ReadPartitionRequest request;
  request.set_partition(partition);
  const auto stream = peer::v1::Peers::NewStub(channel)->ReadPartition(&context, request);
  absl::Status taken = arriving.Restart();
  for (peer::v1::PartitionPiece piece; taken.ok() && stream->Read(&piece);) {
    for (peer::v1::PartitionPiece::Record& record : *piece.mutable_records()) {
      if (record.space() < 0 || record.space() >= kSpaceCount) {
        taken = absl::DataLossError("a record of a partition cannot be read");
      }
      if (!taken.ok()) break;
      taken = arriving.Put(static_cast<Space>(record.space()), std::move(*record.mutable_key()),
                           std::move(*record.mutable_value()));
    }
  }
  if (!taken.ok()) context.TryCancel();
  const grpc::Status status = stream->Finish();
  if (!taken.ok()) return taken;
  return absl::Status(static_cast<absl::StatusCode>(status.error_code()), status.error_message());
}

absl::Status FetchCopy(const std::shared_ptr<grpc::Channel>& channel, const std::string& token,
                       const TakeCopyPiece& take) {
  grpc::ClientContext context;
  if (!token.empty()) context.AddMetadata("authorization", "Bearer " + token);
  const auto stream = peer::v1::Peers::NewStub(channel)->ReadCopy(&context, {});
  bool is_wanted = true;
  for (peer::v1::CopyPiece piece; is_wanted && stream->Read(&piece);) {
    is_wanted = take(piece.file(), std::move(*piece.mutable_content()));
  }
  if (!is_wanted) context.TryCancel();
  const grpc::Status status = stream->Finish();
  return absl::Status(static_cast<absl::StatusCode>(status.error_code()), status.error_message());
}

struct Peers::Call {
  std::string address;
  std::vector<size_t> events;  // of each part
  grpc::ClientContext context;
  peer::v1::TakePartsRequest request;
  peer::v1::TakePartsResponse response;
  Answers answers;
};

void Peers::Submit(const std::string& address, std::span<const PartOfSubmission* const> parts,
                   Answers answers) {
  auto call = std::make_shared<Call>();
  call->address = address;
  for (const PartOfSubmission* part : parts) {
    call->events.push_back(part->content.events.size());
    peer::v1::Part* out = call->request.add_parts();
    out->set_partition(part->partition);
    out->set_content(EncodeLogEntry(Instant{0}, part->content));
  }
  call->answers = std::move(answers);
  if (!token_.empty()) call->context.AddMetadata("authorization", absl::StrCat("Bearer ", token_));
  bool is_stopped = false, is_made = false;
  {
    const std::lock_guard lock(mutex_);
    is_stopped = stopped_;
    if (!is_stopped) {
      calls_.insert(call);
      Peer& peer = peers_[address];
      if (!peer.stub) {
        peer.stub = peer::v1::Peers::NewStub(dial_(address));
      }
      is_made = peer.open < kMostCalls;
      if (is_made) {
        ++peer.open;
      } else {
        peer.waiting.push_back(call);
      }
    }
  }
  if (is_stopped) {
    const Receipt stopping{absl::UnavailableError("the daemon is stopping"), 0, {}, {}};
    return call->answers(std::vector<Receipt>(parts.size(), stopping));
  }
  if (is_made) Make(call);
}

void Peers::Make(const std::shared_ptr<Call>& call) {
  peer::v1::Peers::Stub* stub = nullptr;
  {
    const std::lock_guard lock(mutex_);
    stub = peers_.at(call->address).stub.get();
  }
  call->context.set_deadline(gpr_time_from_seconds(kPatience.count(), GPR_TIMESPAN));
  stub->async()->TakeParts(&call->context, &call->request, &call->response,
                           [this, call](const grpc::Status& status) { Finish(call, status); });
}

void Peers::Finish(const std::shared_ptr<Call>& call, const grpc::Status& status) {
  std::vector<Receipt> receipts;
  for (size_t i = 0; i < call->events.size(); ++i) {
    if (!status.ok()) {
      receipts.push_back(Failed(call->address, status.error_code(), status.error_message()));
    } else if (static_cast<size_t>(call->response.receipts_size()) != call->events.size()) {
      receipts.push_back(Failed(call->address, 0, "its answer cannot be read"));
    } else {
      receipts.push_back(
          Read(call->response.receipts(static_cast<int>(i)), call->events[i], call->address));
    }
  }
  call->answers(receipts);
  std::shared_ptr<Call> next;
  {
    const std::lock_guard lock(mutex_);
    Peer& peer = peers_.at(call->address);
    if (peer.waiting.empty()) {
      --peer.open;
    } else {
      next = peer.waiting.front();
      peer.waiting.pop_front();
    }
    calls_.erase(call);
    finished_.notify_all();
  }
  if (next) Make(next);
}

void Peers::Stop() {
  std::unique_lock lock(mutex_);
  stopped_ = true;
  for (const auto& call : calls_) call->context.TryCancel();
  finished_.wait(lock, [this] { return calls_.empty(); });
}

}  // namespace plumblane
