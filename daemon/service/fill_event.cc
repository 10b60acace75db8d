#include "service/fill_event.h"

#include <absl/strings/str_cat.h>

namespace plumblane {
namespace {

std::string FillItem(const ItemBook& items, Event& event) {
  if (event.item.empty()) return "";
  if (auto ours = items.OursFor(event.supplier, event.item)) {
    event.supplier_item = std::move(event.item);
    event.item = *std::move(ours);
  } else if (items.IsAmbiguous(event.supplier, event.item)) {
    return absl::StrCat("counts as our item ", event.item, ", not as ",
                        *items.ItemOf(event.supplier, event.item), ", which ", event.supplier,
                        " calls so");
  }
  return "";
}

void FillPaid(const v1::Event& sent, const Agreements& agreements, const Zones& zones,
              Event& event) {
  static const Terms kNoTerms;
  const HeldTerms* held = agreements.terms.Find(event.supplier);
  const Terms& terms = held ? held->terms : kNoTerms;
  if (event.origin.empty()) event.origin = terms.origin;
  if (sent.service().empty()) event.service = terms.service;

  std::optional<PromisedDays> promise = terms.promise;
  const bool may_be_quoted =
      !agreements.quotes.all().empty() && !event.origin.empty() && !event.destination.empty();
  // Only now: the day at a destination of several time zones takes microseconds.
  if (!may_be_quoted && !promise) return;
  const Day paid = zones.DayAt(event.time, event.destination);
  if (may_be_quoted) {
    const int64_t units = event.units.value_or(1);
    const Lane lane{event.origin, event.destination, event.service};
    if (const HeldQuote* quote =
            agreements.quotes.Find(event.supplier, event.item, lane, units, paid)) {
      event.quoted = LandedPrice(quote->quote, units);
      if (quote->quote.promise) promise = quote->quote.promise;
    }
  }
  if (!promise || event.promise || event.promise_days) return;
  const Day promised = PromisedDay(*promise, paid, terms.closures);
  event.promise = zones.PromiseAfter(event.time, promised - paid, event.destination);
  event.promise_implied = true;
}

}  // namespace

std::string FillFromAgreements(const v1::Event& sent, const Agreements& agreements,
                               const Zones& zones, Event& event) {
  if (event.supplier.empty()) return "";
  std::string remark = FillItem(agreements.items, event);
  if (event.type == EventType::kPaid) FillPaid(sent, agreements, zones, event);
  return remark;
}

}  // namespace plumblane
