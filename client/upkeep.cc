#include "client/upkeep.h"

#include <absl/strings/str_cat.h>

#include <filesystem>
#include <string>

#include "client/show.h"
#include "client/text.h"

namespace plumblane::client {
namespace {

constexpr int kPatienceSeconds = 86'400;

std::string StepText(const v1::VerifyUpdate& update) {
  switch (update.step()) {
    case v1::VerifyUpdate::STEP_FILES:
      return "reading the files";
    case v1::VerifyUpdate::STEP_COMPARE:
      return "comparing";
    default:
      return absl::StrCat("counting orders: ", Thousands(update.checked_order_count()), " of ",
                          Thousands(update.order_count()));
  }
}

std::string ShowResult(const v1::VerifyResult& result, int width) {
  if (!result.difference().empty()) {
    return Wrapped(
        "What is stored is not what was told. First difference: " + result.difference() + ".",
        width);
  }
  return Wrapped(absl::StrCat("All is as it was told: ", Counted(result.order_count(), "order"),
                              ", from ", Counted(result.event_count(), "event"),
                              ", up to log entry ", Thousands(result.log_sequence()),
                              result.first_kept_sequence() == 1
                                  ? ". Applied again from the whole log."
                                  : ". Counted again from the orders, as the log is trimmed."),
                 width);
}

ExitCode RunVerify(const Invocation& invocation, const Connection& connection, const Io& io) {
  CallContext context(kPatienceSeconds);
  const auto stream = connection.operations()->Verify(&context, {});
  v1::VerifyUpdate update;
  v1::VerifyResult result;
  bool is_done = false;
  while (stream->Read(&update)) {
    is_done = update.has_result();
    if (is_done) result = update.result();
    if (io.err_is_terminal) {
      io.err << "\r\33[K" << (is_done ? "" : StepText(update)) << std::flush;
    }
  }
  grpc::Status status = stream->Finish();
  if (status.ok() && !is_done) {
    status = grpc::Status(grpc::StatusCode::INTERNAL, "the daemon ended without a result");
  }
  const ExitCode code = Print(status, result, ShowResult, invocation.json, connection, io);
  return code == kDone && !result.difference().empty() ? kFailed : code;
}

std::string ShowCopy(const v1::BackupResponse& copy, int width) {
  return Wrapped(
      absl::StrCat("Copy ", copy.number(), ": all up to log entry ", Thousands(copy.log_sequence()),
                   ", ", Thousands((copy.byte_count() + 1023) / 1024), " KiB; ",
                   Counted(copy.kept_count(), "copy", "copies"), " there now."),
      width);
}

ExitCode RunBackup(const Invocation& invocation, const Connection& connection, const Io& io) {
  std::error_code error;
  v1::BackupRequest request;
  request.set_directory(std::filesystem::absolute(invocation.backup.directory, error).string());
  request.set_keep_count(invocation.backup.keep);
  CallContext context(kPatienceSeconds);
  v1::BackupResponse copy;
  const grpc::Status status = connection.operations()->Backup(&context, request, &copy);
  return Print(status, copy, ShowCopy, invocation.json, connection, io);
}

}  // namespace

ExitCode RunUpkeep(const Invocation& invocation, const Connection& connection, const Io& io) {
  return invocation.verb == Verb::kVerify ? RunVerify(invocation, connection, io)
                                          : RunBackup(invocation, connection, io);
}

}  // namespace plumblane::client
