#include "client/export.h"

#include <functional>
#include <memory>
#include <utility>

#include "base/whole_file.h"
#include "client/export_rows.h"
#include "client/moment.h"
#include "client/show.h"
#include "client/text.h"
#include "tables/score_rows.h"

namespace plumblane::client {
namespace {

// Where a table goes: a file that appears when it is whole, or standard output. It begins with the
// first thing told, so that a call that fails at once leaves nothing.
class Sheet {
 public:
  Sheet(TableWriter writer, const std::string& path, const Io& io)
      : writer_(std::move(writer)), io_(io) {
    if (!path.empty()) file_ = std::make_unique<WholeFile>(path);
  }

  // False: nobody takes it any more.
  bool Add(const TableItem& item) { return Write(Head() + writer_.Add(item)); }

  ExitCode Finish() {
    Write(Head() + writer_.End());
    io_.out.flush();
    const std::string mistake = file_ ? file_->Finish() : "";
    if (!mistake.empty()) io_.err << mistake << "\n";
    return mistake.empty() && io_.out ? kDone : kFailed;
  }

 private:
  std::string Head() { return std::exchange(has_begun_, true) ? "" : writer_.Begin(); }

  bool Write(const std::string& text) {
    if (file_) return file_->Write(text);
    io_.out << text;
    return static_cast<bool>(io_.out);
  }

  TableWriter writer_;
  bool has_begun_ = false;
  const Io& io_;
  std::unique_ptr<WholeFile> file_;
};

// Takes everything from `reader` into the sheet.
template <typename Message>
ExitCode Copy(grpc::ClientContext& context, grpc::ClientReader<Message>& reader, Sheet& sheet,
              const std::function<bool(const Message&)>& add, const Connection& connection,
              const Io& io) {
  Message message;
  bool taken = true;
  while (taken && reader.Read(&message)) taken = add(message);
  if (!taken) context.TryCancel();
  const grpc::Status status = reader.Finish();
  if (taken && !status.ok()) return Fail(status, connection, io);
  return sheet.Finish();
}

class Exporter {
 public:
  Exporter(const Invocation& invocation, const Connection& connection, const Io& io)
      : invocation_(invocation),
        form_(invocation.exporting.form.value_or(invocation.json ? TableForm::kJson
                                                                 : TableForm::kCsv)),
        connection_(connection),
        io_(io) {}

  ExitCode Scores() {
    v1::ExportScoresRequest request;
    SetMoment(invocation_, request);
    Sheet sheet = Open("scores", ScoreRow(v1::Score()));
    const auto reader = connection_.exports()->ExportScores(&context_, request);
    return Copy<v1::Score>(
        context_, *reader, sheet,
        [&](const v1::Score& score) {
          return sheet.Add({score, {ScoreRow(score)}});
        },
        connection_, io_);
  }

  ExitCode Cohorts() {
    v1::Cohort any;
    any.set_entered_count(1);
    Sheet sheet = Open("cohorts", CohortRows(any).front());
    const auto reader = connection_.exports()->ExportCohorts(&context_, {});
    return Copy<v1::CohortBatch>(
        context_, *reader, sheet,
        [&](const v1::CohortBatch& batch) {
          bool taken = true;
          for (const v1::Cohort& cohort : batch.cohorts()) {
            taken = taken && sheet.Add({cohort, CohortRows(cohort)});
          }
          return taken;
        },
        connection_, io_);
  }

  ExitCode Events() {
    Sheet sheet = Open("events", EventRow(v1::Event()));
    const auto reader = connection_.exports()->ExportEvents(&context_, {});
    int64_t cut = 0;
    const ExitCode code = Copy<v1::EventBatch>(
        context_, *reader, sheet,
        [&](const v1::EventBatch& batch) {
          bool taken = true;
          for (const v1::Event& event : batch.events()) {
            taken = taken && sheet.Add({event, {EventRow(event)}});
            if (HasTwoCurrencies(event)) ++cut;
          }
          return taken;
        },
        connection_, io_);
    if (cut > 0 && form_ != TableForm::kJson) {
      io_.err << Counted(cut, "event") << " with amounts in two currencies: only one of them has a "
              << "place in a row, the other is left out; --format json has both\n";
    }
    return code;
  }

  ExitCode Assignments() {
    Sheet sheet = Open("assignments", AssignmentRow(v1::Assignment()));
    const auto reader = connection_.exports()->ExportAssignments(&context_, {});
    return Copy<v1::Assignment>(
        context_, *reader, sheet,
        [&](const v1::Assignment& one) {
          return sheet.Add({one, {AssignmentRow(one)}});
        },
        connection_, io_);
  }

 private:
  Sheet Open(const std::string& name, const TableRow& columns) {
    return {TableWriter(form_, invocation_.csv.style(), name, columns),
            invocation_.exporting.output, io_};
  }

  const Invocation& invocation_;
  const TableForm form_;
  const Connection& connection_;
  const Io& io_;
  grpc::ClientContext context_;  // without deadline: it takes as long as there is to tell
};

}  // namespace

ExitCode RunExport(const Invocation& invocation, const Connection& connection, const Io& io) {
  Exporter exporter(invocation, connection, io);
  switch (invocation.verb) {
    case Verb::kExportCohorts:
      return exporter.Cohorts();
    case Verb::kExportEvents:
      return exporter.Events();
    case Verb::kExportAssignments:
      return exporter.Assignments();
    default:
      return exporter.Scores();
  }
}

}  // namespace plumblane::client
