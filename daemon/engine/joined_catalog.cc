#include "engine/joined_catalog.h"

#include <algorithm>
#include <iterator>
#include <string_view>
#include <utility>

#include "engine/joining.h"

namespace plumblane {
namespace {

using Parts = std::vector<std::shared_ptr<const Catalog>>;

void JoinSourcesOf(const Parts& parts, Catalog& whole) {
  std::map<std::string_view, std::vector<Held<const Source*>>> held;
  for (uint32_t part = 0; part < parts.size(); ++part) {
    for (const auto& [name, source] : parts[part]->sources) held[name].push_back({part, &source});
  }
  for (const auto& [name, of] : held) {
    whole.sources[std::string(name)] = JoinSources(of, static_cast<uint32_t>(parts.size()));
  }
}

}  // namespace

std::shared_ptr<const Catalog> JoinedCatalog::Join(const Parts& parts) {
  auto whole = std::make_shared<Catalog>();
  for (const auto& part : parts) JoinProgress(*part, *whole);
  JoinSourcesOf(parts, *whole);
  const Catalog& first = *parts.front();
  // An excuse is told to every partition; the rest is of no order.
  whole->excuses = first.excuses;
  whole->agreements = first.agreements;
  whole->alerts = first.alerts;
  whole->delivered = first.delivered;
  pairs_of_.resize(parts.size());
  assignments_of_.resize(parts.size());
  JoinPairs(parts);
  JoinAssignments(parts);
  whole->pairs = pairs_;
  whole->assignments = assignments_;
  return whole;
}

void JoinedCatalog::JoinPairs(const Parts& parts) {
  static const std::set<Pair> kNone;
  std::shared_ptr<PairDirectory> changed;
  const auto change = [&]() -> PairDirectory& {
    if (!changed) changed = std::make_shared<PairDirectory>(*pairs_);
    return *changed;
  };
  for (size_t part = 0; part < parts.size(); ++part) {
    const auto& now = parts[part]->pairs;
    auto& known = pairs_of_[part];
    if (now == known) continue;
    const std::set<Pair>& before = known ? known->by_supplier : kNone;
    std::vector<Pair> born, gone;
    std::set_difference(now->by_supplier.begin(), now->by_supplier.end(), before.begin(),
                        before.end(), std::back_inserter(born));
    std::set_difference(before.begin(), before.end(), now->by_supplier.begin(),
                        now->by_supplier.end(), std::back_inserter(gone));
    for (const Pair& pair : born) {
      if (++holders_[pair] == 1) change().Insert(pair);
    }
    for (const Pair& pair : gone) {
      const auto held = holders_.find(pair);
      if (--held->second > 0) continue;
      holders_.erase(held);
      change().Erase(pair);
    }
    known = now;
  }
  if (changed) pairs_ = std::move(changed);
}

void JoinedCatalog::JoinAssignments(const Parts& parts) {
  std::shared_ptr<OpenAssignments> changed;
  for (size_t part = 0; part < parts.size(); ++part) {
    const auto& now = parts[part]->assignments;
    auto& known = assignments_of_[part];
    if (now == known) continue;
    if (!changed) changed = std::make_shared<OpenAssignments>(*assignments_);
    if (known) {
      for (const auto& [key, open] : known->by_part) changed->by_part.erase(key);
    }
    changed->by_part.insert(now->by_part.begin(), now->by_part.end());
    known = now;
  }
  if (changed) assignments_ = std::move(changed);
}

}  // namespace plumblane
