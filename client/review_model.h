// A review as its templates need it: plain texts, in the order in which a reader decides: what to
// raise, what changed, the accounts, the excuses, what is too thin, how it was counted.
//
// Pure and thread-safe.
#pragma once

#include "client/view.h"
#include "plumblane/v1/reviews.pb.h"

namespace plumblane::client {

// Names in it are as they were sent: whoever shows them escapes them.
View ReviewModel(const v1::Review& review);

}  // namespace plumblane::client
