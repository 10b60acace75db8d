// Which calls may be made again by themselves when the daemon could not be reached, or went away
// before it said anything: those that change nothing, and those that change the same however often.
//
// Up to four times, after waits by chance of up to 0.1, 0.4 and 1.6 s: somebody who looks at a
// daemon that is not there hears so within about two seconds. All else is made once: whether it was
// done before the break nobody can tell from here. Events are sent again by the sender (sender.h),
// which knows what has a receipt.
#pragma once

#include <string>

namespace plumblane::client {

// For the library, which does it: a service config (JSON).
std::string RetryConfig();

// `method` as "plumblane.v1.Scores/GetScore".
bool IsRetried(const std::string& method);

}  // namespace plumblane::client
