// Where submissions are handed in and from where the state is seen: what the daemon's services know
// of the engine, whether there is one (engine.h) or one for each partition (many_engines.h).
#pragma once

#include <cstddef>
#include <functional>
#include <optional>
#include <string>

#include "base/time.h"
#include "engine/engine_options.h"
#include "engine/shared_log.h"
#include "engine/submission.h"
#include "engine/view.h"

namespace plumblane {

// Thread-safe.
class Desk {
 public:
  virtual ~Desk() = default;

  using Answer = std::function<void(const Receipt&)>;
  // Queues a submission; an empty one only waits its turn. `answer` is called once, in turn, when
  // it is durable, applied and to be seen by Look, or has failed; it must be quick and must not
  // stop the desk. False: no room, `submission` is left as it was and `answer` will not be called;
  // use WhenRoom.
  virtual bool Submit(Submission&& submission, Answer answer) = 0;

  // Calls `ready` once, at once or from any thread, when there may be room again.
  virtual void WhenRoom(std::function<void()> ready) = 0;

  virtual View Look() const = 0;

  // Wall time, for checking how far ahead an event lies and for receive times.
  virtual Instant WallNow() const = 0;
  virtual ClockMode clock_mode() const = 0;
  virtual size_t QueuedEvents() const = 0;
  // False after a failed write, while told to refuse, before the start and after the stop.
  virtual bool AcceptsEvents() const = 0;

  // Until told "", submissions of others get RESOURCE_EXHAUSTED with these words; those that only
  // tell of alerts and their delivery are taken. What already waits is written.
  virtual void Refuse(std::string why) = 0;
  // Why events are refused, "" = they are not.
  virtual std::string refusal() const = 0;

  // None: the log is this daemon's alone.
  virtual std::optional<SharedLog> shared_log() const = 0;
};

}  // namespace plumblane
