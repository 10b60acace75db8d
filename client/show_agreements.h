// What was agreed, as a person reads it: quotes, terms, rates, items. Lines are at most `width`
// columns, except where a text has no blank to break it at.
//
// Pure.
#pragma once

#include <string>

#include "plumblane/v1/agreements.pb.h"

namespace plumblane::client {

std::string ShowQuotes(const v1::ListQuotesResponse& answer, int width);
std::string ShowTerms(const v1::ListTermsResponse& answer, int width);
std::string ShowRates(const v1::ListExchangeRatesResponse& answer, int width);
std::string ShowItems(const v1::ListItemsResponse& answer, int width);

// "until 2026-12-01: quality"; without a day "until resumed: quality".
std::string PauseText(const v1::Pause& pause);

// How long a quote holds: "ends in 5 days", "until 2026-11-30", "from 2026-10-15", "expired
// 2026-09-15", "replaced"; "" when it has no end.
std::string HoldsText(const v1::QuoteStatus& quote);

}  // namespace plumblane::client
