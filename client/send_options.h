// What the command line says of sending, and of what was sent.
#pragma once

#include <cstdint>
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
  int retry_seconds = 30;         // tries so long to go on when the daemon is away
  std::string follow;             // "" = not: a file or directory to follow, instead of files
};

struct SendsOptions {
  bool all = false, yes = false;  // not the latest only; do not ask
  int64_t number = 0;             // of the one to take back
};

}  // namespace plumblane::client
