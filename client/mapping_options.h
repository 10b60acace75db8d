// What the command line says of tables and maps.
#pragma once

#include <map>
#include <optional>
#include <string>

#include "base/time.h"

namespace plumblane::client {

// How tables become events.
struct MappingOptions {
  std::string map;                           // the file of the map, "" = files are of events
  std::optional<Instant> revision;           // when the export was made; none = the file's own time
  std::map<std::string, std::string> joins;  // files of the map's [[join]], by name
  bool dry_run = false;
};

// The table to propose a map for.
struct ProposeOptions {
  std::string file, output;  // output "" = standard output
};

}  // namespace plumblane::client
