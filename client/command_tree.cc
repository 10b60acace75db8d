#include "client/command_tree.h"

namespace plumblane::client {

std::vector<const Command*> AllCommands(const Command& root) {
  std::vector<const Command*> all = {&root};
  for (const Command& command : root.commands) {
    const std::vector<const Command*> below = AllCommands(command);
    all.insert(all.end(), below.begin(), below.end());
  }
  return all;
}

}  // namespace plumblane::client
