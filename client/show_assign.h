// What was given to whom, as a person reads it.
//
// Pure.
#pragma once

#include <string>

#include "plumblane/v1/sourcing.pb.h"

namespace plumblane::client {

// One order's pick. `dry_run`: nothing was kept. REQUIRES: it has an assignment.
std::string ShowPick(const v1::AssignOrderResult& result, bool dry_run, int width);

// "trial order, about 0.40 EUR dearer than copper-ferry"; "" for any other.
std::string TrialText(const v1::Assignment& assignment);

// All that match, and what they are expected to have saved.
std::string ShowAssignments(const v1::ListAssignmentsResponse& answer, int width);

}  // namespace plumblane::client
