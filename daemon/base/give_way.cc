#include "base/give_way.h"

#include <linux/sched.h>
#include <linux/sched/types.h>
#include <sys/resource.h>
#include <sys/syscall.h>
#include <unistd.h>

namespace plumblane {

void SetTurn(int64_t micros) {
  sched_attr attributes{};
  attributes.size = sizeof(attributes);
  attributes.sched_flags = SCHED_FLAG_KEEP_POLICY;
  attributes.sched_nice = getpriority(PRIO_PROCESS, 0);
  attributes.sched_runtime = static_cast<uint64_t>(micros) * 1000;
  syscall(SYS_sched_setattr, 0, &attributes, 0);
}

void GiveWay(int steps) {
  setpriority(PRIO_PROCESS, 0, getpriority(PRIO_PROCESS, 0) + steps);
  SetTurn(kBackgroundTurnMicros);
}

}  // namespace plumblane
