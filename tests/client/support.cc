#include "client/support.h"

#include <fcntl.h>
#include <google/protobuf/util/json_util.h>
#include <gtest/gtest.h>
#include <stdlib.h>
#include <unistd.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <sstream>

#include "client/run.h"
#include "client/table.h"

namespace plumblane::client {

TemporaryFolder::TemporaryFolder() {
  std::string path = (std::filesystem::temp_directory_path() / "client-test-XXXXXX").string();
  path_ = mkdtemp(path.data());
}

TemporaryFolder::~TemporaryFolder() { std::filesystem::remove_all(path_); }

std::string TemporaryFolder::Write(const std::string& name, const std::string& content) const {
  std::ofstream(Path(name), std::ios::binary) << content;
  return Path(name);
}

std::string ReadFile(const std::string& path) {
  std::ostringstream content;
  content << std::ifstream(path, std::ios::binary).rdbuf();
  return content.str();
}

bool Exists(const std::string& path) { return std::filesystem::exists(path); }

Pipe::Pipe(const std::string& content) {
  std::string path = (std::filesystem::temp_directory_path() / "client-pipe-XXXXXX").string();
  fd_ = mkstemp(path.data());
  unlink(path.c_str());
  for (size_t written = 0; written < content.size();) {
    const ssize_t count = write(fd_, content.data() + written, content.size() - written);
    if (count <= 0) break;
    written += static_cast<size_t>(count);
  }
  lseek(fd_, 0, SEEK_SET);
}

Pipe::~Pipe() { close(fd_); }

Result RunProgram(std::vector<std::string> arguments, const std::string& server,
                  const std::string& input) {
  const Pipe pipe(input);
  std::ostringstream out, err;
  arguments.insert(arguments.begin(), {"--server", server});
  const int code = RunCommandLine(arguments, Io{out, err, pipe.fd()});
  return {code, out.str(), err.str()};
}

void FillFromJson(const std::string& json, google::protobuf::Message* message) {
  const auto status = google::protobuf::util::JsonStringToMessage(json, message);
  EXPECT_TRUE(status.ok()) << status.ToString();
}

Row RowOf(const std::vector<std::string>& names_and_values) {
  Row row{7, "the line", {}};
  for (size_t i = 0; i + 1 < names_and_values.size(); i += 2) {
    row.cells.push_back({names_and_values[i], names_and_values[i + 1], Cell::Kind::kText});
  }
  return row;
}

Line LineOf(const std::string& text) {
  Line line;
  line.number = 7;
  line.text = text;
  return line;
}

v1::Rate RateOf(double estimate, double low, double high, int64_t orders, double weight) {
  v1::Rate rate;
  rate.set_observed(estimate / 100);
  rate.set_estimate(estimate / 100);
  rate.set_low(low / 100);
  rate.set_high(high / 100);
  rate.set_order_count(orders);
  rate.set_weight(weight);
  return rate;
}

v1::Times TimesOf(double median_hours, double p90_hours, int64_t entered) {
  v1::Times times;
  times.set_entered_count(entered);
  times.set_finished_count(entered / 2);
  times.set_median_reached(median_hours > 0);
  if (median_hours > 0)
    times.mutable_median()->set_seconds(static_cast<int64_t>(median_hours * 3600));
  if (p90_hours > 0) times.mutable_p90()->set_seconds(static_cast<int64_t>(p90_hours * 3600));
  return times;
}

}  // namespace plumblane::client
