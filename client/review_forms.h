// The forms in which a review can be kept as a file.
//
// Pure and thread-safe.
#pragma once

#include <optional>
#include <string>

#include "plumblane/v1/reviews.pb.h"
#include "tables/csv.h"

namespace plumblane::client {

enum class ReviewForm { kHtml, kMarkdown, kCsv, kJson };

// By the end of a file's name: .html, .md, .csv or .json, in any case.
std::optional<ReviewForm> FormOf(const std::string& path);

// HTML: one page that needs nothing else and runs no script. Markdown: the same account without
// the pictures. Of very many accounts both tell those that matter most (review_model.h), JSON and
// CSV all. JSON: the answer as ProtoJSON. CSV: ReviewCsv().
std::string ReviewText(const v1::Review& review, ReviewForm form, const CsvStyle& csv = {});

// One line per account after one with the names of columns, of which new ones come last, as
// tables/csv.h writes it. Shares are 0 to 1, times days, money in units of its currency.
// Empty = no data. An account with money in further currencies has a line more for each: its name,
// the currency, the money and nothing else.
std::string ReviewCsv(const v1::Review& review, const CsvStyle& style = {});

}  // namespace plumblane::client
