#include "client/watch.h"

#include <absl/strings/match.h>
#include <absl/strings/str_cat.h>
#include <errno.h>
#include <fcntl.h>
#include <google/protobuf/util/json_util.h>
#include <string.h>
#include <unistd.h>

#include <algorithm>
#include <map>

#include "client/line_reader.h"
#include "client/show.h"
#include "client/text.h"

namespace plumblane::client {
namespace {

using Seen = std::map<std::string, v1::ScoreFigures>;

// The latest figures of each name in what an earlier watch printed with --json. A last line that
// was cut, since that watch was killed, is passed over. False: it cannot be read; why was said.
bool ReadSeen(const std::string& path, Seen& seen, const Io& io) {
  const int fd = open(path.c_str(), O_RDONLY | O_CLOEXEC);
  if (fd < 0) {
    io.err << path << ": " << strerror(errno) << "\n";
    return false;
  }
  LineReader lines(fd, /*owned=*/true);
  while (const std::optional<Line> line = lines.Next()) {
    if (line->text.empty()) continue;
    v1::ScoreChange change;
    google::protobuf::util::JsonParseOptions options;
    options.ignore_unknown_fields = true;
    const bool is_read =
        google::protobuf::util::JsonStringToMessage(line->text, &change, options).ok() &&
        !change.now().name().empty();
    if (!is_read && line->cut) break;
    if (!is_read) {
      io.err << path << ": line " << line->number
             << ": expected a line as watch --json prints it\n";
      return false;
    }
    seen[change.now().name()] = change.now();
  }
  return true;
}

// "lotus-works on VN-DE" of "suppliers/lotus-works/lanes/VN-DE".
std::string Subject(std::string name) {
  const size_t lane = name.find("/lanes/");
  if (lane != std::string::npos) name.replace(lane, 7, " on ");
  for (const std::string_view prefix : {"suppliers/", "lanes/"}) {
    if (absl::StartsWith(name, absl::string_view(prefix.data(), prefix.size()))) {
      name.erase(0, prefix.size());
    }
  }
  return name;
}

std::string Step(const std::string& before, const std::string& now) {
  return absl::StrCat(before.empty() ? "no data" : before, " -> ", now.empty() ? "no data" : now);
}

std::string Described(const std::string& figure, const v1::ScoreFigures& before,
                      const v1::ScoreFigures& now) {
  const auto share = [](bool has, double value) { return has ? Percent(value) : ""; };
  if (figure == "on_time") {
    return absl::StrCat("on time ", Step(share(before.has_on_time(), before.on_time()),
                                         share(now.has_on_time(), now.on_time())));
  }
  if (figure == "defect") {
    return absl::StrCat("bad or lost ", Step(share(before.has_defect(), before.defect()),
                                             share(now.has_defect(), now.defect())));
  }
  const auto days = [](const v1::ScoreFigures& of) {
    return of.has_delivery_median() ? DurationText(of.delivery_median()) : "";
  };
  return absl::StrCat("half delivered in ", Step(days(before), days(now)));
}

// "2026-10-01 08:00  lotus-works: on time 92 % -> 85 %; 412 orders".
std::string ChangeLine(const v1::ScoreChange& change) {
  std::string line =
      absl::StrCat(MinuteText(change.as_of_time()), "  ", Subject(change.now().name()), ":");
  for (const std::string& figure : change.changed()) {
    absl::StrAppend(&line, line.back() == ':' ? " " : ", ",
                    Described(figure, change.before(), change.now()));
  }
  return absl::StrCat(line, "; ", Counted(change.order_count(), "settled order"), "\n");
}

v1::WatchScoresRequest RequestOf(const WatchOptions& options, const Seen& seen) {
  v1::WatchScoresRequest request;
  for (const v1::ScoreKind kind : options.kinds) request.add_kinds(kind);
  if (options.change) request.set_share_change(*options.change);
  if (options.delivery) *request.mutable_delivery_change() = *options.delivery;
  for (const auto& [name, figures] : seen) *request.add_seen() = figures;
  return request;
}

}  // namespace

ExitCode RunWatch(const Invocation& invocation, const Connection& connection, const Io& io) {
  Seen seen;
  if (!invocation.watch.after.empty() && !ReadSeen(invocation.watch.after, seen, io)) {
    return kFailed;
  }
  grpc::ClientContext context;  // without deadline
  const auto reader =
      connection.exports()->WatchScores(&context, RequestOf(invocation.watch, seen));
  v1::ScoreChange change;
  while (io.out && reader->Read(&change)) {
    if (invocation.json) {
      PrintJsonLine(change, io);
    } else if (change.has_before()) {
      io.out << ChangeLine(change);
    }
    io.out.flush();
  }
  if (!io.out) context.TryCancel();
  const grpc::Status status = reader->Finish();
  if (!io.out) return kFailed;
  return status.ok() ? kDone : Fail(status, connection, io);
}

}  // namespace plumblane::client
