#include "client/review.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_join.h>

#include <functional>
#include <sstream>
#include <string>
#include <utility>
#include <vector>

#include "base/whole_file.h"
#include "client/moment.h"
#include "client/review_forms.h"
#include "client/review_json.h"
#include "client/show.h"
#include "client/show_review.h"
#include "tables/csv.h"

namespace plumblane::client {
namespace {

constexpr int kPatienceSeconds = 600;

constexpr const char* kEvidenceColumns[] = {
    "shop",      "order_id",  "part",     "supplier", "origin",    "destination",
    "service",   "item",      "findings", "paid",     "shipped",   "promise",
    "delivered", "days_late", "disputed", "answered", "cancelled", "cost",
    "quoted",    "claimed",   "refunded", "owed",     "excuse"};

v1::GetReviewRequest RequestOf(const Invocation& invocation) {
  const ReviewOptions& options = invocation.review;
  v1::GetReviewRequest request;
  request.set_first_date(FormatDay(options.period.first));
  request.set_last_date(FormatDay(options.period.second));
  request.set_supplier(options.supplier);
  if (options.lane) *request.mutable_lane() = ToLane(*options.lane);
  request.set_shop(options.shop);
  request.set_to_share(options.to_share);
  if (invocation.as_of) *request.mutable_as_of_time() = ToTimestamp(*invocation.as_of);
  return request;
}

std::string EvidenceLine(const v1::EvidenceOrder& order, const CsvStyle& style) {
  const auto time = [](bool has, const google::protobuf::Timestamp& moment) {
    return has ? FormatInstant(ToInstant(moment)) : "";
  };
  const auto money = [](bool has, const v1::Money& amount) { return has ? MoneyText(amount) : ""; };
  std::vector<std::string> refunds;
  for (const v1::Money& refund : order.refunds_by_supplier()) refunds.push_back(MoneyText(refund));
  std::vector<std::string> cells = {order.shop(),
                                    order.order_id(),
                                    absl::StrCat(order.part()),
                                    order.supplier_id(),
                                    order.lane().origin(),
                                    order.lane().destination(),
                                    order.lane().service(),
                                    order.item(),
                                    absl::StrJoin(order.findings(), " "),
                                    time(order.has_pay_time(), order.pay_time()),
                                    time(order.has_ship_time(), order.ship_time()),
                                    time(order.has_promise_time(), order.promise_time()),
                                    time(order.has_deliver_time(), order.deliver_time()),
                                    order.has_days_late() ? absl::StrCat(order.days_late()) : "",
                                    time(order.has_dispute_time(), order.dispute_time()),
                                    time(order.has_answer_time(), order.answer_time()),
                                    time(order.has_cancel_time(), order.cancel_time()),
                                    money(order.has_cost(), order.cost()),
                                    money(order.has_quoted(), order.quoted()),
                                    money(order.has_claim(), order.claim()),
                                    absl::StrJoin(refunds, "; "),
                                    money(order.has_owed(), order.owed()),
                                    order.excuse()};
  return CsvTextLine(cells, style);
}

ExitCode Finished(const std::string& problem, const Io& io) {
  if (problem.empty()) return kDone;
  io.err << problem << "\n";
  return kFailed;
}

// The orders behind the review.
ExitCode WriteEvidence(const v1::GetReviewRequest& request, const std::string& path,
                       const CsvStyle& style, const Connection& connection, const Io& io) {
  CallContext context(kPatienceSeconds);
  const auto reader = connection.reviews()->ListEvidence(&context, request);
  WholeFile file(path);
  file.Write(CsvTextLine({std::begin(kEvidenceColumns), std::end(kEvidenceColumns)}, style));
  v1::EvidenceOrder order;
  while (reader->Read(&order)) file.Write(EvidenceLine(order, style));
  if (const grpc::Status status = reader->Finish(); !status.ok()) {
    return Fail(status, connection, io);
  }
  return Finished(file.Finish(), io);
}

// Hands on each part of the review as it comes.
grpc::Status ReadReview(const v1::GetReviewRequest& request, const Connection& connection,
                        const std::function<void(const v1::Review& part)>& each) {
  CallContext context(kPatienceSeconds);
  const auto reader = connection.reviews()->GetReview(&context, request);
  v1::Review part;
  while (reader->Read(&part)) each(part);
  return reader->Finish();
}

grpc::Status ReadJson(const v1::GetReviewRequest& request, const Connection& connection,
                      std::ostream& out) {
  ReviewJson json(out);
  const grpc::Status status =
      ReadReview(request, connection, [&json](const v1::Review& part) { json.Add(part); });
  if (status.ok()) json.End();
  return status;
}

// The review on the screen or as the file asked for.
ExitCode TellReview(const v1::GetReviewRequest& request, const Invocation& invocation,
                    const Connection& connection, const Io& io) {
  const std::string& path = invocation.review.output;
  v1::Review review;
  std::ostringstream json;
  const bool to_file = !path.empty();
  const ReviewForm form = to_file ? *FormOf(path) : ReviewForm::kJson;
  const bool as_json = form == ReviewForm::kJson && (to_file || invocation.json);
  const grpc::Status status =
      as_json ? ReadJson(request, connection, to_file ? json : io.out)
              : ReadReview(request, connection,
                           [&review](const v1::Review& part) { review.MergeFrom(part); });
  if (!status.ok()) return Fail(status, connection, io);
  if (to_file) {
    return Finished(WriteWhole(path, as_json ? std::move(json).str()
                                             : ReviewText(review, form, invocation.csv.style())),
                    io);
  }
  if (!as_json) io.out << ShowReview(review, io.width);
  return kDone;
}

}  // namespace

ExitCode RunReview(const Invocation& invocation, const Connection& connection, const Io& io) {
  const v1::GetReviewRequest request = RequestOf(invocation);
  const ExitCode told = TellReview(request, invocation, connection, io);
  const std::string& evidence = invocation.review.evidence;
  if (told != kDone || evidence.empty()) return told;
  return WriteEvidence(request, evidence, invocation.csv.style(), connection, io);
}

}  // namespace plumblane::client
