#include "app/keeping_of.h"

#include <absl/strings/str_cat.h>

#include <filesystem>

#include "app/open_data.h"

namespace plumblane {
namespace {

// A copy inside the data would be lost with it.
absl::Status CheckBackupDirectory(const Settings& settings, const std::string& directory) {
  std::error_code error;
  const auto data = std::filesystem::weakly_canonical(settings.data_directory, error);
  const auto place = std::filesystem::weakly_canonical(directory, error).lexically_relative(data);
  if (place.empty() || place.begin()->string() == "..") return MakeDataDirectory(directory);
  return absl::InvalidArgumentError(
      absl::StrCat("directory: expected one outside ", settings.data_directory));
}

}  // namespace

Keeping KeepingOf(const Settings& settings, DiskStore& store) {
  return {
      [&store](const std::function<bool()>& give_up) { return store.CheckFiles(give_up); },
      [&settings, &store](const std::string& directory, int keep,
                          const std::function<bool()>& give_up) -> absl::StatusOr<KeptCopy> {
        absl::Status fine = CheckBackupDirectory(settings, directory);
        if (!fine.ok()) return fine;
        const auto copy = store.BackUp(directory, keep, "", give_up);
        if (!copy.ok()) return copy.status();
        return KeptCopy{copy->number, copy->bytes, Instant{copy->unix_seconds * 1000}, copy->kept};
      }};
}

}  // namespace plumblane
