// `plumblane send`: files of events to the daemon, and what came of it.
//
// Every file is opened and its form checked before anything is sent. Then each goes line by line:
// read, check, fill in, send, with lines that are of no use and events that the daemon refuses
// going to FILE.rejected. After a file its sources are reported complete: up to --complete-through,
// else up to the latest event of the source in it. Standard input counts as live, and what has
// arrived is sent on when no more comes for a moment.
//
// A connection that breaks is gone on with at the first line without a receipt, for up to
// --retry-for seconds (sender.h). Then it ends the command; everything before the line it names is
// safe, and sending the same file again repairs the rest.
#pragma once

#include "client/draft_source.h"
#include "client/invocation.h"
#include "client/io.h"
#include "client/resolver.h"
#include "client/send_report.h"
#include "client/servers.h"

namespace plumblane::client {

// All that one call sends is one send, which can be taken back (sends.h).
ExitCode RunSend(const SendOptions& options, bool json, Servers& servers, const Io& io);

// Where one file goes, and what follows it.
struct FileWay {
  int64_t send = 0;               // the number of the send it belongs to
  bool reports_news = true;       // says how far its sources are complete
  bool adds_to_rejected = false;  // FILE.rejected is gone on with, not begun anew
  int retry_seconds = 0;          // tries so long to go on after a break
};

// Begins a send of these files. Its number, else why not.
grpc::Status BeginSend(const std::vector<std::string>& files, const SendOptions& options,
                       const Connection& connection, int64_t* number);

// Ends it: everything was sent, `rejected` lines were not taken. Waits so long for who takes that.
grpc::Status FinishSend(int64_t number, int64_t rejected, absl::Duration patience,
                        Servers& servers);

// Looks orders up with the daemon. `servers` must outlive it.
Resolver::LookUp LookUpBy(Servers& servers);

// Sends all of one opened file. kOutOfReach and kFailed: it broke off, `io.err` says where.
ExitCode SendFile(const SendOptions& options, DraftSource& file, const FileWay& way,
                  Resolver& resolver, Servers& servers, const Io& io, FileReport* report);

}  // namespace plumblane::client
