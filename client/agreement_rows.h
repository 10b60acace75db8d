// Rows of the tables that `quotes`, `terms`, `rates` and `items` load, and of open orders.
//
// Each function fills its message, or says what is wrong with the row and leaves the message in no
// certain state. What only the daemon can tell (promised days, overlaps, codes that contradict each
// other) is left to it. Pure and thread-safe. REQUIRES: the message is new.
#pragma once

#include <optional>

#include "client/row.h"
#include "client/table_file.h"
#include "plumblane/v1/agreements.pb.h"
#include "plumblane/v1/sourcing.pb.h"

namespace plumblane::client {

std::optional<Complaint> ReadQuote(const Row& row, v1::Quote& quote);
std::optional<Complaint> ReadTerms(const Row& row, v1::Terms& terms);
std::optional<Complaint> ReadRate(const Row& row, v1::ExchangeRate& rate);
std::optional<Complaint> ReadItem(const Row& row, v1::Item& item);
// `shop` is that of a row which names none.
std::optional<Complaint> ReadOpenOrder(const Row& row, const std::string& shop,
                                       v1::OrderToAssign& order);

TableColumns QuoteColumns();
TableColumns TermsColumns();
TableColumns RateColumns();
TableColumns ItemColumns();
TableColumns OpenOrderColumns();

}  // namespace plumblane::client
