#include "service/peer_service.h"

#include "service/paced_stream.h"
#include "service/status.h"

namespace plumblane {

grpc::ServerWriteReactor<v1::CopyPiece>* PeersService::ReadCopy(
    grpc::CallbackServerContext* /*context*/, const v1::ReadCopyRequest* /*request*/) {
  auto* stream = new PacedStream<v1::CopyPiece>;
  const auto status =
      std::make_shared<absl::Status>(absl::NotFoundError("no copies are kept here"));
  const auto work = [this, status, stream] {
    if (!read_) return;
    *status = read_([stream](const std::string& file, std::string bytes) {
      v1::CopyPiece piece;
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

absl::Status FetchCopy(const std::shared_ptr<grpc::Channel>& channel, const std::string& token,
                       const TakeCopyPiece& take) {
  grpc::ClientContext context;
  if (!token.empty()) context.AddMetadata("authorization", "Bearer " + token);
  const auto stream = v1::Peers::NewStub(channel)->ReadCopy(&context, {});
  bool is_wanted = true;
  for (v1::CopyPiece piece; is_wanted && stream->Read(&piece);) {
    is_wanted = take(piece.file(), std::move(*piece.mutable_content()));
  }
  if (!is_wanted) context.TryCancel();
  const grpc::Status status = stream->Finish();
  return absl::Status(static_cast<absl::StatusCode>(status.error_code()), status.error_message());
}

}  // namespace plumblane
