#include <absl/strings/numbers.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include <algorithm>
#include <cstdlib>
#include <iostream>
#include <string>
#include <vector>

#include "client/run.h"

namespace {

constexpr int kNarrowest = 80;  // tables are made for this
constexpr int kWidest = 10'000;

int TerminalWidth() {
  const char* columns = std::getenv("COLUMNS");
  int told = 0;
  if (columns != nullptr && absl::SimpleAtoi(columns, &told) && told > 0) {
    return std::clamp(told, kNarrowest, kWidest);
  }
  winsize size{};
  if (!isatty(STDOUT_FILENO) || ioctl(STDOUT_FILENO, TIOCGWINSZ, &size) != 0) return kNarrowest;
  return std::max<int>(kNarrowest, size.ws_col);
}

}  // namespace

int main(int argc, char** argv) {
  // What a failed call means is said by this program, not by the library's log.
  setenv("GRPC_VERBOSITY", "NONE", /*overwrite=*/0);
  std::ios::sync_with_stdio(false);
  const plumblane::client::Io io{std::cout, std::cerr, STDIN_FILENO, isatty(STDERR_FILENO) == 1,
                                 TerminalWidth()};
  const int code =
      plumblane::client::RunCommandLine(std::vector<std::string>(argv + 1, argv + argc), io);
  std::cout.flush();
  if (std::cout) return code;
  std::cerr << "cannot write the answer\n";
  return plumblane::client::kFailed;
}
