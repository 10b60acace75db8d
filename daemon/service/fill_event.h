// What was agreed, written into a `paid` event where its sender said nothing. The stored event then
// needs no quotes to be read again, and a later quote changes nothing of it.
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

#include "agreements/agreements.h"
#include "base/zones.h"
#include "orders/event.h"

namespace plumblane {

// `event` is what ReadEvent made of `sent`; its content hash stays that of what was sent. Pure and
// thread-safe.
void FillFromAgreements(const v1::Event& sent, const Agreements& agreements, const Zones& zones,
                        Event& event);

}  // namespace plumblane
