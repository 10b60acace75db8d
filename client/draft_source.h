// Where `send` gets its events from: a file of events, or a table with a map.
#pragma once

#include <optional>
#include <string>
#include <variant>

#include "client/flat_event.h"
#include "client/row.h"

namespace plumblane::client {

using DraftOrRejection = std::variant<Draft, Rejection>;

// Not thread-safe.
class DraftSource {
 public:
  virtual ~DraftSource() = default;

  // The next event or the next line that is none; none at the end. Waits for input.
  virtual std::optional<DraftOrRejection> Next() = 0;

  // False when Next() might have to wait longer than this.
  virtual bool ReadyWithin(int millis) const = 0;

  // As given, "stdin" for "-".
  virtual const std::string& name() const = 0;
  virtual bool is_stdin() const = 0;
  // How much of it was read, 0 to 1; none where nobody knows how much is still to come.
  virtual std::optional<double> share_read() const { return std::nullopt; }
  // Holds nothing at all.
  virtual bool is_empty() const = 0;
  // What went wrong while reading, "" = nothing.
  virtual const std::string& error() const = 0;
  // What a person should know once all was read, in whole lines without their ends.
  virtual std::vector<std::string> Remarks() const { return {}; }
  // When the export was made, where all of it was made at once.
  virtual std::optional<Instant> revision() const { return std::nullopt; }
};

}  // namespace plumblane::client
