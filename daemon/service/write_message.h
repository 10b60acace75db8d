// A notice as it is sent out.
#pragma once

#include <string>

#include "delivery/sink.h"
#include "engine/alerts_told.h"

namespace plumblane {

// `after`: the state of the alert once the notice was taken. The data is a v1.AlertNotice. The id
// is the cursor with the alert: cursors alone begin anew in a new data directory.
Message MessageOf(const std::string& source, int64_t cursor, const AlertNotice& notice,
                  const ToldAlert& after);

}  // namespace plumblane
