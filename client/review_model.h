// A review as its templates need it: plain texts, in the order in which a reader decides: what to
// raise, what changed, the accounts, the excuses, what is too thin, how it was counted.
//
// Of very many accounts not all is told, so that a page stays one that is read and that a browser
// opens: in full the kMostInFull suppliers with the most at stake, then the most orders, and as
// many lanes with the most orders; of lists of rows the first kMostRows. Texts "..._rest" say how
// many are left out and which forms have them; "" = none are.
//
// Pure and thread-safe.
#pragma once

#include <cstddef>

#include "client/view.h"
#include "plumblane/v1/reviews.pb.h"

namespace plumblane::client {

inline constexpr size_t kMostInFull = 40, kMostRows = 500;

// Names in it are as they were sent: whoever shows them escapes them.
View ReviewModel(const v1::Review& review);

}  // namespace plumblane::client
