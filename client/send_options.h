// What the command line says of `send`.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "base/ids.h"
#include "base/time.h"
#include "client/event_file.h"
#include "client/mapping_options.h"

namespace plumblane::client {

struct SendOptions {
  std::vector<std::string> files;  // "-" is standard input
  MappingOptions mapping;
  EventFile::Format format = EventFile::Format::kByContent;
  std::string shop = kDefaultShop;
  std::string source;  // "" = not given: kDefaultSource for events without
  std::optional<Instant> complete_through;
  std::optional<int> promise_days;
  std::string time_zone = "UTC";  // for bare dates at unknown destinations
  bool history = false;           // no alert that opens by it is sent out
};

}  // namespace plumblane::client
