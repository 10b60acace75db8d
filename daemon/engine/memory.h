// What the engine keeps in memory of the store to answer fast. Never the truth.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <string>

#include "engine/alert_book.h"
#include "engine/answers.h"
#include "engine/cell_changes.h"
#include "engine/fleet_book.h"
#include "engine/outlook_book.h"
#include "engine/series_cache.h"
#include "engine/state_book.h"

namespace plumblane {

struct Memory {
  explicit Memory(size_t series_bytes) : series(series_bytes) {}

  SeriesCache series;
  FleetBook fleets;
  OutlookBook outlooks;
  AlertBook alerts;
  // When suppliers were last heard of; none = never.
  StateBook<std::string, std::optional<Instant>> heard{/*most=*/100'000};
  // Scores as of now, without what is told of suppliers besides; each weighs as many as it has of
  // pairs, and one.
  StateBook<ScoreKey, std::shared_ptr<const WithBasis<ScoreAnswer>>> scores{/*most=*/4'096};

  // What entry `sequence` changed; by the writer, before a view of it can be had.
  void Note(uint64_t sequence, const CellChanges& changes) {
    series.Note(sequence, changes);
    fleets.Note(sequence, changes);
    outlooks.Note(sequence, changes);
    alerts.Note(sequence, changes);
  }

  // After that, by the writer, once one can.
  void Settle() { series.Settle(); }
};

}  // namespace plumblane
