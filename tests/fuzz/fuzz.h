// What the fuzz targets share: an input taken apart, a file of it, and a check that stops.
//
// A target is one source that defines LLVMFuzzerTestOneInput. Built with clang and
// -DPLUMBLANE_FUZZ=ON it is a libFuzzer program; otherwise replay.cc runs it on its corpus.
#pragma once

#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/mman.h>
#include <unistd.h>

#include <string>
#include <string_view>

extern "C" int LLVMFuzzerTestOneInput(const uint8_t* data, size_t size);

namespace plumblane::fuzz {

// Holds in any build.
#define FUZZ_CHECK(condition)                                                        \
  do {                                                                               \
    if (!(condition)) {                                                              \
      fprintf(stderr, "%s:%d: does not hold: %s\n", __FILE__, __LINE__, #condition); \
      abort();                                                                       \
    }                                                                                \
  } while (false)

// The bytes of one run: choices are taken from its beginning, what is left is the text.
class Input {
 public:
  Input(const uint8_t* data, size_t size) : rest_(reinterpret_cast<const char*>(data), size) {}

  // A number below `count`; 0 at the end.
  size_t Choose(size_t count) {
    if (rest_.empty()) return 0;
    const auto byte = static_cast<unsigned char>(rest_.front());
    rest_.remove_prefix(1);
    return byte % count;
  }
  std::string Rest() const { return std::string(rest_); }

 private:
  std::string_view rest_;
};

// A file that holds `content` and has no name, read from its beginning.
class MemoryFile {
 public:
  explicit MemoryFile(std::string_view content) : fd_(memfd_create("fuzz", MFD_CLOEXEC)) {
    FUZZ_CHECK(fd_ >= 0);
    FUZZ_CHECK(write(fd_, content.data(), content.size()) == static_cast<ssize_t>(content.size()));
    FUZZ_CHECK(lseek(fd_, 0, SEEK_SET) == 0);
  }
  ~MemoryFile() { close(fd_); }
  MemoryFile(const MemoryFile&) = delete;
  MemoryFile& operator=(const MemoryFile&) = delete;

  int fd() const { return fd_; }
  // By which it can be opened anew.
  std::string path() const { return "/proc/self/fd/" + std::to_string(fd_); }

 private:
  const int fd_;
};

}  // namespace plumblane::fuzz
