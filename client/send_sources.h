// Opens what `send` is to send: files of events, or tables with a map. Everything that is wrong
// with any of them, or with the map, is said at once, and then nothing is opened.
#pragma once

#include <memory>
#include <string>
#include <variant>
#include <vector>

#include "client/countries.h"
#include "client/draft_source.h"
#include "client/exit_codes.h"
#include "client/flat_event.h"
#include "client/invocation.h"
#include "client/io.h"
#include "client/map_file.h"

namespace plumblane::client {

// Sources, and what they rest on.
struct SendSources {
  std::unique_ptr<MapFile> map;  // none: files of events
  std::unique_ptr<Countries> countries;
  std::vector<std::unique_ptr<DraftSource>> sources;  // of each file
};

// What events are taken to say where they do not.
EventDefaults DefaultsOf(const SendOptions& options);

// The map that the options name, if they name one. Not kDone: it was said what is wrong with it.
ExitCode LoadMap(const SendOptions& options, const Io& io, SendSources& to);

// One file, by the map if there is one. `with` must outlive it.
std::variant<std::unique_ptr<DraftSource>, Refusal> OpenSource(const std::string& path,
                                                               const SendOptions& options,
                                                               const Io& io,
                                                               const SendSources& with);

// Not kDone: it was said on `io.err` what is wrong.
ExitCode OpenSources(const SendOptions& options, const Io& io, SendSources& to);

}  // namespace plumblane::client
