#include "client/show_explain.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_format.h>

#include <cmath>

#include "client/show.h"
#include "client/text.h"

namespace plumblane::client {
namespace {

std::string Fact(const std::string& label, const std::string& value, int width) {
  return DetailLine(label, value, /*label_width=*/15, width);
}

// "12", "4.5": orders, as many digits as say something.
std::string OrdersText(double orders) {
  return orders < 9.95 ? absl::StrFormat("%.2g", orders) : Thousands(std::llround(orders));
}

// "suppliers differ about as much as 40 orders can tell".
std::string DifferenceText(const v1::Difference& difference, const std::string& whose, int count) {
  if (count < 2) return absl::StrCat("there are no two ", whose, " to compare");
  if (difference.undetectable()) {
    return absl::StrCat("no difference between ", whose, " can be seen");
  }
  return absl::StrCat(whose, " differ about as much as ", OrdersText(difference.strength()),
                      " orders can tell");
}

std::string FleetLines(const v1::Fleet& fleet, const std::string& what, int width) {
  return absl::StrCat(
      Fact(
          "",
          absl::StrFormat("over all pairs %.4f %s: %s, %s, %s", fleet.mean(), what,
                          Counted(fleet.supplier_count(), "supplier"),
                          Counted(fleet.lane_count(), "lane"), Counted(fleet.pair_count(), "pair")),
          width),
      Fact("", DifferenceText(fleet.suppliers(), "suppliers", fleet.supplier_count()), width),
      Fact("", DifferenceText(fleet.lanes(), "lanes", fleet.lane_count()), width),
      Fact("", DifferenceText(fleet.pairs(), "pairs", fleet.pair_count()), width));
}

// What was observed of a rate and what its estimate started from.
struct Explained {
  std::string label, what;
  const v1::Rate& rate;
  bool has_prior, has_fleet;
  const v1::Prior& prior;
  const v1::Fleet& fleet;
};

std::string ExplainLines(const Explained& e, int width) {
  std::string text = e.rate.has_observed() ? absl::StrFormat("observed %.4f", e.rate.observed())
                                           : "nothing observed";
  if (e.rate.has_estimate()) absl::StrAppendFormat(&text, ", estimate %.4f", e.rate.estimate());
  absl::StrAppendFormat(&text, ", weight %.1f", e.rate.weight());
  const std::string starts = e.has_prior ? e.what + " starts from " : "starts from ";
  return absl::StrCat(Fact(e.label, text, width),
                      Fact("", starts + PriorText(e.has_prior, e.prior), width),
                      e.has_fleet ? FleetLines(e.fleet, e.what, width) : "");
}

// Where the start comes from, for the kind of thing that the score is of.
std::string StartText(const v1::Score& score) {
  if (!score.supplier_id().empty()) {
    return "A supplier starts from what others do on its lanes, and each of its lanes also from "
           "what it does on the others.";
  }
  return "A lane starts from what its suppliers do on other lanes, and each supplier on it also "
         "from what the others do here.";
}

}  // namespace

std::string PriorText(bool has_prior, const v1::Prior& prior) {
  if (!has_prior) return "nothing: no order of anyone has settled";
  return absl::StrFormat("%.4f, worth %s orders", prior.mean(), OrdersText(prior.strength()));
}

std::string ExplainText(const v1::Score& score, int width) {
  const bool average = score.rate_mode() == v1::RATE_MODE_AVERAGE;
  std::string text = absl::StrCat(
      "\nWhat the estimates are made of, as shares from 0 to 1\n",
      ExplainLines({"on time", "being late", score.on_time(), score.has_late_prior(),
                    score.has_late_fleet(), score.late_prior(), score.late_fleet()},
                   width),
      ExplainLines({"bad or lost", "being bad or lost", score.defect(), score.has_defect_prior(),
                    score.has_defect_fleet(), score.defect_prior(), score.defect_fleet()},
                   width));
  // A sentence below the facts.
  const auto say = [&](const std::string& sentence) {
    text += DetailLine("", sentence, /*label_width=*/0, width);
  };
  say(StartText(score) + " Its own orders move it from there.");
  say(absl::StrCat("Weight is ",
                   average ? "how many orders of one age would tell the average as well"
                           : "the number of orders, older ones counted in part",
                   "."));
  return text;
}

}  // namespace plumblane::client
