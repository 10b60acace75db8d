// One line of NDJSON to one row: a flat object in the words of event files, or such an object in
// the envelope of CloudEvents 1.0 (cloud_event.h), told by its `specversion`.
#pragma once

#include "client/line_reader.h"
#include "client/row.h"

namespace plumblane::client {

// Reads a line that holds one JSON object. A name given twice is refused, not overwritten.
// Numbers keep their digits as written, so that 13.75 is exactly that. Pure and thread-safe.
RowOrRejection ReadJsonRow(const Line& line);

}  // namespace plumblane::client
