// What is sent out, and where it goes.
#pragma once

#include <chrono>
#include <cstdint>
#include <optional>
#include <span>
#include <string>

#include "base/stop_event.h"
#include "base/time.h"

namespace plumblane {

// A notice in words, for people and for machines.
struct Message {
  int64_t cursor = 0;
  std::string source;    // which daemon says so; with `id` unique
  std::string id;        // a function of the notice: receivers tell repeats by it
  std::string type;      // "plumblane.alert.raised"
  std::string subject;   // what is watched: "supplier lotus", "lane VN-DE"
  Instant time;          // when it was told
  std::string headline;  // "supplier lotus: raised"
  std::string text;      // sentences, UTF-8, lines ended by "\n"
  std::string data;      // the notice as a JSON document
};

// What became of an attempt.
struct SendResult {
  enum class Kind {
    kDelivered,
    kFailed,       // no answer, or one that says later: it is tried again
    kRefused,      // an answer that the message itself is wrong: given up after a few tries
    kStopped,      // the receiver wants no more of any
    kInterrupted,  // the daemon stops
  };
  Kind kind = Kind::kDelivered;
  int code = 0;                                         // of the answer; 0 = none
  std::string detail = {};                              // in words; no secrets
  std::optional<std::chrono::seconds> not_before = {};  // kFailed: the receiver asks for so long
  bool operator==(const SendResult&) const = default;
};

class Sink {
 public:
  virtual ~Sink() = default;
  // Tries once, in bounded time; interrupted soon after `stop` is set. `now` is what clocks on the
  // wall show. One message at a time, unless the sink is set up for digests. Used by one thread.
  virtual SendResult Send(std::span<const Message> messages, Instant now,
                          const StopEvent& stop) = 0;
};

}  // namespace plumblane
