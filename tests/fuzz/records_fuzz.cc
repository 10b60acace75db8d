// Records on the disk: whatever the bytes, they are refused or read, and what was read is written
// as bytes that read the same. What a plain order is said to be is what the fold finds.
#include <algorithm>

#include "fuzz/fuzz.h"
#include "storage/cell_codec.h"
#include "storage/order_codec.h"

namespace {

using namespace plumblane;

bool IsAbout(const std::optional<PlainSum>& sum, const std::optional<Money>& money) {
  return sum.has_value() == money.has_value() &&
         (!sum ||
          (sum->minor_units == money->minor_units && sum->currency == money->currency.code()));
}

void CheckPlain(const PlainOrder& plain, const std::vector<Event>& events) {
  const OrderState state = Fold({"shop", "1"}, events, {}, {});
  FUZZ_CHECK(state.parts.size() == 1);
  const PartState& part = state.parts[0];
  FUZZ_CHECK(plain.part == part.part && plain.supplier == part.supplier);
  FUZZ_CHECK(plain.origin == part.lane.origin && plain.destination == part.lane.destination);
  FUZZ_CHECK(plain.service == part.lane.service && plain.item == part.item);
  FUZZ_CHECK(plain.promise == part.promise && plain.paid == part.paid);
  FUZZ_CHECK(plain.shipped == part.shipped && plain.delivered == part.delivered);
  FUZZ_CHECK(IsAbout(plain.cost, part.cost) && IsAbout(plain.quoted, part.quoted));
}

void CheckOrder(const std::string& bytes) {
  const auto events = DecodeOrder(bytes);
  const auto plain = ReadPlainOrder(bytes);
  FUZZ_CHECK(events.ok() || absl::IsDataLoss(events.status()));
  if (!events.ok()) return;
  for (const Event& event : *events) FUZZ_CHECK(!NameOf(event.type).empty());
  if (!std::is_sorted(events->begin(), events->end(), Earlier)) return;
  const auto again = DecodeOrder(EncodeOrder(*events));
  FUZZ_CHECK(again.ok() && *again == *events);
  FUZZ_CHECK(Fold({"shop", "1"}, *events, {}, {}).parts.size() <= events->size());
  if (plain && !events->empty()) CheckPlain(*plain, *events);
}

void CheckEvent(const std::string& bytes) {
  const auto event = DecodeEvent(bytes);
  FUZZ_CHECK(event.ok() || absl::IsDataLoss(event.status()));
  if (!event.ok()) return;
  const auto again = DecodeEvent(EncodeEvent(*event));
  FUZZ_CHECK(again.ok() && *again == *event);
}

void CheckPage(const std::string& bytes) {
  const Day first = FirstDayOf(1282);
  const auto page = DecodePage(first, bytes);
  FUZZ_CHECK(page.ok() || absl::IsDataLoss(page.status()));
  PageReader reader(first, bytes);
  Series read;
  for (Cohort cohort; reader.Next(cohort);) read.push_back(cohort);
  FUZZ_CHECK(reader.status().ok() == page.ok());
  if (!page.ok()) return;
  FUZZ_CHECK(read == *page);
  const auto again = DecodePage(first, EncodePage(first, *page));
  FUZZ_CHECK(again.ok() && *again == *page);
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const uint8_t* data, size_t size) {
  plumblane::fuzz::Input input(data, size);
  const size_t kind = input.Choose(3);
  if (kind == 0) CheckOrder(input.Rest());
  if (kind == 1) CheckEvent(input.Rest());
  if (kind == 2) CheckPage(input.Rest());
  return 0;
}
