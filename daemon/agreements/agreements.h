// All that was agreed, as one immutable value, and the loads it is made of.
#pragma once

#include <string>
#include <variant>
#include <vector>

#include "agreements/costs.h"
#include "agreements/exchange.h"
#include "agreements/items.h"
#include "agreements/quotes.h"
#include "agreements/terms.h"
#include "base/time.h"

namespace plumblane {

// One load, right in itself. Logged and kept whole: the agreements are their sum, in order.
using AgreementLoad = std::variant<std::vector<Quote>, std::vector<Terms>, Pause,
                                   std::vector<ExchangeRate>, std::vector<Item>, CostSettings>;

struct Agreements {
  QuoteBook quotes;
  TermsBook terms;
  ExchangeBook exchange;
  ItemBook items;
  CostSettings costs;
  Instant costs_loaded_at;

  void Take(const AgreementLoad& load, Instant loaded_at);
};

}  // namespace plumblane
