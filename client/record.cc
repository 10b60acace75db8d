#include "client/record.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_format.h>

#include <algorithm>

#include "base/clock.h"
#include "base/zones.h"
#include "client/flat_event.h"
#include "client/resolver.h"
#include "client/show.h"
#include "client/text.h"
#include "client/words.h"

namespace plumblane::client {
namespace {

constexpr char kHandSource[] = "hand";

bool Has(const std::vector<Cell>& fields, std::string_view name) {
  return std::any_of(fields.begin(), fields.end(),
                     [&](const Cell& cell) { return cell.field == name; });
}

// FNV-1a over names and values in their order.
uint64_t Hash(const std::vector<Cell>& fields) {
  uint64_t hash = 0xcbf29ce484222325u;
  const auto feed = [&hash](const std::string& text) {
    for (const char c : text + '\0') {
      hash = (hash ^ static_cast<unsigned char>(c)) * 0x100000001b3u;
    }
  };
  for (const Cell& cell : fields) {
    feed(cell.field);
    feed(cell.value);
  }
  return hash;
}

std::string OptionOf(const std::string& field) {
  if (field == "order_id") return "ORDER";
  if (field == "type") return "TYPE";
  std::string option = "--" + field;
  std::replace(option.begin(), option.end(), '_', '-');
  return option;
}

// Places bare dates, asking the daemon where the order goes.
grpc::Status Place(const Zones& zones, const Connection& connection, Draft& draft) {
  Resolver resolver(&zones, [&connection](const auto& request, auto* response) {
    CallContext context;
    return connection.orders()->LookUpOrders(&context, request, response);
  });
  std::vector<Draft> ready;
  std::vector<Rejection> unknown;  // none: the order is named
  if (std::optional<Draft> placed = resolver.Take(std::move(draft))) {
    ready.push_back(*std::move(placed));
  } else if (const grpc::Status status = resolver.Settle(&ready, &unknown); !status.ok()) {
    return status;
  }
  draft = std::move(ready.front());
  return grpc::Status::OK;
}

grpc::Status SendOne(const Connection& connection, const v1::Event& event,
                     v1::BatchReceipt& receipt) {
  CallContext context;
  const auto stream = connection.intake()->IngestEvents(&context);
  v1::EventBatch batch;
  batch.set_batch_number(1);
  *batch.add_events() = event;
  stream->Write(batch);
  stream->WritesDone();
  const bool answered = stream->Read(&receipt);
  const grpc::Status status = stream->Finish();
  if (answered || !status.ok()) return status;
  return grpc::Status(grpc::StatusCode::INTERNAL, "the daemon gave no receipt");
}

std::string Describe(const v1::Event& event, const v1::BatchReceipt& receipt) {
  const std::string order =
      FormatOrder({event.shop(), event.order_id()}, std::max(1, event.part()));
  std::string text = receipt.duplicate_count() > 0 ? "known already, nothing changed\n" : "taken\n";
  for (const v1::EventResult& result : receipt.results()) {
    absl::StrAppend(&text, result.message(), "\n");
  }
  if (receipt.order_delta() > 0 && receipt.waiting_delta() > 0) {
    absl::StrAppend(&text, "order ", order,
                    " was not known before: is the number right? It waits "
                    "for its supplier and lane\n");
  } else if (receipt.unpromised_delta() > 0) {
    absl::StrAppend(&text, "order ", order, " has no promise, so no on-time or defect score\n");
  }
  return text;
}

}  // namespace

Row ToRow(std::vector<Cell> fields, Instant now) {
  if (!Has(fields, "time")) fields.push_back({"time", FormatInstant(now)});
  if (!Has(fields, "source")) fields.push_back({"source", kHandSource});
  if (!Has(fields, "event_id")) {
    fields.push_back({"event_id", absl::StrFormat("hand-%016x", Hash(fields))});
  }
  std::erase_if(fields, [](const Cell& cell) { return cell.value.empty(); });
  return {1, "", std::move(fields)};
}

ExitCode RunRecord(const RecordOptions& options, bool json, const Connection& connection,
                   const Io& io) {
  const absl::StatusOr<Zones> zones = Zones::Load(options.time_zone);
  if (!zones.ok()) {
    io.err << std::string(zones.status().message()) << "\n";
    return absl::IsInvalidArgument(zones.status()) ? kUsage : kFailed;
  }
  Draft draft;
  const Row row = ToRow(options.fields, WallClock().Now());
  if (const std::optional<Complaint> complaint = ReadEvent(row, {}, draft)) {
    io.err << OptionOf(complaint->field) << ": " << complaint->message << "\n";
    return kUsage;
  }
  v1::BatchReceipt receipt;
  grpc::Status status = Place(*zones, connection, draft);
  if (status.ok()) status = SendOne(connection, draft.event, receipt);
  if (!status.ok()) return Fail(status, connection, io);
  const bool refused = receipt.rejected_count() + receipt.conflict_count() > 0;
  if (refused && receipt.results_size() > 0) {
    const v1::EventResult& result = receipt.results(0);
    io.err << "not taken: "
           << (result.field().empty() ? "" : OptionOf(FileField(result.field())) + ": ")
           << result.message() << "\n";
  }
  if (json) {
    PrintJson(receipt, io);
  } else if (!refused) {
    io.out << Describe(draft.event, receipt);
  }
  return refused ? kSomeRejected : kDone;
}

}  // namespace plumblane::client
