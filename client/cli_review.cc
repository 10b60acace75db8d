#include "client/cli_parts.h"
#include "client/option_values.h"

namespace plumblane::client {

void AddReview(CLI::App& app, Invocation& to) {
  ReviewOptions& options = to.review;
  CLI::App& sub = AddCommand(app, to, "review", Verb::kReview,
                             "A period's account, for the talk with a supplier");
  AddParsed(sub, "PERIOD", "", "2026Q3, 2026-08, 2026-07..2026-09, or FROM..TO", ParsePeriod,
            options.period);
  CLI::Option* supplier =
      AddParsed(sub, "--supplier", "SUPPLIER", "Only its orders", ParseId, options.supplier);
  AddParsed(sub, "--lane", "LANE", "Only orders on it: VN-DE, VN-DE/express", ParseLaneQuery,
            options.lane);
  AddParsed(sub, "--shop", "SHOP", "Only its orders; alerts and targets are those of all shops",
            ParseId, options.shop);
  sub.add_flag("--to-share", options.to_share,
               "The copy for the supplier: nothing of others, of your costs or shares")
      ->needs(supplier);
  AddParsed(sub, "-o,--output", "FILE", "The whole of it: FILE.html, .md, .csv or .json",
            ParseReviewFile, options.output);
  AddParsed(sub, "--evidence", "FILE", "Also write the orders behind it, as CSV", ParseText,
            options.evidence);
  AddCsvStyle(sub, to);
}

std::string CheckReview(const Invocation& invocation) {
  if (!invocation.json || invocation.review.output.empty()) return "";
  return "--json prints the review; name a file that ends in .json to keep it";
}

}  // namespace plumblane::client
