#include "client/help_text.h"

namespace plumblane::client {
namespace {

constexpr Help kHelp[] = {
    {"sends",
     R"(  plumblane sends
  plumblane sends --all
  plumblane sends undo 12
  plumblane sends --json | jq '.sends[] | select(.state == "STATE_OPEN")')",
     R"(The latest first. Events: new, and those known already. From and to are the
earliest and latest time of its events; log is where they stand in the daemon's.
A send that is open was broken off, or goes on.)"},
    {"sends undo",
     R"(  plumblane sends undo 12
  plumblane sends undo 12 --yes)",
     R"(Shows first what it changes, and asks. Afterwards everything counts as if that
send had never been; what other sends told as well stays. So does what more than
four sends have told, and of more than four exports the oldest that is kept.
Alerts that were told stay told. To have it back, send the same files again.)"},
};

}  // namespace

std::span<const Help> SendsHelp() { return kHelp; }

}  // namespace plumblane::client
