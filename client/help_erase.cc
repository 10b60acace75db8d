#include "client/help_text.h"

namespace plumblane::client {
namespace {

constexpr Help kHelp[] = {
    {"erase",
     R"(  plumblane erase --order 1042 1043 --shop harbour
  plumblane erase --order 1042 --yes
  plumblane erase --supplier lotus-works)",
     R"(Of orders goes what was told of them, all they add to scores, rates and times,
their assignments, and excuses given for them alone; the daemon's log has
nothing of them either. What is sent of them again is refused.

Of a supplier go its orders, whole where another supplier has a part of one,
what those purged before still count, assignments to it and its name in others,
its quotes, terms, pauses and item codes, and its alerts. It takes a while, in
steps; cut short, say it again. What is told of the supplier later counts anew.

Left are a hash of each order, by which it is known again, and copies made
before: backups, exports, files of scores, what was mailed, the audit. Replace
or delete those yourself. The disk gives the bytes up when the store is next
compacted.)"},
};

}  // namespace

std::span<const Help> EraseHelp() { return kHelp; }

}  // namespace plumblane::client
