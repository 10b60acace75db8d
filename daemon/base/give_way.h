// Lets a thread give way: work that nobody waits for should not make those wait who ask.
#pragma once

#include <sys/resource.h>

namespace plumblane {

// The calling thread runs behind the others of its process wherever processors are short, by so
// much niceness (Linux: a thread has one of its own). Left as it is when the system does not allow
// it.
inline void GiveWay(int niceness) {
  setpriority(PRIO_PROCESS, 0, getpriority(PRIO_PROCESS, 0) + niceness);
}

}  // namespace plumblane
