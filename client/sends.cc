#include "client/sends.h"

#include <absl/strings/str_cat.h>
#include <unistd.h>

#include <string>

#include "client/ask.h"
#include "client/paging.h"
#include "client/show.h"
#include "client/show_sends.h"
#include "client/text.h"

namespace plumblane::client {
namespace {

constexpr int kShown = 20;
constexpr int kUndoPatienceSeconds = 3600;

ExitCode RunList(const Invocation& invocation, const Connection& connection, const Io& io) {
  v1::ListSendsResponse all;
  grpc::Status status;
  if (invocation.sends.all) {
    status = ListAll(connection.intake(), &v1::Intake::Stub::ListSends,
                     &v1::ListSendsResponse::mutable_sends, v1::ListSendsRequest(), all);
  } else {
    v1::ListSendsRequest request;
    request.set_page_size(kShown);
    CallContext context;
    status = connection.intake()->ListSends(&context, request, &all);
  }
  return Print(status, all, ShowSends, invocation.json, connection, io);
}

grpc::Status Ask(const Connection& connection, int64_t number, bool validate_only,
                 v1::UndoSendResponse& response) {
  v1::UndoSendRequest request;
  request.set_send_number(number);
  request.set_validate_only(validate_only);
  CallContext context(kUndoPatienceSeconds);
  return connection.intake()->UndoSend(&context, request, &response);
}

ExitCode RunUndo(const Invocation& invocation, const Connection& connection, const Io& io) {
  const int64_t number = invocation.sends.number;
  const bool can_ask = isatty(io.in_fd) == 1;
  v1::UndoSendResponse effect;
  if (grpc::Status status = Ask(connection, number, true, effect); !status.ok()) {
    return Fail(status, connection, io);
  }
  if (!invocation.sends.yes && (!can_ask || invocation.json)) {
    if (const ExitCode code =
            Print(grpc::Status::OK, effect, ShowUndoEffect, invocation.json, connection, io);
        code != kDone) {
      return code;
    }
    io.err << "nothing was changed: this is what it would do, and nobody can be asked here; say "
              "--yes to do it\n";
    return kUsage;
  }
  if (!invocation.json) io.out << ShowUndoEffect(effect, io.width) << std::flush;
  if (!invocation.sends.yes) {
    io.err << "take it back? [yes/no] " << std::flush;
    if (!IsYes(io.in_fd)) {
      io.err << "nothing was changed\n";
      return kFailed;
    }
  }
  v1::UndoSendResponse done;
  const grpc::Status status = Ask(connection, number, false, done);
  if (status.ok() && invocation.json) *done.mutable_effect() = effect.effect();
  return Print(status, done, ShowUndone, invocation.json, connection, io);
}

}  // namespace

ExitCode RunSends(const Invocation& invocation, const Connection& connection, const Io& io) {
  return invocation.verb == Verb::kSendsUndo ? RunUndo(invocation, connection, io)
                                             : RunList(invocation, connection, io);
}

}  // namespace plumblane::client
