#include "client/resolver.h"

#include <absl/strings/str_cat.h>

#include <algorithm>

#include "base/ids.h"
#include "client/text.h"

namespace plumblane::client {
namespace {

int PartOf(const v1::Event& event) { return event.part() == 0 ? 1 : event.part(); }

std::string KeyOf(const v1::Event& event) {
  return FormatOrder({event.shop(), event.order_id()}, PartOf(event));
}

bool HasBareDate(const Draft& draft) { return draft.date || draft.promise_date; }

void NameOrder(const std::string& shop, const std::string& order_id, int part, Draft& draft) {
  draft.event.set_shop(shop);
  draft.event.set_order_id(order_id);
  draft.event.set_part(part);
}

// The row names a shop, a part: the order found must be that one.
std::optional<Rejection> CheckFound(const std::string& shop, int part, const Draft& draft) {
  const auto reject = [&](const char* field, const std::string& found) {
    return Rejection{
        draft.line,
        {"FIELD_CONFLICT", field,
         absl::StrCat("tracking ", Quoted(draft.find_by), " belongs to ", field, " ", found)},
        draft.text};
  };
  if (draft.says_shop && draft.event.shop() != shop) return reject("shop", Quoted(shop));
  if (draft.event.part() != 0 && draft.event.part() != part) {
    return reject("part", absl::StrCat(part));
  }
  return std::nullopt;
}

}  // namespace

template <typename Value>
void RecentOrders::Keep(Memory<Value>& memory, std::string key, Value value) {
  if (memory.young.size() >= kept_) {
    has_forgotten_ = has_forgotten_ || !memory.old.empty();
    memory.old = std::move(memory.young);
    memory.young.clear();
  }
  memory.young.insert_or_assign(std::move(key), std::move(value));
}

template <typename Value>
const Value* RecentOrders::Find(const Memory<Value>& memory, const std::string& key) const {
  for (const auto* generation : {&memory.young, &memory.old}) {
    const auto it = generation->find(key);
    if (it != generation->end()) return &it->second;
  }
  return nullptr;
}

void RecentOrders::Note(const Draft& draft) {
  const v1::Event& event = draft.event;
  if (event.order_id().empty()) return;
  if (!event.destination().empty()) Keep(destinations_, KeyOf(event), event.destination());
  if (event.tracking().empty()) return;
  v1::OrderName order;
  order.set_shop(event.shop());
  order.set_order_id(event.order_id());
  order.set_part(PartOf(event));
  Keep(by_tracking_, event.tracking(), std::move(order));
}

const v1::OrderName* RecentOrders::FindByTracking(const std::string& tracking) const {
  return Find(by_tracking_, tracking);
}

const std::string* RecentOrders::FindDestination(const v1::Event& event) const {
  return Find(destinations_, KeyOf(event));
}

void Resolver::PlaceDates(Draft& draft, const std::string& destination) const {
  v1::Event& event = draft.event;
  if (draft.date) {
    *event.mutable_event_time() = ToTimestamp(zones_->StartOfDay(*draft.date, destination));
    event.set_event_date(FormatDay(*draft.date));
  }
  if (draft.promise_date) {
    const Instant last = zones_->LastMillisOfDay(*draft.promise_date, destination);
    *event.mutable_promise_time() = ToTimestamp(last);
    event.set_promise_date(FormatDay(*draft.promise_date));
  }
}

bool Resolver::TryRecent(Draft& draft) {
  if (draft.event.order_id().empty()) {
    const v1::OrderName* order = recent_.FindByTracking(draft.find_by);
    if (order == nullptr || CheckFound(order->shop(), order->part(), draft)) return false;
    NameOrder(order->shop(), order->order_id(), order->part(), draft);
  }
  if (!HasBareDate(draft)) return true;
  const std::string* destination = &draft.event.destination();
  if (destination->empty()) destination = recent_.FindDestination(draft.event);
  if (destination == nullptr) return false;
  PlaceDates(draft, *destination);
  return true;
}

std::optional<Draft> Resolver::Take(Draft draft) {
  if (draft.revision_date) {  // an export has no destination
    *draft.event.mutable_revision_time() =
        ToTimestamp(zones_->StartOfDay(*draft.revision_date, ""));
  }
  recent_.Note(draft);
  if (TryRecent(draft)) return draft;
  waiting_.push_back(std::move(draft));
  return std::nullopt;
}

int64_t Resolver::first_waiting_line() const {
  int64_t first = 0;
  for (const Draft& draft : waiting_) first = first == 0 ? draft.line : std::min(first, draft.line);
  return first;
}

std::optional<Rejection> Resolver::TakeAnswer(const v1::LookUpOrdersResponse::Answer& answer,
                                              Draft& draft) {
  if (draft.event.order_id().empty()) {
    if (answer.order_id().empty()) {
      return Rejection{draft.line,
                       {"UNKNOWN_TRACKING", "tracking",
                        absl::StrCat("no `shipped` has named ", Quoted(draft.find_by),
                                     " yet; send that first, or name the order")},
                       draft.text};
    }
    const int part = answer.part() == 0 ? 1 : answer.part();
    if (auto bad = CheckFound(answer.shop(), part, draft)) return bad;
    NameOrder(answer.shop(), answer.order_id(), part, draft);
  }
  const std::string* destination = &draft.event.destination();
  const std::string* recent = recent_.FindDestination(draft.event);
  if (destination->empty()) destination = recent != nullptr ? recent : &answer.destination();
  PlaceDates(draft, *destination);
  return std::nullopt;
}

grpc::Status Resolver::Settle(std::vector<Draft>* ready, std::vector<Rejection>* rejected) {
  v1::LookUpOrdersRequest request;
  std::vector<Draft> asked;
  for (Draft& draft : waiting_) {
    if (TryRecent(draft)) {  // said below it in the file
      ready->push_back(std::move(draft));
      continue;
    }
    v1::LookUpOrdersRequest::Question& question = *request.add_questions();
    if (draft.event.order_id().empty()) {
      question.set_tracking(draft.find_by);
    } else {
      question.mutable_order()->set_shop(draft.event.shop());
      question.mutable_order()->set_order_id(draft.event.order_id());
      question.mutable_order()->set_part(PartOf(draft.event));
    }
    asked.push_back(std::move(draft));
  }
  waiting_ = std::move(asked);
  if (waiting_.empty()) return grpc::Status::OK;
  v1::LookUpOrdersResponse response;
  if (const grpc::Status status = look_up_(request, &response); !status.ok()) return status;
  for (size_t i = 0; i < waiting_.size(); ++i) {
    const bool answered = static_cast<int>(i) < response.answers_size();
    const v1::LookUpOrdersResponse::Answer none;
    const auto& answer = answered ? response.answers(static_cast<int>(i)) : none;
    if (std::optional<Rejection> bad = TakeAnswer(answer, waiting_[i])) {
      rejected->push_back(*std::move(bad));
    } else {
      ready->push_back(std::move(waiting_[i]));
    }
  }
  waiting_.clear();
  return grpc::Status::OK;
}

}  // namespace plumblane::client
