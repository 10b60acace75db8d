#include "delivery/signature.h"

#include <absl/strings/escaping.h>
#include <absl/strings/match.h>
#include <absl/strings/str_cat.h>
#include <absl/strings/strip.h>
#include <openssl/evp.h>
#include <openssl/hmac.h>

#include <cassert>

namespace plumblane {
namespace {

// Abseil's string views are not the standard's in every build.
absl::string_view View(std::string_view text) { return {text.data(), text.size()}; }

}  // namespace

std::string HmacSha256(std::string_view key, std::string_view text) {
  unsigned char mac[EVP_MAX_MD_SIZE];
  unsigned size = 0;
  const auto* made =
      HMAC(EVP_sha256(), key.data(), static_cast<int>(key.size()),
           reinterpret_cast<const unsigned char*>(text.data()), text.size(), mac, &size);
  assert(made != nullptr);
  (void)made;
  return {reinterpret_cast<const char*>(mac), size};
}

std::string SignatureOf(std::string_view key, std::string_view id, int64_t timestamp,
                        std::string_view body) {
  const std::string text = absl::StrCat(View(id), ".", timestamp, ".", View(body));
  return absl::StrCat("v1,", absl::Base64Escape(HmacSha256(key, text)));
}

absl::StatusOr<std::string> KeyOfSecret(std::string_view secret) {
  absl::string_view encoded = View(secret);
  std::string key;
  if (!absl::ConsumePrefix(&encoded, "whsec_") || !absl::Base64Unescape(encoded, &key) ||
      key.size() < 24 || key.size() > 64) {
    return absl::InvalidArgumentError(
        "expected whsec_ and 24 to 64 bytes in base64, as made by: echo whsec_$(openssl rand "
        "-base64 32)");
  }
  return key;
}

}  // namespace plumblane
