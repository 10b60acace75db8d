// Signatures of what a webhook sends, so that a receiver knows who sent it, unchanged, and when.
//
// Source: Standard Webhooks 1.0.0 (the open specification): "v1," and, in base64, HMAC-SHA-256
// (RFC 2104, FIPS 180-4) over "ID.TIMESTAMP.BODY", the timestamp in seconds since 1970. Its secrets
// are written as "whsec_" and 24 to 64 bytes in base64.
//
// Pure and thread-safe.
#pragma once

#include <absl/status/statusor.h>

#include <cstdint>
#include <string>
#include <string_view>

namespace plumblane {

// 32 bytes.
std::string HmacSha256(std::string_view key, std::string_view text);

// "v1,K5oZfzN95Z9UVu1EsfQmfVNQhnkZ2pj9o9NDN/H/pI4=".
std::string SignatureOf(std::string_view key, std::string_view id, int64_t timestamp,
                        std::string_view body);

// The key of a secret as it is written. The error says what was expected and shows none of it.
absl::StatusOr<std::string> KeyOfSecret(std::string_view secret);

}  // namespace plumblane
