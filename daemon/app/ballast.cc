#include "app/ballast.h"

#include <absl/strings/str_cat.h>
#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>

namespace plumblane {

Ballast::Ballast(const std::string& directory, int64_t bytes)
    : path_(directory + "/ballast"), bytes_(bytes) {}

absl::Status Ballast::Keep() {
  struct stat there;
  if (bytes_ == 0 || (stat(path_.c_str(), &there) == 0 && there.st_size == bytes_)) {
    return absl::OkStatus();
  }
  const int file = open(path_.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, S_IRUSR | S_IWUSR);
  // Not posix_fallocate, which writes every block where the file system cannot reserve them.
  const int error = file < 0 || fallocate(file, 0, 0, bytes_) != 0 ? errno : 0;
  if (file >= 0) close(file);
  if (error == 0) return absl::OkStatus();
  unlink(path_.c_str());
  const std::string why = absl::StrCat(path_, ": ", std::strerror(error));
  if (error == ENOSPC || error == EDQUOT) return absl::ResourceExhaustedError(why);
  return error == EOPNOTSUPP ? absl::UnimplementedError(why) : absl::UnavailableError(why);
}

bool Ballast::GiveUp() { return unlink(path_.c_str()) == 0; }

}  // namespace plumblane
