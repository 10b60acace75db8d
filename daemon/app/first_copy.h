// Data for a daemon of a cluster that has none, from the copy that another one keeps.
#pragma once

#include <absl/status/status.h>

#include <functional>
#include <string>
#include <vector>

#include "app/settings.h"

namespace plumblane {

// Makes the store of the first copy that can be had; `addresses` are of the daemons that keep one,
// in the order to try them. Its checksums are read, and everything in it is counted again, before
// it is in its place: whatever fails or is killed on the way leaves no store. `still_at_it` is
// called now and then. Error UNAVAILABLE: none could be had; it says why of each.
absl::Status FetchFirstCopy(const Settings& settings, const std::vector<std::string>& addresses,
                            const std::function<void()>& still_at_it);

}  // namespace plumblane
