// What the tests of the client share: a folder with files, a run of the program, small builders.
#pragma once

#include <google/protobuf/message.h>

#include <string>
#include <vector>

#include "client/line_reader.h"
#include "client/row.h"
#include "client/table.h"
#include "plumblane/v1/scores.pb.h"

namespace plumblane::client {

// A folder that goes with the test.
class TemporaryFolder {
 public:
  TemporaryFolder();
  ~TemporaryFolder();
  // Writes a file and returns its path.
  std::string Write(const std::string& name, const std::string& content) const;
  std::string Path(const std::string& name) const { return path_ + "/" + name; }

 private:
  std::string path_;
};

std::string ReadFile(const std::string& path);
bool Exists(const std::string& path);

// A descriptor from which `content` can be read, once.
class Pipe {
 public:
  explicit Pipe(const std::string& content);
  ~Pipe();
  int fd() const { return fd_; }

 private:
  int fd_ = -1;
};

struct Result {
  int code = -1;
  std::string out, err;
};

// The whole program against a daemon at `server`; `input` is its standard input.
Result RunProgram(std::vector<std::string> arguments, const std::string& server,
                  const std::string& input = "");

// The message that ProtoJSON stands for; a test fails where it is none.
void FillFromJson(const std::string& json, google::protobuf::Message* message);
template <typename Message>
Message FromJson(const std::string& json) {
  Message message;
  FillFromJson(json, &message);
  return message;
}

// A row with these fields, in turns of name and value, all of them text.
Row RowOf(const std::vector<std::string>& names_and_values);

Line LineOf(const std::string& text);

// 92 % (88-95) of 412: shares in percent.
v1::Rate RateOf(double estimate, double low, double high, int64_t orders, double weight = 100);

// `median` and `p90` in hours, 0 = not reached.
v1::Times TimesOf(double median_hours, double p90_hours, int64_t entered);

}  // namespace plumblane::client
