#include "client/help_text.h"

namespace plumblane::client {
namespace {

constexpr Help kHelp[] = {
    {"verify",
     R"(  plumblane verify
  plumblane verify && echo "all is well"
  plumblane verify --json | jq -r .difference)",
     R"(Checks every file, counts every order anew and compares with what is stored, as of
one moment, while events come in; minutes for millions of orders. Exit code 1: there
is a difference, the first is told. Without a daemon: plumblaned --verify.)"},
    {"backup",
     R"(  plumblane backup /mnt/backup/plumblane
  plumblane backup /mnt/backup/plumblane --keep 14)",
     R"(The copy is as of one moment, on the disk, and read back before this returns. What
copies have in common is there once, so a second one is quick. The directory must be
outside the data, better on another disk; the daemon writes it. Back again, into a new
data directory: plumblaned --data DATA --restore DIR.)"},
};

}  // namespace

std::span<const Help> UpkeepHelp() { return kHelp; }

}  // namespace plumblane::client
