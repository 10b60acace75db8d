// Which threads wait for a processor when there are too few: work that nobody waits for should not
// make those wait who ask. Linux; left as it is where the system does not allow it.
//
// A turn is how long a thread runs before the scheduler looks for another. It moves no share of the
// processors: a thread with short turns gets more of them. What wakes up interrupts what runs only
// if its own turns are the shorter ones; else it waits until that turn is over and the scheduler
// looks again, up to some milliseconds. So from Linux 6.12 on; before, all turns are alike.
#pragma once

#include <cstdint>

namespace plumblane {

// Below what is usual (about 3 ms) for who answers, above it for who works through what came in.
inline constexpr int64_t kAnswerTurnMicros = 100;
inline constexpr int64_t kBackgroundTurnMicros = 20'000;

// The turns of the calling thread and of those that it starts from now on. 100 to 100,000; 0 = the
// usual ones.
void SetTurn(int64_t micros);

// The calling thread runs `steps` of niceness behind others of its process, in background turns.
void GiveWay(int steps);

}  // namespace plumblane
