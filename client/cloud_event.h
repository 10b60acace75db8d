// The envelope of CloudEvents 1.0 (JSON format) around an event in the words of event files.
//
//   id       is the event_id; data that names another contradicts it
//   source   is the source where data names none: without "scheme://" and outer slashes, each
//            other slash written ":", since ids hold none
//   type     gives the type where data has none: its last word, a version ".v1" aside
//   time     is the time where data has none
//
// `data` must be a JSON object; `data_base64` and other media types are refused. Other attributes
// are passed over. An attribute that is null or empty is not there.
//
// Pure and thread-safe.
#pragma once

#include <optional>
#include <vector>

#include "client/row.h"

namespace plumblane::client {

// It says its `specversion`.
bool IsCloudEvent(const std::vector<Cell>& attributes);

// Adds to `data`, the fields inside, what the attributes say; or says what is wrong. REQUIRES:
// IsCloudEvent().
std::optional<Complaint> OpenCloudEvent(const std::vector<Cell>& attributes,
                                        std::optional<std::vector<Cell>>& data);

}  // namespace plumblane::client
