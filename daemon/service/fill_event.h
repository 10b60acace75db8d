// What was agreed, written into an event. The stored event then needs no quotes and no item codes
// to be read again, and a later load changes nothing of it.
//
//   item              ours, where the event names its supplier and says that supplier's code; what
//                     was sent is kept in supplier_item. Where the code is an item of ours too,
//                     that is meant, and the answer says so (agreements/items.h). Of every event.
//
// The rest where its sender said nothing, and only of `paid`:
//
//   origin, service   of the terms; a service sent as "-" is none and stays none
//   quoted            the landed price of the quote that holds on the day it was paid, for the
//                     units sent or 1; needs supplier and both lane ends
//   promise           where neither moment nor days were sent: the days of that quote, else of the
//                     terms, past the supplier's closures, to the end of that day at the
//                     destination, as days that were sent; marked as implied
//
// Days are those of the calendar at the destination, so that a bare date is the day it names.
#pragma once

#include <plumblane/v1/event.pb.h>

#include <string>

#include "agreements/agreements.h"
#include "base/zones.h"
#include "orders/event.h"

namespace plumblane {

// `event` is what ReadEvent made of `sent`; its content hash stays that of what was sent. Returns
// what its sender may want to hear of it, or "". Pure and thread-safe.
std::string FillFromAgreements(const v1::Event& sent, const Agreements& agreements,
                               const Zones& zones, Event& event);

}  // namespace plumblane
