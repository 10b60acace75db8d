#include "client/send.h"

#include <absl/strings/str_cat.h>

#include <algorithm>
#include <memory>
#include <utility>

#include "base/zones.h"
#include "client/dry_run.h"
#include "client/progress.h"
#include "client/rejected_file.h"
#include "client/resolver.h"
#include "client/send_report.h"
#include "client/send_sources.h"
#include "client/sender.h"
#include "client/text.h"

namespace plumblane::client {
namespace {

constexpr int kLullMillis = 200;  // without input for so long, what is there is sent
constexpr int kMostFilesTold = 100;

// Where to go on after a break: at another daemon, or at this one, once it knows of another.
v1::Intake::StubInterface* Elsewhere(Servers& servers, const grpc::Status& why) {
  const bool is_silent = why.error_code() == grpc::StatusCode::DEADLINE_EXCEEDED;
  return servers.GoOn(is_silent) ? servers.at().intake() : nullptr;
}

// One file on its way.
class FileRun {
 public:
  FileRun(const SendOptions& options, DraftSource& file, const FileWay& way, Resolver& resolver,
          Servers& servers, const Io& io)
      : options_(options),
        file_(file),
        way_(way),
        resolver_(resolver),
        servers_(servers),
        io_(io),
        rejected_(file.name(), io, way.adds_to_rejected),
        progress_(io, "event"),
        sender_(
            servers.at().intake(),
            {.history = options.history,
             .send = way.send,
             .retry_for = absl::Seconds(way.retry_seconds),
             .reroute = [&servers](const auto& why) { return Elsewhere(servers, why); }},
            [this](const auto& batch, const auto& receipt) {
              for (const Rejection& refused : TakeReceipt(batch, receipt, report_)) Reject(refused);
            },
            [this](const grpc::Status& why) { TellBreak(why); }) {
    report_.name = file.name();
    report_.rejected_path = rejected_.path();
  }

  ExitCode Run();
  const FileReport& report() const { return report_; }

 private:
  void Reject(const Rejection& rejection) {
    progress_.Clear();
    rejected_.Add(rejection);
  }
  void RejectHere(const Rejection& rejection) {
    ++report_.rejected;
    Reject(rejection);
  }
  grpc::Status SendAll();
  grpc::Status Take(DraftOrRejection event);
  grpc::Status Send(Draft draft);
  grpc::Status Settle();
  grpc::Status ReportNews();
  void TellBreak(const grpc::Status& why);
  ExitCode Broken(const grpc::Status& status);

  const SendOptions& options_;
  DraftSource& file_;
  const FileWay way_;
  Resolver& resolver_;
  Servers& servers_;
  const Io& io_;
  RejectedFile rejected_;
  Progress progress_;
  FileReport report_;
  int64_t last_line_ = 0;  // read so far
  grpc::StatusCode break_told_ = grpc::StatusCode::OK;
  Sender sender_;
};

grpc::Status FileRun::Send(Draft draft) {
  return sender_.Add({draft.line, std::move(draft.text), std::move(draft.event)});
}

grpc::Status FileRun::Settle() {
  if (resolver_.must_flush()) {
    if (const grpc::Status status = sender_.Flush(); !status.ok()) return status;
  }
  std::vector<Draft> ready;
  std::vector<Rejection> unknown;
  if (const grpc::Status status = resolver_.Settle(&ready, &unknown); !status.ok()) return status;
  for (const Rejection& rejection : unknown) RejectHere(rejection);
  for (Draft& draft : ready) {
    if (const grpc::Status status = Send(std::move(draft)); !status.ok()) return status;
  }
  return grpc::Status::OK;
}

grpc::Status FileRun::Take(DraftOrRejection event) {
  ++report_.events;
  progress_.Show(report_.events, file_.share_read());
  if (const auto* rejection = std::get_if<Rejection>(&event)) {
    last_line_ = rejection->line;
    RejectHere(*rejection);
    return grpc::Status::OK;
  }
  Draft& draft = std::get<Draft>(event);
  last_line_ = draft.line;
  if (std::optional<Draft> ready = resolver_.Take(std::move(draft))) return Send(*std::move(ready));
  return resolver_.waiting() >= Resolver::kMostWaiting ? Settle() : grpc::Status::OK;
}

grpc::Status FileRun::SendAll() {
  while (true) {
    if (!file_.ReadyWithin(kLullMillis)) {
      if (const grpc::Status status = Settle(); !status.ok()) return status;
      if (const grpc::Status status = sender_.Flush(); !status.ok()) return status;
    }
    std::optional<DraftOrRejection> event = file_.Next();
    if (!event) break;
    if (const grpc::Status status = Take(*std::move(event)); !status.ok()) return status;
  }
  if (const grpc::Status status = Settle(); !status.ok()) return status;
  return sender_.Finish();
}

// Tells the daemon how far the file's sources are complete. Without word from the user only a file
// with scans says so: an export of paid orders is no news of deliveries.
grpc::Status FileRun::ReportNews() {
  if (options_.complete_through && report_.sources.empty() && !options_.source.empty()) {
    report_.sources[options_.source];  // an empty file says that nothing happened
  }
  for (auto& [source, news] : report_.sources) {
    if (!options_.complete_through && (!news.has_scans || news.latest.millis == 0)) continue;
    news.complete_through = options_.complete_through.value_or(news.latest);
    v1::ReportNewsRequest request;
    request.set_source(source);
    request.set_send_number(way_.send);
    *request.mutable_complete_through_time() = ToTimestamp(news.complete_through);
    v1::ReportNewsResponse response;
    const grpc::Status status =
        servers_.Repeat(absl::Seconds(way_.retry_seconds), [&](const Connection& at) {
          CallContext context;
          return at.intake()->ReportNews(&context, request, &response);
        });
    if (!status.ok()) return status;
    if (response.has_complete_through_time()) {
      news.complete_through = ToInstant(response.complete_through_time());
    }
    news.is_reported = true;
  }
  return grpc::Status::OK;
}

// Each reason once a file.
void FileRun::TellBreak(const grpc::Status& why) {
  if (why.error_code() == break_told_) return;
  break_told_ = why.error_code();
  progress_.Clear();
  io_.err << file_.name() << ": " << why.error_message() << "; goes on from line "
          << Thousands(std::max<int64_t>(1, sender_.first_open_line()))
          << " when it can, for up to " << way_.retry_seconds << " s\n";
}

ExitCode FileRun::Broken(const grpc::Status& status) {
  int64_t open = sender_.first_open_line();
  const int64_t waiting = resolver_.first_waiting_line();
  if (open == 0 || (waiting != 0 && waiting < open)) open = waiting;
  const int64_t safe = open == 0 ? last_line_ : open - 1;
  io_.err << file_.name() << ": " << Explain(status, servers_.Place()) << "\n"
          << file_.name() << ": sent up to line " << Thousands(safe)
          << "; send the same file again, repeats change nothing\n";
  return ExitCodeOf(status);
}

ExitCode FileRun::Run() {
  const grpc::Status status = SendAll();
  progress_.Clear();
  if (!status.ok()) return Broken(status);
  if (!file_.error().empty()) {
    io_.err << file_.name() << ": line " << last_line_ + 1 << ": " << file_.error()
            << "; everything before it was sent\n";
    return kFailed;
  }
  rejected_.Close();
  for (const std::string& remark : file_.Remarks())
    io_.err << file_.name() << ": " << remark << "\n";
  report_.is_complete = true;
  report_.is_mapped = file_.revision().has_value();
  report_.is_empty = file_.is_empty();
  if (report_.is_empty) io_.err << file_.name() << ": nothing in it\n";
  if ((way_.reports_news && !file_.is_stdin()) || options_.complete_through) {
    if (const grpc::Status news = ReportNews(); !news.ok()) {
      io_.err << file_.name() << ": all events were sent, but not how far they are complete: "
              << Explain(news, servers_.Place()) << "\n";
      return ExitCodeOf(news);
    }
  }
  return rejected_.count() > 0 || report_.is_empty ? kSomeRejected : kDone;
}

bool IsFatal(ExitCode code) { return code != kDone && code != kSomeRejected; }

}  // namespace

grpc::Status BeginSend(const std::vector<std::string>& files, const SendOptions& options,
                       const Connection& connection, int64_t* number) {
  v1::BeginSendRequest request;
  for (const std::string& file : files) {
    if (request.files_size() < kMostFilesTold) request.add_files(IsUtf8(file) ? file : "?");
  }
  request.set_shop(options.shop);
  request.set_source(options.source);
  CallContext context;
  v1::Send send;
  const grpc::Status status = connection.intake()->BeginSend(&context, request, &send);
  *number = send.send_number();
  return status;
}

grpc::Status FinishSend(int64_t number, int64_t rejected, absl::Duration patience,
                        Servers& servers) {
  v1::FinishSendRequest request;
  request.set_send_number(number);
  request.set_rejected_count(rejected);
  return servers.Repeat(patience, [&request](const Connection& at) {
    CallContext context;
    v1::Send send;
    return at.intake()->FinishSend(&context, request, &send);
  });
}

Resolver::LookUp LookUpBy(Servers& servers) {
  return [&servers](const v1::LookUpOrdersRequest& request, v1::LookUpOrdersResponse* response) {
    return servers.Repeat(absl::ZeroDuration(), [&](const Connection& at) {
      CallContext context;
      return at.orders()->LookUpOrders(&context, request, response);
    });
  };
}

ExitCode SendFile(const SendOptions& options, DraftSource& file, const FileWay& way,
                  Resolver& resolver, Servers& servers, const Io& io, FileReport* report) {
  FileRun run(options, file, way, resolver, servers, io);
  const ExitCode code = run.Run();
  *report = run.report();
  return code;
}

ExitCode RunSend(const SendOptions& options, bool json, Servers& servers, const Io& io) {
  const absl::StatusOr<Zones> zones = Zones::Load(options.time_zone);
  if (!zones.ok()) {
    io.err << std::string(zones.status().message()) << "\n";
    return absl::IsInvalidArgument(zones.status()) ? kUsage : kFailed;
  }
  SendSources opened;
  if (const ExitCode code = OpenSources(options, io, opened); code != kDone) return code;
  const auto& files = opened.sources;
  if (options.mapping.dry_run) return RunDryRun(files, *zones, json, io);
  if (!servers.WaitUntilReady()) {
    io.err << Explain(grpc::Status(grpc::StatusCode::UNAVAILABLE, "no answer"), servers.Place())
           << "\nnothing was sent\n";
    return kOutOfReach;
  }
  (void)servers.SeekOwner(absl::Seconds(options.retry_seconds));
  FileWay way;
  way.retry_seconds = options.retry_seconds;
  const grpc::Status begun =
      servers.Repeat(absl::Seconds(options.retry_seconds), [&options, &way](const Connection& at) {
        return BeginSend(options.files, options, at, &way.send);
      });
  if (!begun.ok()) {
    io.err << Explain(begun, servers.Place()) << "\nnothing was sent\n";
    return ExitCodeOf(begun);
  }
  Resolver resolver(&*zones, LookUpBy(servers));
  std::vector<FileReport> reports;
  ExitCode worst = kDone;
  for (const auto& file : files) {
    if (IsFatal(worst)) {
      io.err << file->name() << ": not sent\n";
      continue;
    }
    const ExitCode code =
        SendFile(options, *file, way, resolver, servers, io, &reports.emplace_back());
    if (code != kDone) worst = code;
  }
  if (!IsFatal(worst)) {
    int64_t rejected = 0;
    for (const FileReport& report : reports) rejected += report.rejected;
    const absl::Duration patience = absl::Seconds(options.retry_seconds);
    if (const grpc::Status status = FinishSend(way.send, rejected, patience, servers);
        !status.ok()) {
      io.err << Explain(status, servers.Place()) << "\n";
      worst = ExitCodeOf(status);
    }
  }
  io.out << (json ? ToJson(reports, way.send) : ToText(reports, io.width, way.send));
  return worst;
}

}  // namespace plumblane::client
