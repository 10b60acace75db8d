#include "agreements/agreements.h"

namespace plumblane {

void Agreements::Take(const AgreementLoad& load, Instant loaded_at) {
  struct Visitor {
    Agreements& to;
    Instant loaded_at;
    void operator()(const std::vector<Quote>& rows) const { to.quotes.Load(rows, loaded_at); }
    void operator()(const std::vector<Terms>& rows) const { to.terms.Load(rows, loaded_at); }
    void operator()(const Pause& pause) const { to.terms.Put(pause); }
    void operator()(const std::vector<ExchangeRate>& rows) const { to.exchange.Load(rows); }
    void operator()(const std::vector<Item>& rows) const { to.items.Load(rows); }
    void operator()(const CostSettings& settings) const {
      to.costs = settings;
      to.costs_loaded_at = loaded_at;
    }
  };
  std::visit(Visitor{*this, loaded_at}, load);
}

}  // namespace plumblane
