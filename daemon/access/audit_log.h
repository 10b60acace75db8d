// What operators and buyers did: a line of JSON each, appended to a file.
//
// {"time":"2026-03-05T14:00:00.123Z","who":"anna","peer":"ipv4:192.0.2.7:50123",
//  "action":"/plumblane.v1.Intake/UndoSend","request":{...},"outcome":"OK"}
//
// `who` is the name of the token, or "local". A request of more than 4 KiB is told by its size
// alone, one to erase something not at all, nor the words of its answer. Tokens stand in none.
// `outcome` is the code of the answer's status, with "message" when it is not OK, or "REFUSED" for
// a call that was not let in. A line is on the disk before its answer leaves. A file of its own,
// because a log is kept shorter, read by more, and written later than this must be.
#pragma once

#include <google/protobuf/message.h>
#include <grpcpp/support/status.h>

#include <memory>
#include <mutex>
#include <string>
#include <vector>

#include "base/clock.h"

namespace grpc::experimental {
class ServerInterceptorFactoryInterface;
}

namespace plumblane {

class Gate;

// Thread-safe.
class AuditLog {
 public:
  // Opens the file for appending, made with rights 0600. What cannot be written is logged, once
  // until it works again; calls go on. `clock` must outlive this.
  AuditLog(std::string path, const Clock& clock);
  ~AuditLog();
  AuditLog(const AuditLog&) = delete;
  AuditLog& operator=(const AuditLog&) = delete;

  struct Entry {
    std::string who, peer, action;
    std::string request;  // JSON, "" = none
  };
  static std::string Describe(const google::protobuf::Message& request);
  void Write(const Entry& entry, const grpc::Status& outcome);

  // Opens the file anew, after something else has moved it away.
  void Reopen();

 private:
  void Open();  // REQUIRES: mutex_ held

  const std::string path_;
  const Clock& clock_;
  std::mutex mutex_;
  int fd_ = -1;              // guarded by mutex_
  bool has_failed_ = false;  // guarded by mutex_
};

// Writes each call down that the table of permissions says is to be audited, as it is answered.
// Both must outlive the server.
std::vector<std::unique_ptr<grpc::experimental::ServerInterceptorFactoryInterface>> Auditors(
    AuditLog& log, Gate& gate);

}  // namespace plumblane
