// Orders under way and claims: the lists of OrdersService that read order by order.
#include <absl/strings/str_cat.h>

#include <bit>

#include "service/page_token.h"
#include "service/query_services.h"
#include "service/read_question.h"
#include "service/status.h"
#include "service/write_answer.h"
#include "storage/bytes.h"

namespace plumblane {
namespace {

absl::Status BadToken() {
  return absl::InvalidArgumentError("page_token: expected the token of the page before this one");
}

void PutPart(const OrderKey& order, int part, ByteWriter& writer) {
  writer.Text(order.shop);
  writer.Text(order.order_id);
  writer.Number(static_cast<uint64_t>(part));
}
template <typename Place>
void TakePart(ByteReader& reader, Place& place) {
  place.order.shop = reader.Text();
  place.order.order_id = reader.Text();
  place.part = static_cast<int>(reader.Number());
}

std::string Packed(const UnderwayPlace& place) {
  ByteWriter writer;
  writer.Byte(place.in_time ? 1 : 0);
  writer.Big(std::bit_cast<uint64_t>(place.minus_value), 8);
  writer.Big(std::bit_cast<uint64_t>(place.minus_chance), 8);
  PutPart(place.order, place.part, writer);
  return writer.Take();
}

std::string Packed(const ClaimPlace& place) {
  ByteWriter writer;
  writer.Signed(place.last.number);
  writer.Text(place.currency);
  writer.Signed(place.minus_money);
  PutPart(place.order, place.part, writer);
  return writer.Take();
}

void Unpack(ByteReader& reader, UnderwayPlace& place) {
  place.in_time = reader.Byte() != 0;
  place.minus_value = std::bit_cast<double>(reader.Big(8));
  place.minus_chance = std::bit_cast<double>(reader.Big(8));
  TakePart(reader, place);
}

void Unpack(ByteReader& reader, ClaimPlace& place) {
  place.last.number = static_cast<int32_t>(reader.Signed());
  place.currency = reader.Text();
  place.minus_money = reader.Signed();
  TakePart(reader, place);
}

// Where the page before ended; none for the first page.
template <typename Place>
absl::StatusOr<std::optional<Place>> ReadPlace(const std::string& question,
                                               const std::string& token) {
  const auto after = ReadToken(question, token);
  if (!after.ok()) return after.status();
  if (token.empty()) return std::nullopt;
  Place place;
  ByteReader reader(*after);
  Unpack(reader, place);
  if (!reader.done()) return BadToken();
  return place;
}

}  // namespace

grpc::ServerUnaryReactor* OrdersService::ListUnderway(grpc::CallbackServerContext* context,
                                                      const v1::ListUnderwayRequest* request,
                                                      v1::ListUnderwayResponse* response) {
  grpc::ServerUnaryReactor* reactor = context->DefaultReactor();
  lists_.Do([this, reactor, request, response] {
    reactor->Finish(ToGrpc(plumblane::ListUnderway(engine_.Look(), *request, response)));
  });
  return reactor;
}

absl::Status ListUnderway(const View& view, const v1::ListUnderwayRequest& request,
                          v1::ListUnderwayResponse* response) {
  const auto page_size = ReadPageSize(request.page_size());
  if (!page_size.ok()) return page_size.status();
  if (absl::Status status = CheckSupplier(request.supplier()); !status.ok()) return status;
  UnderwayFilter filter{request.supplier(), std::nullopt, request.late_only()};
  if (request.has_lane()) {
    auto lane = ReadLane("lane", request.lane());
    if (!lane.ok()) return lane.status();
    filter.lane = *std::move(lane);
  }
  const std::string question =
      absl::StrCat("underway|", filter.supplier, "|",
                   filter.lane ? FormatLaneQuery(*filter.lane) : "", "|", filter.late_only);
  const auto after = ReadPlace<UnderwayPlace>(question, request.page_token());
  if (!after.ok()) return after.status();
  const auto answer = view.Underway(filter, *after, *page_size);
  if (!answer.ok()) return answer.status();
  WriteUnderway(*answer, response);
  if (answer->more) {
    response->set_next_page_token(MakeToken(question, Packed(answer->orders.back().place)));
  }
  return absl::OkStatus();
}

grpc::ServerUnaryReactor* OrdersService::ListClaims(grpc::CallbackServerContext* context,
                                                    const v1::ListClaimsRequest* request,
                                                    v1::ListClaimsResponse* response) {
  grpc::ServerUnaryReactor* reactor = context->DefaultReactor();
  lists_.Do([this, context, reactor, request, response] {
    // A caller that has gone, and a stop of the daemon, end the work.
    const absl::Status status = plumblane::ListClaims(engine_.Look(), *request, response,
                                                      [context] { return context->IsCancelled(); });
    reactor->Finish(ToGrpc(status));
  });
  return reactor;
}

absl::Status ListClaims(const View& view, const v1::ListClaimsRequest& request,
                        v1::ListClaimsResponse* response, const std::function<bool()>& give_up) {
  const auto page_size = ReadPageSize(request.page_size());
  if (!page_size.ok()) return page_size.status();
  if (absl::Status status = CheckSupplier(request.supplier()); !status.ok()) return status;
  const ClaimFilter filter{request.supplier(), request.with_settled()};
  const std::string question = absl::StrCat("claims|", filter.supplier, "|", filter.with_settled);
  const auto after = ReadPlace<ClaimPlace>(question, request.page_token());
  if (!after.ok()) return after.status();
  const auto answer = view.Claims(filter, *after, *page_size, give_up);
  if (!answer.ok()) return answer.status();
  WriteClaims(*answer, response);
  if (answer->more) {
    response->set_next_page_token(MakeToken(question, Packed(answer->claims.back().place)));
  }
  return absl::OkStatus();
}

}  // namespace plumblane
