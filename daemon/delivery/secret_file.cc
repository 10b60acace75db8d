#include "delivery/secret_file.h"

#include <absl/strings/str_cat.h>

#include "base/private_file.h"

namespace plumblane {

absl::StatusOr<std::string> ReadSecretFile(const std::string& path) {
  constexpr size_t kMostBytes = 4096;
  auto text = ReadPrivateFile(path, Barred::kReadingByOthers);
  if (!text.ok()) return text.status();
  std::string secret = text->substr(0, text->find('\n'));
  if (!secret.empty() && secret.back() == '\r') secret.pop_back();
  if (secret.empty() || secret.size() > kMostBytes) {
    return absl::InvalidArgumentError(
        absl::StrCat(path, ": expected a secret of 1 to ", kMostBytes, " bytes on its first line"));
  }
  return secret;
}

}  // namespace plumblane
