#include "app/first_copy.h"

#include <absl/strings/str_cat.h>
#include <spdlog/spdlog.h>

#include <chrono>
#include <filesystem>
#include <fstream>
#include <future>
#include <sstream>

#include "app/access_settings.h"
#include "app/daemon.h"
#include "app/offline.h"
#include "app/open_data.h"
#include "app/peer_channel.h"
#include "service/peers.h"

namespace plumblane {
namespace {

namespace fs = std::filesystem;

// The files as they come.
class Arriving {
 public:
  explicit Arriving(fs::path directory) : directory_(std::move(directory)) {}

  bool Take(const std::string& name, const std::string& bytes) {
    if (name != name_) {
      if (!Close()) return false;
      name_ = name;
      const fs::path place = fs::path(name).lexically_normal();
      if (place.empty() || place.is_absolute() || *place.begin() == "..") {
        return Fail(absl::StrCat("\"", name, "\" is no file of a copy"));
      }
      std::error_code error;
      fs::create_directories((directory_ / place).parent_path(), error);
      out_.open(directory_ / place, std::ios::binary | std::ios::trunc);
    }
    out_ << bytes;
    bytes_ += bytes.size();
    return out_.good() || Fail(absl::StrCat("cannot write ", name_));
  }
  bool Close() {
    if (!out_.is_open()) return true;
    out_.close();
    return !out_.fail() || Fail(absl::StrCat("cannot write ", name_));
  }
  // What was wrong here, "" = nothing.
  const std::string& failure() const { return failure_; }
  size_t bytes() const { return bytes_; }

 private:
  bool Fail(std::string why) {
    failure_ = std::move(why);
    return false;
  }
  const fs::path directory_;
  std::string name_, failure_;
  std::ofstream out_;
  size_t bytes_ = 0;
};

absl::Status FetchFrom(const Settings& settings, const std::string& address,
                       const std::string& directory) {
  std::error_code error;
  fs::remove_all(directory, error);
  if (absl::Status made = MakeDataDirectory(directory); !made.ok()) return made;
  Arriving arriving(directory);
  const absl::Status fetched =
      FetchCopy(ChannelTo(address, settings.cluster), settings.cluster.token,
                [&](const std::string& file, const std::string& bytes) {
                  return arriving.Take(file, bytes);
                });
  if (!arriving.Close() || !arriving.failure().empty()) {
    return absl::UnavailableError(arriving.failure());
  }
  if (!fetched.ok()) return fetched;
  spdlog::info("fetched a copy of {} MB from {}", arriving.bytes() / 1'000'000, address);
  std::ostringstream said;
  const int code = RestoreData(settings, directory, 0, {}, said);
  std::string last = "it cannot be restored";
  std::istringstream lines(said.str());
  for (std::string line; std::getline(lines, line);) spdlog::info("the copy: {}", last = line);
  return code == kExitStopped ? absl::OkStatus() : absl::UnavailableError(last);
}

}  // namespace

absl::Status FetchFirstCopy(const Settings& settings, const std::vector<std::string>& addresses,
                            const std::function<void()>& still_at_it) {
  const std::string directory = settings.data_directory + "/copy.arriving";
  std::string why = "no copy of another daemon could be had:";
  for (const std::string& address : addresses) {
    auto fetching =
        std::async(std::launch::async, [&] { return FetchFrom(settings, address, directory); });
    while (fetching.wait_for(std::chrono::seconds(1)) != std::future_status::ready) still_at_it();
    const absl::Status fetched = fetching.get();
    std::error_code error;
    fs::remove_all(directory, error);
    if (fetched.ok()) return fetched;
    absl::StrAppend(&why, " ", address, ": ", std::string(fetched.message()), ";");
  }
  why.pop_back();
  return absl::UnavailableError(why);
}

}  // namespace plumblane
