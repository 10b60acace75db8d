// A file that is there whole or not at all: written beside its place, put on the disk, and then
// renamed into it. Who reads the old file meanwhile reads all of it.
//
// What fails is told as text, "PATH: why"; "" = nothing did. Belongs to one thread.
#pragma once

#include <string>
#include <string_view>

namespace plumblane {

class WholeFile {
 public:
  explicit WholeFile(std::string path) : path_(std::move(path)) {}
  // Without Finish nothing is left of it.
  ~WholeFile();
  WholeFile(const WholeFile&) = delete;
  WholeFile& operator=(const WholeFile&) = delete;

  // After the first failure nothing more is written, and Finish says why. False: it has failed.
  bool Write(std::string_view text);
  // Puts it in its place, file and folder synced. Once, last.
  std::string Finish();

 private:
  void Open();
  void Fail();

  const std::string path_;
  std::string beside_, pending_, mistake_;
  int fd_ = -1;
};

std::string WriteWhole(const std::string& path, std::string_view text);

}  // namespace plumblane
