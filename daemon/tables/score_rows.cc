#include "tables/score_rows.h"

#include <absl/strings/str_cat.h>
#include <google/protobuf/duration.pb.h>
#include <google/protobuf/timestamp.pb.h>

#include "base/time.h"

namespace plumblane {
namespace {

std::string KindOf(const v1::Score& score) {
  if (score.supplier_id().empty()) return "lane";
  return score.has_lane() ? "pair" : "supplier";
}

std::string ServiceOf(const v1::Score& score) {
  if (!score.lane().has_service()) return "";
  return score.lane().service().empty() ? "-" : score.lane().service();
}

std::string DaysOf(bool has, const google::protobuf::Duration& duration) {
  if (!has) return "";
  return FigureText((static_cast<double>(duration.seconds()) + duration.nanos() / 1e9) / 86400);
}

std::string TimeOf(bool has, const google::protobuf::Timestamp& time) {
  if (!has) return "";
  return FormatInstant({time.seconds() * kMillisPerSecond + time.nanos() / 1'000'000});
}

void AddRate(const std::string& name, const v1::Rate& rate, TableRow& row) {
  const auto share = [](bool has, double value) { return has ? FigureText(value) : ""; };
  row.push_back(FigureCell(name, share(rate.has_estimate(), rate.estimate())));
  row.push_back(FigureCell(name + "_low", share(rate.has_low(), rate.low())));
  row.push_back(FigureCell(name + "_high", share(rate.has_high(), rate.high())));
  row.push_back(FigureCell(name + "_observed", share(rate.has_observed(), rate.observed())));
  row.push_back(FigureCell(name + "_weight", FigureText(rate.weight())));
}

void AddTimes(const std::string& name, const v1::Times& times, TableRow& row) {
  row.push_back(FigureCell(name + "_median_days", DaysOf(times.has_median(), times.median())));
  row.push_back(FigureCell(name + "_p90_days", DaysOf(times.has_p90(), times.p90())));
}

}  // namespace

TableRow ScoreRow(const v1::Score& score) {
  TableRow row = {TextCell("kind", KindOf(score)), TextCell("supplier", score.supplier_id()),
                  TextCell("origin", score.lane().origin()),
                  TextCell("destination", score.lane().destination()),
                  TextCell("service", ServiceOf(score))};
  AddRate("on_time", score.on_time(), row);
  row.push_back(CountCell("settled_orders", score.on_time().order_count()));
  row.push_back(CountCell("late_orders", score.on_time().hit_count()));
  AddRate("defect", score.defect(), row);
  row.push_back(CountCell("judged_orders", score.defect().order_count()));
  row.push_back(CountCell("defective_orders", score.defect().hit_count()));
  AddTimes("handling", score.handling(), row);
  AddTimes("transit", score.transit(), row);
  AddTimes("delivery", score.delivery(), row);
  AddTimes("response", score.response(), row);
  row.push_back(CountCell("underway_orders", score.underway_count()));
  row.push_back(CountCell("overdue_orders", score.overdue_count()));
  row.push_back(CountCell("excused_orders", score.excused_count()));
  row.push_back(CountCell("faulty_orders", score.fault_count()));
  row.push_back(
      TextCell("last_event", TimeOf(score.has_last_event_time(), score.last_event_time())));
  row.push_back(TextCell("news", TimeOf(score.has_news_time(), score.news_time())));
  row.push_back(TextCell("as_of", TimeOf(score.has_as_of_time(), score.as_of_time())));
  row.push_back(FigureCell("half_life_days", DaysOf(score.has_half_life(), score.half_life())));
  row.push_back(
      TextCell("mode", score.rate_mode() == v1::RATE_MODE_AVERAGE ? "average" : "current"));
  return row;
}

TableWriter ScoreTable(TableForm form, const CsvStyle& style) {
  return {form, style, "scores", ScoreRow(v1::Score())};
}

}  // namespace plumblane
