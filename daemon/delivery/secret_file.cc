#include "delivery/secret_file.h"

#include <absl/strings/str_cat.h>
#include <sys/stat.h>

#include <fstream>

namespace plumblane {

absl::StatusOr<std::string> ReadSecretFile(const std::string& path) {
  constexpr size_t kMostBytes = 4096;
  struct stat info {};
  std::ifstream file(path, std::ios::binary);
  if (!file || stat(path.c_str(), &info) != 0 || !S_ISREG(info.st_mode)) {
    return absl::InvalidArgumentError(absl::StrCat("cannot read the file ", path));
  }
  if ((info.st_mode & 0077) != 0) {
    return absl::InvalidArgumentError(
        absl::StrCat(path, " is open to others than its owner; expected rights 0600"));
  }
  std::string secret;
  std::getline(file, secret);
  if (!secret.empty() && secret.back() == '\r') secret.pop_back();
  if (secret.empty() || secret.size() > kMostBytes) {
    return absl::InvalidArgumentError(
        absl::StrCat(path, ": expected a secret of 1 to ", kMostBytes, " bytes on its first line"));
  }
  return secret;
}

}  // namespace plumblane
