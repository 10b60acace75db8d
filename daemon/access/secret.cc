#include "access/secret.h"

#include <absl/strings/ascii.h>
#include <absl/strings/escaping.h>
#include <absl/strings/str_cat.h>
#include <openssl/crypto.h>
#include <openssl/pem.h>
#include <openssl/rand.h>
#include <openssl/sha.h>
#include <openssl/x509.h>

#include <algorithm>
#include <cstdlib>
#include <ctime>

namespace plumblane {
namespace {

constexpr std::string_view kHashMark = "sha256:";

std::string Hex(const unsigned char* bytes, size_t size) {
  return absl::BytesToHexString({reinterpret_cast<const char*>(bytes), size});
}

}  // namespace

std::string NewToken() {
  std::array<unsigned char, 32> bytes;
  if (RAND_bytes(bytes.data(), bytes.size()) != 1) std::abort();
  return "plumblane-" + Hex(bytes.data(), bytes.size());
}

TokenHash HashOf(std::string_view token) {
  TokenHash hash;
  SHA256(reinterpret_cast<const unsigned char*>(token.data()), token.size(), hash.data());
  return hash;
}

std::string WriteHash(const TokenHash& hash) {
  return std::string(kHashMark) + Hex(hash.data(), hash.size());
}

bool ReadHash(std::string_view text, TokenHash* hash) {
  if (!text.starts_with(kHashMark)) return false;
  text.remove_prefix(kHashMark.size());
  const bool is_hex = std::all_of(text.begin(), text.end(), [](char c) {
    return absl::ascii_isxdigit(static_cast<unsigned char>(c));
  });
  if (!is_hex || text.size() != 2 * hash->size()) return false;
  const std::string bytes = absl::HexStringToBytes({text.data(), text.size()});
  std::copy(bytes.begin(), bytes.end(), hash->begin());
  return true;
}

bool IsSame(const TokenHash& a, const TokenHash& b) {
  return CRYPTO_memcmp(a.data(), b.data(), a.size()) == 0;
}

std::string FingerprintOf(std::string_view pem) {
  BIO* source = BIO_new_mem_buf(pem.data(), static_cast<int>(pem.size()));
  X509* certificate = PEM_read_bio_X509(source, nullptr, nullptr, nullptr);
  BIO_free(source);
  if (certificate == nullptr) return "";
  unsigned char digest[EVP_MAX_MD_SIZE];
  unsigned size = 0;
  const bool is_made = X509_digest(certificate, EVP_sha256(), digest, &size) == 1;
  X509_free(certificate);
  return is_made ? Hex(digest, size) : "";
}

std::vector<Instant> EndsOf(std::string_view pem) {
  std::vector<Instant> ends;
  BIO* source = BIO_new_mem_buf(pem.data(), static_cast<int>(pem.size()));
  while (X509* certificate = PEM_read_bio_X509(source, nullptr, nullptr, nullptr)) {
    tm end{};
    if (ASN1_TIME_to_tm(X509_get0_notAfter(certificate), &end) == 1) {
      ends.push_back({timegm(&end) * kMillisPerSecond});
    }
    X509_free(certificate);
  }
  BIO_free(source);
  return ends;
}

}  // namespace plumblane
