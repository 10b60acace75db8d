#include "client/help_text.h"

namespace plumblane::client {
namespace {

constexpr std::string_view kLoadNotes =
    R"(The file is CSV (the first line names the columns, in any order) or NDJSON (one
{...} a line). It is loaded whole or not at all: every wrong row is told, with
its line, and kept in FILE.rejected; exit code 3.)";

constexpr Help kHelp[] = {
    {"rank",
     R"(  plumblane rank --to DE
  plumblane rank --to DE --item kite-swallow --units 2
  plumblane rank --to DE --item kite-swallow --sale 19.90 --currency EUR \
      --explain
  plumblane rank --to DE --from VN --service express --limit 3
  plumblane rank --to DE --json | jq -r '.candidates[0].score.supplierId')",
     R"(By expected cost once quotes and costs were loaded, before that by the share of
orders that come late or bad. --explain prints the sums, to be done again by
hand. Exit code 5: no supplier can get the order.)"},
    {"assign",
     R"(  plumblane assign 1043 --to DE --item kite-swallow --sale 19.90 --currency EUR
  plumblane assign harbour/1043 --to DE --item kite-swallow --dry-run
  plumblane assign 1043 --to DE --item kite-swallow \
      --supplier copper-ferry --reason "the customer asked for it"
  plumblane assign 1043 --to DE --item kite-swallow --instead-of lotus-works
  plumblane assign --file open-orders.csv -o picks.csv)",
     R"(Asked again, an order keeps its supplier. Columns of a file, in any order:
order_id, destination, and if known shop, item, units, sale, currency, origin,
service. The picks have the same, with the origin and service picked, and part,
supplier, supplier_item, landed, landed_currency, trial, reason, problem. They
appear all at once, or not at all.
Exit codes: 5 an order has no supplier, 3 an order is wrong; all others are
assigned.)"},
    {"assignments",
     R"(  plumblane assignments
  plumblane assignments --supplier lotus-works --since 2026-09-01
  plumblane assignments --since 2026-09-01 --until 2026-09-30 --json)",
     R"(How: lowest (expected cost), shared (drawn by shares), trial (given to learn),
chosen (by a person). State: open (not paid yet), paid, elsewhere (another was
paid).)"},
    {"quotes",
     R"(  plumblane quotes load quotes.csv
  plumblane quotes list --to DE)"},
    {"quotes load", R"(  plumblane quotes load quotes.csv)",
     R"(Columns:
  supplier            every row
  item                our code, or * for any item without a quote of its own
  supplier_item       instead: the supplier's code, known from items
  lane                VN-DE/express, or VN-DE for any service
  origin, destination, service
                      instead of lane
  price, currency     every row; a unit. With freight and duty empty it is the
                      landed price
  freight, duty       an order; a unit
  promised_days       8, 5-8, "5-8 working", 1-2+5-8 (processing + shipping)
  valid_from, valid_until
                      first and last day; empty: from today, until replaced
  minimum_units       from so many units on)",
     kLoadNotes},
    {"quotes list",
     R"(  plumblane quotes list
  plumblane quotes list --supplier lotus-works --to DE
  plumblane quotes list --item kite-swallow --past)"},
    {"terms",
     R"(  plumblane terms load terms.csv
  plumblane terms list)"},
    {"terms load", R"(  plumblane terms load terms.csv)",
     R"(A row replaces all terms of its supplier; a pause stays. Columns:
  supplier             every row
  monthly_order_limit  orders it takes in a month
  month_start_day      1 to 28, the day that month starts; empty: 1
  next_step_cost, currency
                       what the next step of its plan costs
  claim_days           a claim must be filed within so many days
  promised_days        where no quote says; as in quotes
  origin, service      where an order names none
  closures             days it does not ship: 2026-12-24..2026-12-31 2027-02-05
  target_on_time, target_defect
                       95% or 0.95
  target_delivery_days, target_response_days
                       for nine orders in ten
  tags                 words of a-z, 0-9 and hyphen)",
     kLoadNotes},
    {"terms list",
     R"(  plumblane terms list
  plumblane terms list --supplier lotus-works)"},
    {"pause",
     R"(  plumblane pause saffron-depot --reason "unsafe toys"
  plumblane pause saffron-depot --until 2026-12-01 --reason "unsafe toys")",
     "It gets no orders from rank and assign. Loading terms does not end a pause."},
    {"resume", R"(  plumblane resume saffron-depot)"},
    {"rates",
     R"(  plumblane rates load rates.csv
  plumblane rates list)"},
    {"rates load", R"(  plumblane rates load rates.csv)",
     R"(Columns: date, from, to, rate: one unit of `from` was worth `rate` units of `to`
on that day, and is until a later row.)",
     kLoadNotes},
    {"rates list",
     R"(  plumblane rates list
  plumblane rates list --past)"},
    {"items",
     R"(  plumblane items load items.csv
  plumblane items list)"},
    {"items load", R"(  plumblane items load items.csv)",
     R"(Columns: item, class, supplier, supplier_item. The class picks the costs; the
supplier's code is what it calls the item. Orders and quotes of that supplier
may name the item so, unless an item of yours has that very code: then yours is
meant, and send says so.)",
     kLoadNotes},
    {"items list",
     R"(  plumblane items list
  plumblane items list --item kite-swallow)"},
    {"costs",
     R"(  plumblane costs propose > costs.toml
  plumblane costs load costs.toml
  plumblane costs show)"},
    {"costs load", R"(  plumblane costs load costs.toml)",
     R"(The file replaces all costs. It is TOML, amounts as texts:
  currency = "EUR"
  [trials]                  # may be left out: off
  on = true
  most_share = 0.2          # of orders, to others than the cheapest expected
  most_cost = "0.20"        # an order, on average
  [[class]]                 # one or more
  shop = "harbour"          # left out: every shop
  item_class = "fragile"    # left out: every class
  sale = "24.90"            # what a customer pays, where nothing says
  late_order = "3.50"       # an order that comes after its promise
  day_late = "0.40"         # each day after it
  day_waiting = "0.05"      # each day from payment to delivery
  unanswered_day = "0.50"   # each day a claim waits
  damaged = { refund = 0.5, reship = false }
Likewise quality, wrong_item, missing_part, counterfeit, unsafe and lost: the
part of the sale given back, and whether another one is sent. Trials send real
orders of real customers to suppliers that are not expected to be cheapest.)"},
    {"costs show", R"(  plumblane costs show
  plumblane costs show > costs.toml)"},
    {"costs propose",
     R"(  plumblane costs propose > costs.toml
  plumblane costs propose --shop harbour)",
     "What each figure rests on stands before it; read and change before loading."},
};

}  // namespace

std::span<const Help> SourcingHelp() { return kHelp; }

}  // namespace plumblane::client
