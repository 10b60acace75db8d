// The pictures of a review, as views for the template "picture.svg": lines, areas and bars as SVG
// paths with a class each, words at places. Each says in words what it shows, too.
//
// Pure and thread-safe.
#pragma once

#include <optional>
#include <string>

#include "client/view.h"
#include "plumblane/v1/reviews.pb.h"

namespace plumblane::client {

// `id` is that of the picture in its page, unique there. None where there is nothing to show.

// On time week by week: a bar for the 95 % limits, a dot for the share, and where alerts were
// raised. Heights are shares from 0 to 100 %.
std::optional<View> WeeksPicture(const v1::Account& account, const v1::ReviewPeriod& period,
                                 const std::string& id);

// The share that had arrived by so many days after shipping, this period and the one before.
std::optional<View> TransitPicture(const v1::Account& account, const std::string& id);

// Kinds of defects, this period and the one before.
std::optional<View> KindsPicture(const v1::Account& account, const std::string& id);

// What the orders cost beyond their price, part by part.
std::optional<View> CostsPicture(const v1::Account& account, const std::string& currency,
                                 const std::string& id);

}  // namespace plumblane::client
