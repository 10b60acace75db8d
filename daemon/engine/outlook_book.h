// The outlooks of pairs (scoring/outlook.h) as of the ended days, kept between questions. A cache:
// with or without it every answer is the same.
//
// What happens today shows in an outlook only when its day is over, so within a day hardly any is
// made twice. Keeps those of the day and half-life asked last, 3.7 KiB each.
//
// Thread-safe: one writer notes changes, any thread asks.
#pragma once

#include <cstdint>
#include <map>
#include <memory>
#include <mutex>

#include "cohorts/cell.h"
#include "scoring/moment.h"
#include "scoring/outlook.h"

namespace plumblane {

class OutlookBook {
 public:
  struct Question {
    Moment ended;  // scoring/priors.h
    ScoreRules rules;
  };

  // That of the state entry `sequence` has made; null when it is to be made.
  std::shared_ptr<const Outlook> Find(const Question& question, uint64_t sequence,
                                      const Pair& pair);
  void Keep(const Question& question, uint64_t sequence, const Pair& pair,
            std::shared_ptr<const Outlook> outlook);

  // As for SeriesCache.
  void Note(uint64_t sequence, const Cells& changes);

 private:
  struct Kept {
    uint64_t sequence;
    std::shared_ptr<const Outlook> outlook;
  };
  bool IsAsked(const Question& question) const;

  std::mutex mutex_;
  Question asked_{};
  uint64_t since_ = 0;  // changes are known from the state of this entry on
  uint64_t noted_ = 0;
  std::map<Pair, uint64_t> changed_;  // by the entry that last changed it
  std::map<Pair, Kept> kept_;
};

}  // namespace plumblane
