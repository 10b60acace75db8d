// Pages of lists: a token names the last item of the page before and the question it belongs to.
#pragma once

#include <absl/status/statusor.h>

#include <cstddef>
#include <string>

namespace plumblane {

std::string MakeToken(const std::string& question, const std::string& after);

// What to go on after; "" for the first page. Error INVALID_ARGUMENT: the token is no token of this
// question.
absl::StatusOr<std::string> ReadToken(const std::string& question, const std::string& token);

// Items on a page: 0 = 200, at most 1,000. Error INVALID_ARGUMENT below 0.
absl::StatusOr<size_t> ReadPageSize(int asked);

}  // namespace plumblane
