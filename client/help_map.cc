#include "client/help_text.h"

namespace plumblane::client {
namespace {

constexpr std::string_view kMapNotes =
    R"(A table has one order a row, with dates in columns, as shops, suppliers and
carriers export them: separated by commas, semicolons, tabs or bars; in UTF-8,
UTF-16 or Latin-1; with any line ends, names of columns, forms of dates, decimal
comma or point; or JSON objects in a list, or one a line. All of it is looked
at. The map says what it found; each "?" in it is a question that stands above
it, and "send --map" waits until it is answered: 03/04/2026 could be March or
April, "Paid" the customer's payment or yours, "Shipped" a label or a scan.

    [order]
    order_id = "Order No"                                   a column's name
    supplier = { value = "lotus-works" }                    the same for all rows
    destination = { column = "Country", form = "country" }  Deutschland is DE
    service = { column = "Method", words = "methods" }      by a table of words
    [[event]]                                               as many as you like
    type = "delivered"
    time = { column = "Arrived", form = "D-M-Y" }           or Y-M-D, M-D-Y,
                                                            seconds, milliseconds
    [words.methods]
    "Air mail" = "air"                                      "" says nothing
    [[skip]]                                                rows to leave out
    column = "Status"
    is = ["Draft"]
    [[join]]                                                a second table, whose
    name = "parcels"                                        columns are then
    by = "Order No"                                         "parcels.Carrier" ...
    on = "order"
    file = "parcels.csv"                                    or --join parcels=FILE

Columns that look personal - names, addresses, phone numbers, e-mail - are named
and left out, and a map that uses one is refused.)";

constexpr std::string_view kAgainNotes =
    R"(Send each export as it comes, all of it: what an earlier one of the same source
said of an order is replaced by what this one says, and what has not changed
stays as it is. Which one is later is told by --revision, else by when the file
was last changed; --follow sends what comes to a file or directory in this way.
A row counts whole or goes whole to FILE.rejected.)";

constexpr Help kHelp[] = {
    {"map",
     R"(  plumblane map orders.csv                  look at it
  plumblane map orders.csv -o orders.toml   write a map, then settle its "?"
  plumblane send --map orders.toml --dry-run orders.csv
  plumblane send --map orders.toml orders.csv)",
     kMapNotes, kAgainNotes},
};

}  // namespace

std::span<const Help> MapHelp() { return kHelp; }

}  // namespace plumblane::client
