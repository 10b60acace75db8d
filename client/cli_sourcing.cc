#include <algorithm>

#include "client/cli_parts.h"
#include "client/option_values.h"

namespace plumblane::client {
namespace {

constexpr int kMostUnits = 1'000'000;

void AddWantedOrder(CLI::App& sub, WantedOrder& order) {
  AddParsed(sub, "--to", "END", "Where the order goes", ParseLaneEnd, order.destination);
  AddParsed(sub, "--from", "END", "Only suppliers that ship from there", ParseLaneEnd,
            order.origin);
  AddParsed(sub, "--service", "SERVICE", "Only that service; \"-\" is orders without one",
            ParseService, order.service);
  AddParsed(sub, "--item", "ITEM", "What is ordered; else quotes for any item", ParseItem,
            order.item);
  AddParsed(sub, "--units", "N", "How many of it; 1 if not given", ParseNumber<1, kMostUnits>,
            order.units);
  AddParsed(sub, "--shop", "SHOP", "Whose order, whose costs", ParseId, order.shop);
  AddParsed(sub, "--sale", "AMOUNT", "What the customer pays, such as 39.90 ...", ParseText,
            order.sale);
  AddParsed(sub, "--currency", "CODE", "... in this currency", ParseCurrency, order.currency);
}

std::string CheckSale(const WantedOrder& order) {
  if (order.sale.empty() != order.currency.empty()) return "--sale and --currency go together";
  if (order.sale.empty()) return "";
  const auto sale = ParseAmount(order.sale, order.currency);
  if (sale.ok()) return "";
  return absl::StrCat("--sale: ", std::string(sale.status().message()), ", not ",
                      Quoted(order.sale));
}

std::string CheckAssign(const AssignOptions& options) {
  if (options.one.has_value() != options.file.empty()) return "expected either ORDER or --file";
  if (!options.file.empty()) {
    const WantedOrder& order = options.order;
    if (!options.supplier.empty() || !options.instead_of.empty() || !options.reason.empty()) {
      return "--supplier, --reason and --instead-of go with one order, not with --file";
    }
    if (!order.destination.empty() || !order.origin.empty() || order.service ||
        !order.item.empty() || order.units || !order.sale.empty()) {
      return "with --file the orders say themselves where they go and what they are";
    }
    return "";
  }
  if (!options.picks.empty()) return "--output goes with --file only";
  if (options.order.destination.empty()) return "--to is required";
  if (options.supplier.empty() && !options.reason.empty()) return "--reason goes with --supplier";
  if (!options.supplier.empty() && options.reason.empty()) {
    return "--supplier is a choice of your own: say why with --reason";
  }
  return CheckSale(options.order);
}

// A group of commands that is no command itself.
CLI::App& AddGroup(CLI::App& app, const std::string& name, const std::string& help) {
  CLI::App* group = app.add_subcommand(name, help);
  group->fallthrough()->require_subcommand(1);
  return *group;
}

void AddLoad(CLI::App& group, Invocation& to, Verb verb, const std::string& help) {
  CLI::App& load = AddCommand(group, to, "load", verb, help);
  AddParsed(load, "FILE", "", "The file, \"-\" for standard input", ParseText, to.agreement.file);
}

void AddTerms(CLI::App& app, Invocation& to) {
  AgreementOptions& options = to.agreement;
  CLI::App& terms = AddGroup(app, "terms", "What suppliers agreed to: limits, claims, closures");
  AddLoad(terms, to, Verb::kTermsLoad, "Load terms: one supplier a row");
  CLI::App& list = AddCommand(terms, to, "list", Verb::kTermsList, "What holds, and each month");
  AddParsed(list, "--supplier", "SUPPLIER", "Only its", ParseId, options.supplier);
  CLI::App& pause = AddCommand(app, to, "pause", Verb::kPause, "Give a supplier no orders");
  AddParsed(pause, "SUPPLIER", "", "Its id", ParseId, options.supplier);
  AddParsed(pause, "--until", "DATE", "That day it gets orders again; else until resumed",
            ParseDate, options.until);
  AddParsed(pause, "--reason", "TEXT", "Why, in up to 200 characters", ParseWords, options.reason)
      ->required();
  CLI::App& resume = AddCommand(app, to, "resume", Verb::kResume, "Give it orders again");
  AddParsed(resume, "SUPPLIER", "", "Its id", ParseId, options.supplier);
}

void AddCosts(CLI::App& app, Invocation& to) {
  CLI::App& costs = AddGroup(app, "costs", "What late, bad and lost orders cost the shop");
  AddLoad(costs, to, Verb::kCostsLoad, "Load them from a TOML file; replaces all");
  AddCommand(costs, to, "show", Verb::kCostsShow, "What holds, as such a file");
  CLI::App& propose = AddCommand(costs, to, "propose", Verb::kCostsPropose,
                                 "Such a file, from refunds and sales so far");
  AddParsed(propose, "--shop", "SHOP", "From its orders only", ParseId, to.agreement.shop);
}

}  // namespace

void AddSourcing(CLI::App& app, Invocation& to) {
  CLI::App& rank = AddCommand(app, to, "rank", Verb::kRank, "Who gets the next order");
  AddWantedOrder(rank, to.rank.order);
  rank.get_option("--to")->required();
  AddParsed(rank, "--limit", "N", "Tell only the best N", ParseNumber<1, 1000>, to.rank.limit);
  rank.add_flag("--explain", to.explain, "Show what the figures rest on");

  AssignOptions& options = to.assign;
  CLI::App& assign = AddCommand(app, to, "assign", Verb::kAssign, "Give orders to suppliers");
  AddParsed(assign, "ORDER", "", "The order, or SHOP/ORDER", ParseOrder, options.one)
      ->required(false);
  AddWantedOrder(assign, options.order);
  AddParsed(assign, "--supplier", "SUPPLIER", "A choice of your own ...", ParseId,
            options.supplier);
  AddParsed(assign, "--reason", "TEXT", "... and why, in up to 200 characters", ParseWords,
            options.reason);
  AddParsed(assign, "--instead-of", "SUPPLIER", "Again, because this one could not deliver",
            ParseId, options.instead_of);
  AddParsed(assign, "--file", "FILE", "All orders of a file, \"-\" for standard input", ParseText,
            options.file);
  AddCsvStyle(assign, to);
  AddParsed(assign, "-o,--output", "FILE", "Where the picks go; else they are printed", ParseText,
            options.picks);
  assign.add_flag("--dry-run", options.dry_run, "Decide, and keep nothing");

  CLI::App& list =
      AddCommand(app, to, "assignments", Verb::kAssignments, "What was given to whom, and why");
  AddParsed(list, "--supplier", "SUPPLIER", "Only its", ParseId, to.assignments.supplier);
  AddParsed(list, "--since", "DATE", "From this day on, UTC", ParseDay, to.assignments.since);
  AddParsed(list, "--until", "DATE", "Up to this day, it included", ParseDay, to.assignments.until);
}

std::string CheckSourcing(const Invocation& invocation) {
  if (invocation.verb == Verb::kRank) return CheckSale(invocation.rank.order);
  if (invocation.verb == Verb::kAssign) return CheckAssign(invocation.assign);
  const AssignmentsOptions& options = invocation.assignments;
  if (options.since && options.until && *options.until < *options.since) {
    return "--until: expected a day not before --since";
  }
  return "";
}

void AddAgreements(CLI::App& app, Invocation& to) {
  AgreementOptions& options = to.agreement;
  CLI::App& quotes = AddGroup(app, "quotes", "What suppliers ask for an item");
  AddLoad(quotes, to, Verb::kQuotesLoad, "Load quotes: one price a row");
  CLI::App& list =
      AddCommand(quotes, to, "list", Verb::kQuotesList, "Prices and how long they hold");
  AddParsed(list, "--supplier", "SUPPLIER", "Only its", ParseId, options.supplier);
  AddParsed(list, "--item", "ITEM", "Only for this item", ParseItem, options.item);
  AddParsed(list, "--to", "END", "Only to there", ParseLaneEnd, options.destination);
  list.add_flag("--past", options.past, "With what has expired or was replaced");
  AddTerms(app, to);
  CLI::App& rates = AddGroup(app, "rates", "What currencies are worth");
  AddLoad(rates, to, Verb::kRatesLoad, "Load exchange rates: one a row");
  CLI::App& rate_list = AddCommand(rates, to, "list", Verb::kRatesList, "The rates that hold");
  rate_list.add_flag("--past", options.past, "With those that a later one replaced");
  CLI::App& items = AddGroup(app, "items", "Item classes, and what suppliers call our items");
  AddLoad(items, to, Verb::kItemsLoad, "Load items: one class or code a row");
  CLI::App& item_list = AddCommand(items, to, "list", Verb::kItemsList, "Classes and codes");
  AddParsed(item_list, "--item", "ITEM", "Only this one", ParseItem, options.item);
  AddCosts(app, to);
}

}  // namespace plumblane::client
