#include "client/follow_state.h"

#include <absl/strings/str_format.h>
#include <fcntl.h>
#include <unistd.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>
#include <utility>

#include "base/hash.h"

namespace plumblane::client {
namespace {

using nlohmann::json;

std::string StateHome() {
  const char* home = std::getenv("XDG_STATE_HOME");
  if (home != nullptr && home[0] == '/') return home;
  home = std::getenv("HOME");
  return home != nullptr && home[0] == '/' ? std::string(home) + "/.local/state" : "";
}

json ToJson(const FilePlace& place) {
  return {{"device", place.device},
          {"inode", place.inode},
          {"offset", place.offset},
          {"lines", place.lines},
          {"headBytes", place.head_bytes},
          {"head", place.head},
          {"changedMillis", place.changed_millis}};
}

FilePlace FromJson(const json& in) {
  return {in.at("device"),
          in.at("inode"),
          in.at("offset"),
          in.at("lines"),
          in.at("headBytes"),
          in.at("head"),
          in.value("changedMillis", int64_t{0})};
}

}  // namespace

std::string FollowStatePath(const std::string& path, const std::string& address) {
  const std::string home = StateHome();
  if (home.empty()) return "";
  std::error_code ignored;
  StableHash hash;
  hash.Text(std::filesystem::absolute(path, ignored).lexically_normal().string());
  hash.Byte(0);
  hash.Text(address);
  return absl::StrFormat("%s/plumblane/follow-%016x.json", home, hash.value());
}

FollowState::FollowState(std::string path) : path_(std::move(path)) {
  std::ifstream in(path_);
  const json read = json::parse(in, nullptr, /*allow_exceptions=*/false);
  if (!read.is_object() || !read.contains("files")) return;
  try {
    for (const auto& [name, place] : read["files"].items()) files_[name] = FromJson(place);
  } catch (const json::exception&) {
    files_.clear();
  }
}

bool FollowState::Save() const {
  if (path_.empty()) return false;
  json state = {{"files", json::object()}};
  for (const auto& [name, place] : files_) state["files"][name] = ToJson(place);
  std::error_code error;
  std::filesystem::create_directories(std::filesystem::path(path_).parent_path(), error);
  const std::string text = state.dump(1, ' ', false, json::error_handler_t::replace) + "\n";
  const std::string next = path_ + ".next";
  const int fd = open(next.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0600);
  if (fd < 0) return false;
  const bool written =
      write(fd, text.data(), text.size()) == static_cast<ssize_t>(text.size()) && fsync(fd) == 0;
  close(fd);
  if (!written) return false;
  std::filesystem::rename(next, path_, error);
  return !error;
}

}  // namespace plumblane::client
