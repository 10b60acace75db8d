// The rates of all pairs and the priors fitted to them, kept between questions.
//
// A fleet is a function of the cells of all pairs, the ended days, the half-life and the scope;
// what is kept here only saves making it anew. Within a day the cells it reads change seldom:
// orders placed today settle later. When an entry does change them, the pairs it touched are
// counted again, and priors fitted again if any count differs.
//
// Cost: the first fleet of a day reads two measures of all pairs; then a question costs nothing, or
// after late news some 3 us for each pair touched, a fit (scoring/priors.h), and a microsecond a
// pair to make all of them candidates of a ranking. Some 1,000 bytes a pair (heap profile of eight
// fleets of 100,000); eight are kept, of large ones as many as have 200,000 pairs together, and two
// at least.
//
// The writer may make ahead what was asked lately, before a state can be seen, so that who asks of
// it does not have to.
//
// Thread-safe: one writer notes changes and makes ahead, any thread asks. Who asks while another
// who asks is making the same fleet waits for it.
#pragma once

#include <absl/status/statusor.h>

#include <cstdint>
#include <functional>
#include <list>
#include <map>
#include <memory>
#include <mutex>
#include <set>
#include <vector>

#include "cohorts/cell.h"
#include "engine/cell_changes.h"
#include "ranking/rank.h"
#include "scoring/priors.h"
#include "scoring/score.h"

namespace plumblane {

// Immutable.
struct Fleet {
  std::vector<PairOfFleet> pairs;  // ascending
  Priors pooled;                   // what the priors are fitted around
  FleetPriors priors;
  std::vector<RankCandidate> candidates;  // along `pairs`
  // Of a pair that has no cells, as of one with none settled.
  RankCandidate CandidateOf(const Pair& pair) const;
};

class FleetBook {
 public:
  // Days, half-lives and scopes asked about in turn are kept: the latest so many, and fewer where
  // together they have more than `most_pairs`; two are what one day is asked about.
  static constexpr size_t kLeastFleets = 2, kMostFleets = 8;
  // Made ahead are so many, of no more pairs than that, since the writer is held up by it, and for
  // so many states after the last question.
  static constexpr size_t kMostAhead = 2, kMostPairsAhead = 500;
  static constexpr int kStatesAhead = 16;
  explicit FleetBook(size_t most_pairs = 200'000) : most_pairs_(most_pairs) {}

  struct Question {
    Moment ended;  // scoring/priors.h
    ScoreRules rules;
    Scope scope = Scope::kCounted;
  };

  // The state to make a fleet from. Reading the empty pair gives the sum over all; `again` says
  // that it is likely to be read again soon.
  struct Source {
    uint64_t sequence = 0;
    const std::set<Pair>& pairs;
    std::function<absl::StatusOr<std::shared_ptr<const MeasureSet>>(const Pair&, bool again)> read;
  };

  // The fleet of `source`, or of a state some entries later while those are being applied.
  absl::StatusOr<std::shared_ptr<const Fleet>> Ask(const Question& question, const Source& source);

  // As for SeriesCache.
  void Note(uint64_t sequence, const CellChanges& changes);

  // Makes what was asked lately, for the days ended in `source`; after Note, before anybody can ask
  // with it. Does not hold up who asks meanwhile. What cannot be read is left to who asks.
  void MakeAhead(const Moment& ended, const Source& source);

 private:
  struct Key {
    Instant now, horizon;
    double half_life_days;
    int claim_window_days;
    Scope scope;
    auto operator<=>(const Key&) const = default;
  };
  // The entries that changed a pair, the first and the last of them.
  struct Entries {
    uint64_t first, last;
  };
  struct Made {
    Key key;
    std::mutex making;                   // held while `fleet` is being made by who asks
    std::shared_ptr<const Fleet> fleet;  // guarded by mutex_
    std::map<Pair, Entries> changed;     // since; guarded by mutex_
    uint64_t times = 0;                  // `fleet` was made; guarded by mutex_
    uint64_t since = 0;                  // changes are noted from this state on
    bool dropped = false;                // changes are noted no more; guarded by mutex_
  };
  struct Lately {
    ScoreRules rules;
    Scope scope;
    int states_ahead;
  };

  // What a fleet is made of.
  struct Start {
    std::shared_ptr<const Fleet> before;
    std::map<Pair, Entries> changed;  // by entries that the source has
    uint64_t times = 0;
  };

  static Key KeyOf(const Question& question);
  // These with mutex_ held.
  std::shared_ptr<Made> FindOrMake(const Key& key, const Source& source);
  static Start StartOf(const Made& made, const Source& source);
  // Nothing where another was made since `from`: of a state that may be later.
  static void Keep(Made& made, std::shared_ptr<const Fleet> fleet, const Start& from,
                   const Source& source);
  void NoteAsked(const Question& question);
  // What changed makes of what was before, or of nothing; the latter itself where it makes no
  // difference.
  static absl::StatusOr<std::shared_ptr<const Fleet>> Make(const Question& question,
                                                           const Source& source, const Start& from);

  const size_t most_pairs_;
  std::mutex mutex_;
  std::list<std::shared_ptr<Made>> made_;  // latest asked first
  std::vector<Lately> lately_;             // asked of the latest state
  Instant latest_ended_ = kEarliestInstant;
  uint64_t noted_ = 0;
};

}  // namespace plumblane
