// Rows of loads of the API into what was agreed: every check of what can be wrong in a load.
//
// Each function reads all rows, adds an error for every wrong one and returns those that are right
// in themselves, which are worth something only when no error was added. Pure and thread-safe.
#pragma once

#include <absl/status/statusor.h>
#include <plumblane/v1/agreements.pb.h>

#include <vector>

#include "agreements/agreements.h"
#include "service/read_row.h"

namespace plumblane {

template <typename Row>
using Rows = google::protobuf::RepeatedPtrField<Row>;

// `today` is what an absent valid_from stands for. Days of one key may not overlap. Besides: a
// supplier's code must be known from `items`.
std::vector<Quote> ReadQuotes(const Rows<v1::Quote>& in, const ItemBook& items, Day today,
                              RowErrors& errors);

// Each supplier once.
std::vector<Terms> ReadTerms(const Rows<v1::Terms>& in, RowErrors& errors);

// Each pair of currencies and day once.
std::vector<ExchangeRate> ReadExchangeRates(const Rows<v1::ExchangeRate>& in, RowErrors& errors);

// No conflict with each other or what `known` holds.
std::vector<Item> ReadItems(const Rows<v1::Item>& in, const ItemBook& known, RowErrors& errors);

// Rows are the classes, each shop and class once; what is wrong with the settings themselves has
// index 0.
CostSettings ReadCosts(const v1::CostSettings& in, RowErrors& errors);

// Errors INVALID_ARGUMENT, naming the field; the end must lie after `today`.
absl::StatusOr<Pause> ReadPause(const v1::PauseSupplierRequest& request, Day today);

}  // namespace plumblane
