#include "base/private_file.h"

#include <absl/strings/str_cat.h>
#include <sys/stat.h>

#include <fstream>
#include <iterator>

namespace plumblane {
namespace {

mode_t RightsOf(Barred barred) {
  switch (barred) {
    case Barred::kNothing:
      return 0;
    case Barred::kChanging:
      return 0022;
    case Barred::kReadingByAll:
      return 0007;
    case Barred::kReadingByOthers:
      break;
  }
  return 0077;
}

}  // namespace

absl::StatusOr<std::string> ReadPrivateFile(const std::string& path, Barred barred) {
  struct stat info {};
  std::ifstream file(path, std::ios::binary);
  if (!file || stat(path.c_str(), &info) != 0 || !S_ISREG(info.st_mode)) {
    return absl::InvalidArgumentError(absl::StrCat("cannot read the file ", path));
  }
  if ((info.st_mode & RightsOf(barred)) != 0) {
    const char* why = barred == Barred::kChanging ? " can be changed by others than its owner"
                                                  : " is open to others than its owner";
    return absl::InvalidArgumentError(absl::StrCat(path, why, "; expected rights 0600"));
  }
  return std::string(std::istreambuf_iterator<char>(file), {});
}

}  // namespace plumblane
