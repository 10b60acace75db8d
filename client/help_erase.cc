#include "client/help_text.h"

namespace plumblane::client {
namespace {

constexpr Help kHelp[] = {
    {"erase",
     R"(  plumblane erase --order 1042 1043 --shop harbour
  plumblane erase --order 1042 --yes)",
     R"(Gone are what was told of them, all they add to scores, rates and times, their
assignments, and excuses given for them alone; the daemon's log has nothing of
them either. What is sent of them again is refused. Left are a hash of each, by
which it is known again, and what was told of alerts. Not reached are backups,
exports and files of scores made before: replace or delete those yourself. The
disk gives the bytes up when the store is next compacted.)"},
};

}  // namespace

std::span<const Help> EraseHelp() { return kHelp; }

}  // namespace plumblane::client
