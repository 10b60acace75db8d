#include "base/whole_file.h"

#include <absl/strings/str_cat.h>
#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <unistd.h>

#include <cstdio>
#include <filesystem>

namespace plumblane {
namespace {

constexpr size_t kPendingBytes = 1 << 16;

bool WriteAll(int fd, std::string_view text) {
  while (!text.empty()) {
    const ssize_t count = write(fd, text.data(), text.size());
    if (count < 0 && errno == EINTR) continue;
    if (count <= 0) return false;
    text.remove_prefix(static_cast<size_t>(count));
  }
  return true;
}

// So that the new name survives a power cut.
bool SyncFolderOf(const std::string& path) {
  const std::filesystem::path folder = std::filesystem::path(path).parent_path();
  const int fd = open(folder.empty() ? "." : folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
  if (fd < 0) return false;
  // Some file systems know no sync of a folder.
  const bool synced = fsync(fd) == 0 || errno == EINVAL;
  close(fd);
  return synced;
}

}  // namespace

WholeFile::~WholeFile() {
  if (fd_ >= 0) close(fd_);
  if (!beside_.empty()) unlink(beside_.c_str());
}

void WholeFile::Fail() {
  if (mistake_.empty()) mistake_ = absl::StrCat(path_, ": ", strerror(errno));
}

void WholeFile::Open() {
  beside_ = absl::StrCat(path_, ".", getpid(), ".part");
  const auto create = [this] {
    return open(beside_.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
  };
  fd_ = create();
  // Left by one that was killed and had this number.
  if (fd_ < 0 && errno == EEXIST && unlink(beside_.c_str()) == 0) fd_ = create();
  if (fd_ >= 0) return;
  Fail();
  beside_.clear();
}

bool WholeFile::Write(std::string_view text) {
  if (!mistake_.empty()) return false;
  if (fd_ < 0) Open();
  pending_.append(text);
  if (mistake_.empty() && pending_.size() >= kPendingBytes) {
    if (!WriteAll(fd_, pending_)) Fail();
    pending_.clear();
  }
  return mistake_.empty();
}

std::string WholeFile::Finish() {
  if (!Write("")) return mistake_;
  if (!WriteAll(fd_, pending_) || fsync(fd_) != 0 || rename(beside_.c_str(), path_.c_str()) != 0) {
    Fail();
    return mistake_;
  }
  beside_.clear();
  if (!SyncFolderOf(path_)) Fail();
  return mistake_;
}

std::string WriteWhole(const std::string& path, std::string_view text) {
  WholeFile file(path);
  file.Write(text);
  return file.Finish();
}

}  // namespace plumblane
