// What a template is filled with: texts, and further views that a part of it is repeated for.
#pragma once

#include <map>
#include <string>
#include <vector>

namespace plumblane::client {

// Names are those of the template. An empty text or list is as good as none: its section is left
// out. A name that a view does not hold is looked for in the view around it. "has_NAME" is true
// when the list NAME is not empty.
struct View {
  std::map<std::string, std::string> texts;
  std::map<std::string, std::vector<View>> lists;
};

}  // namespace plumblane::client
