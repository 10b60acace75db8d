// What the program's exit code says. Scripts rely on these numbers.
#pragma once

namespace plumblane::client {

enum ExitCode : int {
  kDone = 0,
  kFailed = 1,          // a file cannot be read, the daemon refuses, output cannot be written
  kUsage = 2,           // the command line, a CSV header or a question makes no sense
  kSomeRejected = 3,    // some events or rows were not taken; all others were
  kConditionHolds = 4,  // what was asked for is the case: an alert is active
  kNoSupplier = 5,      // no supplier can get the order
  kOutOfReach = 6,      // no daemon answers, or the connection broke
};

}  // namespace plumblane::client
