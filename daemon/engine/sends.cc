#include "engine/sends.h"

#include <algorithm>
#include <iterator>
#include <set>
#include <utility>

#include "engine/records.h"
#include "storage/keys.h"
#include "storage/order_codec.h"

namespace plumblane {
namespace {

constexpr int64_t kOrdersBetweenAsking = 1000;

std::vector<int64_t> Without(const std::vector<int64_t>& all, const std::vector<int64_t>& some) {
  std::vector<int64_t> rest;
  std::set_difference(all.begin(), all.end(), some.begin(), some.end(), std::back_inserter(rest));
  return rest;
}

void Widen(Instant time, std::optional<Instant>& first, std::optional<Instant>& last) {
  if (!first || time < *first) first = time;
  last = std::max(last, {time});
}

// Adds what the parts are, or with sign -1 takes it out.
void Count(const OrderState& state, int sign, TakeBackEffect& effect) {
  for (const PartState& part : state.parts) {
    effect.parts_gone -= sign;
    if (part.supplier.empty()) continue;
    TakeBackEffect::OfSupplier& of = effect.suppliers[part.supplier];
    of.orders += part.counts() ? sign : 0;
    of.delivered += part.delivered ? sign : 0;
    of.late += part.delivered && part.deadline && *part.deadline < *part.delivered ? sign : 0;
    of.defects += part.defect ? sign : 0;
  }
}

}  // namespace

absl::Status SendLedger::Load(const Snapshot& snapshot, std::set<int64_t> told,
                              const Submission& content) {
  std::set<int64_t> numbers = std::move(told);
  numbers.insert(content.sends_taken_back.begin(), content.sends_taken_back.end());
  for (const SourceNews& news : content.news) numbers.insert(news.send);
  for (const SendFinished& finished : content.sends_finished) numbers.insert(finished.number);
  for (const SendBegun& begun : content.sends_begun) numbers.insert(begun.number);
  numbers.erase(0);
  for (const int64_t number : numbers) {
    auto send = ReadSend(snapshot, number);
    if (!send.ok()) return send.status();
    if (*send) sends_[number] = **std::move(send);
  }
  return absl::OkStatus();
}

Send* SendLedger::Find(int64_t send) {
  const auto found = sends_.find(send);
  return found == sends_.end() ? nullptr : &found->second;
}

int64_t SendLedger::Begin(const SendBegun& from, Instant time, int64_t& last) {
  const int64_t number = from.number == 0 ? last + 1 : from.number;
  last = std::max(last, number);
  const auto [at, is_new] = sends_.try_emplace(number);
  if (!is_new) return number;
  Send& send = at->second;
  send.number = number;
  send.begun = time;
  send.from = from;
  send.from.number = 0;  // it is the key
  return number;
}

bool SendLedger::Takes(int64_t send) const {
  if (send == 0) return true;
  const auto found = sends_.find(send);
  return found != sends_.end() && found->second.takes_events();
}

void SendLedger::Note(const Event& event, EventFate::Kind fate, uint64_t sequence) {
  Send* send = Find(SendOf(event));
  if (send == nullptr) return;
  if (send->first_sequence == 0) send->first_sequence = sequence;
  send->last_sequence = sequence;
  switch (fate) {
    case EventFate::Kind::kDuplicate:
      ++send->repeated;
      break;
    case EventFate::Kind::kConflict:
      ++send->conflicts;
      return;
    case EventFate::Kind::kOrderFull:
    case EventFate::Kind::kNoSend:
    case EventFate::Kind::kNotKept:
      return;
    default:
      ++send->accepted;
  }
  SourceWord& word = send->sources[event.source];
  if (event.type == EventType::kRetracted) return;
  word.Add({event.type == EventType::kDelivered, {}, event.time});
  Widen(event.time, send->first_event, send->last_event);
}

void SendLedger::NoteNews(const SourceNews& news) {
  const auto* through = std::get_if<Instant>(&news.news);
  if (Send* send = Find(news.send); send != nullptr && through != nullptr) {
    send->sources[news.source].Add({false, *through, {}});
  }
}

void SendLedger::Finish(const SendFinished& finished, Instant time) {
  Send* send = Find(finished.number);
  if (send == nullptr || send->state != SendState::kUnderway) return;
  send->state = SendState::kFinished;
  send->finished = time;
  send->rejected = finished.rejected;
}

absl::StatusOr<SendLedger::Step> SendLedger::TakeBack(const Snapshot& snapshot, int64_t number,
                                                      Instant time) {
  Step step;
  Send* send = Find(number);
  if (send == nullptr || send->state == SendState::kTakenBack) return step;
  if (send->takes_events()) send->taken_back = time;
  send->state = SendState::kBeingTakenBack;
  step.done = true;
  const absl::Status scanned = EachOrderOf(snapshot, number, [&](const OrderKey& order) {
    step.done = step.orders.size() < kOrdersAStep;
    if (step.done) step.orders.push_back(order);
    return step.done;
  });
  if (!scanned.ok()) return scanned;
  if (step.done) send->state = SendState::kTakenBack;
  return step;
}

void SendLedger::NoteTakenBack(int64_t number, const TakenBack& taken) {
  Send* send = Find(number);
  send->events_taken_back.gone += taken.gone;
  send->events_taken_back.staying += taken.staying;
}

absl::Status SendLedger::Recount(const Snapshot& snapshot, int64_t number, Catalog& catalog) const {
  struct Left {
    SourceWord word;
    bool is_told = false;
  };
  std::map<std::string, Left> left;
  for (const auto& [name, word] : sends_.at(number).sources) left[name];
  const auto take = [&](const Send& send) {
    if (send.state == SendState::kTakenBack) return;
    for (const auto& [name, word] : send.sources) {
      const auto source = left.find(name);
      if (source == left.end()) continue;
      source->second.word.Add(word);
      source->second.is_told = true;
    }
  };
  // Those changed by this entry may have begun by it.
  for (const auto& [changed, send] : sends_) take(send);
  const absl::Status scanned = EachSend(snapshot, INT64_MAX, [&](const Send& stored) {
    if (!sends_.contains(stored.number)) take(stored);
    return true;
  });
  if (!scanned.ok()) return scanned;
  for (auto& [name, rest] : left) {
    const auto at = catalog.sources.find(name);
    if (at == catalog.sources.end() || !at->second.outside) continue;
    Source& source = at->second;
    rest.word.Add(*source.outside);
    static_cast<SourceWord&>(source) = rest.word;
    source.periodic = source.periodic && source.complete_through;
    const bool is_known = rest.is_told || source.retired || *source.outside != SourceWord();
    if (!is_known) catalog.sources.erase(at);
  }
  return absl::OkStatus();
}

void SendLedger::AppendTo(Batch& batch) const {
  for (const auto& [number, send] : sends_) {
    batch.Put(Space::kMeta, SendKey(number), EncodeSend(send));
  }
}

int64_t SendOf(const Event& event) {
  return event.tellings.empty() ? 0 : event.tellings.front().send;
}

void Hear(const SourceWord& word, bool by_send, Source& source) {
  if (by_send && !source.outside) source.outside = static_cast<const SourceWord&>(source);
  if (!by_send && source.outside) source.outside->Add(word);
  source.Add(word);
}

absl::StatusOr<std::optional<Send>> ReadSend(const Snapshot& snapshot, int64_t number) {
  const auto record = snapshot.Get(Space::kMeta, SendKey(number));
  if (!record.ok()) return record.status();
  if (!*record) return std::nullopt;
  auto send = DecodeSend(**record);
  if (!send.ok()) return send.status();
  send->number = number;
  return *std::move(send);
}

absl::Status EachSend(const Snapshot& snapshot, int64_t before,
                      const std::function<bool(const Send&)>& each) {
  absl::Status bad;
  const absl::Status scanned =
      snapshot.Scan(Space::kMeta, kSendPrefix, SendKey(before - 1), [&](auto key, auto value) {
        auto send = DecodeSend(value);
        bad = send.status();
        if (!bad.ok()) return false;
        send->number = ParseSendKey(key);
        return each(*send);
      });
  bad.Update(scanned);
  return bad;
}

absl::Status EachOrderOf(const Snapshot& snapshot, int64_t send,
                         const std::function<bool(const OrderKey&)>& each) {
  return snapshot.Scan(Space::kIndex, SendOrdersPrefix(send), "",
                       [&](auto key, auto) { return each(ParseSendOrderKey(key)); });
}

void IndexSends(const OrderKey& order, const std::vector<int64_t>& was,
                const std::vector<Event>& after, Batch& batch) {
  const std::vector<int64_t> is = SendsOf(after);
  for (const int64_t send : Without(is, was)) {
    batch.Put(Space::kIndex, SendOrderKey(send, order), "");
  }
  for (const int64_t send : Without(was, is)) {
    batch.Delete(Space::kIndex, SendOrderKey(send, order));
  }
}

absl::StatusOr<TakeBackEffect> EffectOfTakingBack(const Snapshot& snapshot, const Catalog& catalog,
                                                  const FoldRules& rules, int64_t send,
                                                  const std::function<bool()>& give_up) {
  TakeBackEffect effect;
  absl::Status bad;
  const absl::Status scanned = EachOrderOf(snapshot, send, [&](const OrderKey& order) {
    if (++effect.orders % kOrdersBetweenAsking == 0 && give_up && give_up()) {
      bad = absl::CancelledError("given up");
      return false;
    }
    const auto record = snapshot.Get(Space::kOrders, OrderRecordKey(order));
    bad = record.status();
    if (!bad.ok() || !*record) return bad.ok();
    auto events = DecodeOrder(**record);
    bad = events.status();
    if (!bad.ok()) return false;
    Count(Fold(order, *events, rules, *catalog.excuses), -1, effect);
    const TakenBack taken = TakeBack(*events, send);
    effect.events.gone += taken.gone;
    effect.events.staying += taken.staying;
    Count(Fold(order, *events, rules, *catalog.excuses), 1, effect);
    return true;
  });
  bad.Update(scanned);
  if (!bad.ok()) return bad;
  std::erase_if(effect.suppliers,
                [](const auto& one) { return one.second == TakeBackEffect::OfSupplier(); });
  return effect;
}

}  // namespace plumblane
