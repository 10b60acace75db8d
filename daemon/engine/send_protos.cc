#include "engine/send_protos.h"

namespace plumblane {

namespace pb = ::plumblane::store::v1;

void ToProto(const SourceWord& word, pb::SourceWord& out) {
  out.set_sends_deliveries(word.sends_deliveries);
  if (word.complete_through) out.set_complete_through_millis(word.complete_through->millis);
  if (word.last_event) out.set_last_event_millis(word.last_event->millis);
}

SourceWord FromProto(const pb::SourceWord& in) {
  SourceWord word{in.sends_deliveries(), {}, {}};
  if (in.has_complete_through_millis()) word.complete_through = {in.complete_through_millis()};
  if (in.has_last_event_millis()) word.last_event = {in.last_event_millis()};
  return word;
}

void ToProto(const SendBegun& begun, pb::SendBegun& out) {
  out.mutable_files()->Assign(begun.files.begin(), begun.files.end());
  out.set_shop(begun.shop);
  out.set_source(begun.source);
  out.set_number(begun.number);
}

SendBegun FromProto(const pb::SendBegun& in) {
  return {{in.files().begin(), in.files().end()}, in.shop(), in.source(), in.number()};
}

}  // namespace plumblane
