// Tokens: made, hashed, compared; what certificates say. OpenSSL stays in secret.cc.
//
// A token is "plumblane-" and 64 hexadecimal digits from the system's random numbers, 256 bits.
// What is kept of it is its SHA-256. A slow hash would make guessing dear where people choose the
// secret; nobody guesses one of 2^256, however fast they hash, and a slow one would cost every
// call.
#pragma once

#include <array>
#include <string>
#include <string_view>
#include <vector>

#include "base/time.h"

namespace plumblane {

using TokenHash = std::array<unsigned char, 32>;

// A new token. The process ends when the system has no random numbers.
std::string NewToken();

TokenHash HashOf(std::string_view token);

// The form that stands in a file: "sha256:" and 64 hexadecimal digits.
std::string WriteHash(const TokenHash& hash);
// False: `text` is not of that form.
bool ReadHash(std::string_view text, TokenHash* hash);

// Takes the same time whatever they are.
bool IsSame(const TokenHash& a, const TokenHash& b);

// SHA-256 of a certificate (its DER form) as 64 lower-case hexadecimal digits; "" when `pem` holds
// none.
std::string FingerprintOf(std::string_view pem);

// Until when each certificate in `pem` is valid, in their order there.
std::vector<Instant> EndsOf(std::string_view pem);

}  // namespace plumblane
