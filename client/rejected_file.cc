#include "client/rejected_file.h"

#include <absl/strings/str_cat.h>
#include <errno.h>
#include <string.h>

#include <filesystem>
#include <nlohmann/json.hpp>

namespace plumblane::client {
namespace {

constexpr int64_t kShown = 5;

std::string ToJson(const Rejection& rejection) {
  nlohmann::ordered_json json;
  json["line"] = rejection.line;
  json["code"] = rejection.complaint.code;
  json["field"] = rejection.complaint.field;
  json["message"] = rejection.complaint.message;
  json["text"] = rejection.text;
  return json.dump(-1, ' ', false, nlohmann::json::error_handler_t::replace);
}

}  // namespace

RejectedFile::RejectedFile(const std::string& name, const Io& io, bool adds)
    : name_(name), path_(name + ".rejected"), io_(io), adds_(adds) {}

void RejectedFile::Open() {
  file_.open(path_, adds_ ? std::ios::app : std::ios::trunc);
  is_writable_ = file_.is_open();
  if (!is_writable_) {
    io_.err << "cannot write " << path_ << " (" << strerror(errno)
            << "); the rejected lines follow here\n";
  }
}

void RejectedFile::Write(const std::string& lines) {
  (is_writable_ ? static_cast<std::ostream&>(file_) : io_.err) << lines;
}

void RejectedFile::Add(const Rejection& rejection) {
  if (++count_ == 1 && !adds_) Open();
  const std::string line = ToJson(rejection) + "\n";
  if (adds_) {
    held_ += line;
  } else {
    Write(line);
  }
  if (!is_writable_) return;
  if (count_ <= kShown) {
    const Complaint& why = rejection.complaint;
    io_.err << name_ << ": line " << rejection.line << ": "
            << (why.field.empty() ? "" : why.field + ": ") << why.message << "\n";
  } else if (count_ == kShown + 1) {
    io_.err << name_ << ": further rejected lines are in " << path_ << "\n";
  }
}

void RejectedFile::Close() {
  if (count_ > 0) {
    if (adds_) {
      Open();
      Write(held_);
    }
    file_.close();
    return;
  }
  if (adds_) return;
  std::error_code ignored;
  if (!std::filesystem::is_regular_file(path_, ignored)) return;
  if (std::filesystem::remove(path_, ignored)) {
    io_.err << "removed " << path_ << ": this time nothing was rejected\n";
  }
}

}  // namespace plumblane::client
