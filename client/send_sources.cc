#include "client/send_sources.h"

#include <utility>
#include <variant>

#include "client/event_drafts.h"
#include "client/mapped_file.h"

namespace plumblane::client {
ExitCode LoadMap(const SendOptions& options, const Io& io, SendSources& to) {
  if (options.mapping.map.empty()) return kDone;
  std::variant<MapFile, Refusal> map = MappedFile::Load(options.mapping.map);
  if (const Refusal* refusal = std::get_if<Refusal>(&map)) {
    io.err << refusal->message << "\n";
    return refusal->exit_code;
  }
  to.map = std::make_unique<MapFile>(std::get<MapFile>(std::move(map)));
  to.countries = std::make_unique<Countries>();
  return kDone;
}

std::variant<std::unique_ptr<DraftSource>, Refusal> OpenSource(const std::string& path,
                                                               const SendOptions& options,
                                                               const Io& io,
                                                               const SendSources& with) {
  if (with.map) {
    auto opened = MappedFile::Open(path, io.in_fd, with.map.get(), options.mapping,
                                   DefaultsOf(options), with.countries.get());
    if (Refusal* refusal = std::get_if<Refusal>(&opened)) return std::move(*refusal);
    return std::get<std::unique_ptr<MappedFile>>(std::move(opened));
  }
  auto opened = EventFile::Open(path, io.in_fd, options.format);
  if (Refusal* refusal = std::get_if<Refusal>(&opened)) return std::move(*refusal);
  return std::make_unique<EventDrafts>(std::get<std::unique_ptr<EventFile>>(std::move(opened)),
                                       DefaultsOf(options));
}

EventDefaults DefaultsOf(const SendOptions& options) {
  EventDefaults defaults;
  defaults.shop = options.shop;
  defaults.source = options.source.empty() ? kDefaultSource : options.source;
  defaults.promise_days = options.promise_days;
  return defaults;
}

ExitCode OpenSources(const SendOptions& options, const Io& io, SendSources& to) {
  ExitCode code = LoadMap(options, io, to);
  const bool is_unmapped = code != kDone;
  int standard_inputs = 0;
  for (const std::string& path : options.files) {
    if (is_unmapped) break;
    if (path == "-" && ++standard_inputs > 1) {
      io.err << "\"-\" can be read only once\n";
      return kUsage;
    }
    auto opened = OpenSource(path, options, io, to);
    if (const Refusal* refusal = std::get_if<Refusal>(&opened)) {
      io.err << refusal->message << "\n";
      if (code == kDone) code = refusal->exit_code;
    } else {
      to.sources.push_back(std::get<0>(std::move(opened)));
    }
  }
  if (code != kDone) io.err << "nothing was sent\n";
  return code;
}

}  // namespace plumblane::client
