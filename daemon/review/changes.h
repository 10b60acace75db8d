// What changed against the period before and a year ago, and which items spoil a supplier's rates:
// judged for all accounts of a review at once, because chance grows with the number looked at.
//
// Compared are the late shares, and the defective shares of orders whose claim window is over. Only
// where both have kFewestToJudge orders. An item is looked at against the supplier's other orders
// when both have so many; it spoils the rate when its share is the higher one and the adjusted
// p-value at most kMostFalseCalls. Times come with their comparison made (figures.h).
//
// Pure and thread-safe.
#pragma once

#include <cstddef>
#include <vector>

#include "review/account.h"

namespace plumblane {

// Fills `changes` and `items` of each and says what is to be thought of its times. Returns how many
// comparisons the p-values are adjusted over.
size_t JudgeChanges(std::vector<Account>& accounts);

}  // namespace plumblane
