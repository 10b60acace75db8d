// What all screens share: JSON, failures, and the line that says what the figures hold for.
#pragma once

#include <google/protobuf/message.h>
#include <grpcpp/support/status.h>

#include <string>
#include <utility>
#include <vector>

#include "client/connection.h"
#include "client/io.h"
#include "plumblane/v1/scores.pb.h"

namespace plumblane::client {

// The message as ProtoJSON, fields without presence always written; "" when it cannot be written.
std::string JsonText(const google::protobuf::Message& message);

// The same, printed.
void PrintJson(const google::protobuf::Message& message, const Io& io);

// The same on one line, for answers that never end.
void PrintJsonLine(const google::protobuf::Message& message, const Io& io);

// Several as one object on several lines, under these names.
void PrintJsonObject(
    const std::vector<std::pair<std::string, const google::protobuf::Message*>>& members,
    const Io& io);

// Says why a call failed. REQUIRES: !status.ok().
ExitCode Fail(const grpc::Status& status, const Connection& connection, const Io& io);

// What became of a call: its answer as JSON or as `show`(answer, width) puts it, else why it
// failed.
template <typename Answer, typename Show>
ExitCode Print(const grpc::Status& status, const Answer& answer, Show show, bool json,
               const Connection& connection, const Io& io) {
  if (!status.ok()) return Fail(status, connection, io);
  if (json) {
    PrintJson(answer, io);
  } else {
    io.out << show(answer, io.width);
  }
  return kDone;
}

// "no quotes for lotus-works, DE": nothing is there of what was asked for; empty texts were not
// asked. "" when nothing narrowed the question.
std::string NoneFor(const std::string& noun, const std::vector<std::string>& asked);

// "older orders count half after 45 days; delivery news up to 2026-09-28; as of 2026-10-01". Parts
// that the message does not state are left out.
template <typename Answer>
std::string HoldsFor(const Answer& answer);

// `text` broken into lines of at most `width` columns, the second and further ones indented. A
// percent sign stays with its number.
std::string Wrapped(const std::string& text, int width, int indent = 0);

// "  label    value": one fact of a screen, its value from column `label_width` + 2 on and broken
// there when the line is wider than `width`.
std::string DetailLine(const std::string& label, const std::string& value, int label_width,
                       int width);

}  // namespace plumblane::client
