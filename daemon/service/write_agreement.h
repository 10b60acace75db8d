// What was agreed into answers of the API.
#pragma once

#include <plumblane/v1/agreements.pb.h>

#include "agreements/agreements.h"
#include "engine/view.h"

namespace plumblane {

// As it stands on `today`. days_left is told of a quote that holds.
void WriteQuoteStatus(const HeldQuote& held, Day today, v1::QuoteStatus* out);
v1::QuoteStatus::State StateOn(const HeldQuote& held, Day today);

// Without terms, pause and month where there are none.
void WriteTermsStatus(const TermsBook& book, const std::string& supplier, const MonthUse& use,
                      Day today, v1::TermsStatus* out);

void WriteExchangeRate(const ExchangeRate& rate, v1::ExchangeRate* out);
void WriteItem(const Item& item, v1::Item* out);
void WriteCosts(const CostSettings& settings, v1::CostSettings* out);

}  // namespace plumblane
