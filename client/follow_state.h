// How far files that are followed have been sent, kept across restarts.
//
// One small JSON file for each path that is followed and daemon it is sent to, in
// $XDG_STATE_HOME/plumblane, else ~/.local/state/plumblane. It is written whole under another name
// and then renamed, so that it is never half there. Lost, everything is sent again, and repeats
// change nothing.
//
// Not thread-safe.
#pragma once

#include <cstdint>
#include <map>
#include <string>

namespace plumblane::client {

// How far one file was sent, and how to know it again.
struct FilePlace {
  uint64_t device = 0, inode = 0;
  int64_t offset = 0, lines = 0;  // sent so far
  int64_t head_bytes = 0;         // of its beginning ...
  std::string head;               // ... this is the hash
  int64_t changed_millis = 0;     // what was taken whole: when it had last been changed
  bool operator==(const FilePlace&) const = default;
};

// Where the state of following `path` for the daemon at `address` is kept. "" when neither
// XDG_STATE_HOME nor HOME names an absolute path.
std::string FollowStatePath(const std::string& path, const std::string& address);

class FollowState {
 public:
  // Reads what is there; nothing, or what makes no sense, is an empty state. With path "" nothing
  // is kept.
  explicit FollowState(std::string path);

  std::map<std::string, FilePlace>& files() { return files_; }
  // False when it cannot be written.
  bool Save() const;

 private:
  const std::string path_;
  std::map<std::string, FilePlace> files_;
};

}  // namespace plumblane::client
