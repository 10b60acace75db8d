// A question that a person answers on a terminal.
#pragma once

#include <absl/strings/ascii.h>
#include <unistd.h>

#include <string>

namespace plumblane::client {

// Reads one line: yes or y.
inline bool IsYes(int in_fd) {
  std::string answer;
  for (char c = 0; answer.size() < 10 && read(in_fd, &c, 1) == 1 && c != '\n';) answer += c;
  return absl::AsciiStrToLower(answer) == "yes" || absl::AsciiStrToLower(answer) == "y";
}

}  // namespace plumblane::client
