// An event as it comes over the wire: refused with a reason, or taken; what is taken can be kept,
// read back, folded and listed, and is taken the same a second time.
#include <google/protobuf/io/tokenizer.h>
#include <google/protobuf/stubs/logging.h>
#include <google/protobuf/text_format.h>

#include <memory>

#include "fuzz/fuzz.h"
#include "orders/fold.h"
#include "orders/tellings.h"
#include "service/read_event.h"
#include "storage/keys.h"
#include "storage/order_codec.h"

namespace {

using namespace plumblane;

class Silent final : public google::protobuf::io::ErrorCollector {
 public:
  void AddError(int, int, const std::string&) override {}
};

// As text a change makes another lawful message more often than as bytes.
bool Parse(bool as_text, const std::string& input, v1::Event& event) {
  if (!as_text) return event.ParseFromString(input);
  Silent silent;
  google::protobuf::TextFormat::Parser parser;
  parser.RecordErrorsTo(&silent);
  return parser.ParseFromString(input, &event);
}

void CheckTaken(const OrderEvent& taken) {
  FUZZ_CHECK(CheckId(taken.order.shop).ok() && CheckId(taken.order.order_id).ok());
  const auto read = DecodeEvent(EncodeEvent(taken.event));
  FUZZ_CHECK(read.ok() && *read == taken.event);
  std::vector<Event> events;
  FUZZ_CHECK(Tell(events, taken.event) == Told::kNew);
  FUZZ_CHECK(Tell(events, taken.event) == Told::kKnown);
  for (const PartState& part : Fold(taken.order, events, {}, {}).parts) {
    for (const std::string& key : IndexKeys(taken.order, part)) FUZZ_CHECK(!key.empty());
    for (const Entry& entry : part.entries) {
      FUZZ_CHECK(ParseCellPageKey(CellPageKey({part.pair(), entry.measure, entry.day})).ok());
    }
  }
  FUZZ_CHECK(ParseOrderRecordKey(OrderRecordKey(taken.order)) == taken.order);
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const uint8_t* data, size_t size) {
  static const Zones zones = Zones::Load().value();
  google::protobuf::SetLogHandler(nullptr);
  plumblane::fuzz::Input input(data, size);
  const bool as_text = input.Choose(2) == 1;
  v1::Event event;
  if (!Parse(as_text, input.Rest(), event)) return 0;
  const Instant received{1'790'000'000'000};  // in 2026
  OrderEvent read, again;
  if (const auto rejection = ReadEvent(event, zones, received, read)) {
    FUZZ_CHECK(!rejection->code.empty() && !rejection->field.empty());
    FUZZ_CHECK(!rejection->message.empty());
    return 0;
  }
  CheckTaken(read);
  FUZZ_CHECK(!ReadEvent(event, zones, received, again) && again == read);
  return 0;
}
