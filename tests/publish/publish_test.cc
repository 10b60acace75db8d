// What other tools read without asking: files of scores, metrics, and how long syncs took.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <prometheus/text_serializer.h>
#include <spdlog/spdlog.h>

#include <filesystem>
#include <fstream>
#include <iterator>
#include <map>
#include <sstream>

#include "publish/metrics.h"
#include "publish/metrics_server.h"
#include "publish/snapshot_writer.h"
#include "service/service_support.h"
#include "support/temp_directory.h"

namespace plumblane {
namespace {

using test::At;
using test::OrderBuilder;
using test::RunningEngine;
using test::TempDirectory;
using ::testing::HasSubstr;
using ::testing::Not;

std::string Read(const std::string& path) {
  std::ifstream file(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(file), {}};
}

// `orders` settled orders of a supplier, and one under way.
void Add(RunningEngine& engine, const std::string& supplier, int orders) {
  for (int i = 0; i <= orders; ++i) {
    OrderBuilder order({"default", supplier + std::to_string(i)});
    order.Paid("2026-03-01").With([&](Event& event) { event.supplier = supplier; });
    if (i < orders) {
      order.Promised("2026-03-10").Delivered("2026-03-08");
    } else {
      order.Promised("2026-06-20");
    }
    ASSERT_TRUE(engine.Submit(order).status.ok());
  }
}

// ---- files of scores ----------------------------------------------------------------------------

TEST(SnapshotWriter, WritesBothFilesWholeIntoAPlaceItMakes) {
  RunningEngine engine;
  Add(engine, "lotus", 3);
  const TempDirectory folder;
  SnapshotWriter writer(*engine, {folder / "a/b", 300});
  EXPECT_EQ(writer.Step(), "");
  EXPECT_THAT(Read(folder / "a/b/scores.csv"), HasSubstr("\r\nsupplier,lotus,,,,"));
  EXPECT_THAT(Read(folder / "a/b/scores.json"), HasSubstr("\"name\":\"suppliers/lotus\""));
  EXPECT_EQ(std::distance(std::filesystem::directory_iterator(folder / "a/b"), {}), 2);
  ASSERT_TRUE(writer.state().last_write);
  EXPECT_EQ(*writer.state().last_write, engine.clock().Now());
}

TEST(SnapshotWriter, AFailureIsKeptAndPassesOff) {
  spdlog::set_level(spdlog::level::off);
  RunningEngine engine;
  Add(engine, "lotus", 1);
  const TempDirectory folder;
  std::ofstream(folder / "scores") << "a file";
  SnapshotWriter writer(*engine, {folder / "scores", 300});
  EXPECT_NE(writer.Step(), "");
  EXPECT_NE(writer.state().failure, "");
  EXPECT_FALSE(writer.state().last_write);
  std::filesystem::remove(folder / "scores");
  EXPECT_EQ(writer.Step(), "");
  EXPECT_EQ(writer.state().failure, "");
  EXPECT_EQ(writer.state().failures, 1);
}

// ---- metrics ------------------------------------------------------------------------------------

struct Watched {
  explicit Watched(size_t suppliers)
      : suppliers_told(suppliers), deliverer(*engine, {}, {}), snapshots(*engine, {}) {}

  std::map<std::string, double> Values() {
    const Metrics metrics(
        {*engine, deliverer, totals, log, snapshots, folder.path(), "1.0", 50'000, suppliers_told});
    std::map<std::string, double> values;
    std::ostringstream out;
    prometheus::TextSerializer().Serialize(out, metrics.Collect());
    text = out.str();
    std::istringstream lines(text);
    for (std::string line; std::getline(lines, line);) {
      if (line[0] == '#') continue;
      const size_t blank = line.rfind(' ');
      values[line.substr(0, blank)] = std::stod(line.substr(blank + 1));
    }
    return values;
  }

  size_t suppliers_told;
  TempDirectory folder;
  RunningEngine engine;
  Deliverer deliverer;
  SnapshotWriter snapshots;
  IntakeService::Totals totals;
  MemoryStore store;
  StoreLog store_log{store};
  TimedLog log{store_log};
  std::string text;
};

TEST(Metrics, TellTheSuppliersWithMostOrdersAndTheSumOfTheRest) {
  Watched watched(2);
  Add(watched.engine, "few", 1);
  Add(watched.engine, "most", 30);
  Add(watched.engine, "many", 20);
  Add(watched.engine, "some", 4);
  const auto values = watched.Values();
  EXPECT_EQ(values.at("plumblane_supplier_settled_orders{supplier=\"most\"}"), 30);
  EXPECT_EQ(values.count("plumblane_supplier_on_time_ratio{supplier=\"many\"}"), 1u);
  EXPECT_EQ(values.count("plumblane_supplier_on_time_ratio{supplier=\"some\"}"), 0u);
  EXPECT_EQ(values.at("plumblane_other_suppliers"), 2);
  EXPECT_EQ(values.at("plumblane_other_suppliers_settled_orders"), 1 + 4);
  EXPECT_EQ(values.at("plumblane_other_suppliers_underway_orders") +
                values.at("plumblane_supplier_underway_orders{supplier=\"most\"}") +
                values.at("plumblane_supplier_underway_orders{supplier=\"many\"}"),
            values.at("plumblane_stored_orders") - 55);
}

TEST(Metrics, AreAsManyWhateverTheFleetIs) {
  Watched small(3), large(3);
  for (int i = 0; i < 4; ++i) Add(small.engine, "s" + std::to_string(i), 2);
  for (int i = 0; i < 60; ++i) {
    OrderBuilder order({"default", std::to_string(i)});
    order.From("source" + std::to_string(i)).Paid("2026-03-01").Promised("2026-03-10");
    order.With([&](Event& event) { event.supplier = "s" + std::to_string(i); });
    ASSERT_TRUE(large.engine.Submit(order.Delivered("2026-03-08")).status.ok());
  }
  const auto few = small.Values(), all = large.Values();
  EXPECT_EQ(all.size(), few.size() - 1 + 20) << "20 sources, instead of one";
  EXPECT_EQ(all.at("plumblane_other_sources"), 40);
}

TEST(Metrics, WithoutDataThereIsNoSampleRatherThanZero) {
  Watched watched(5);
  const auto values = watched.Values();
  for (const auto& [name, value] : values) {
    EXPECT_THAT(name, Not(HasSubstr("supplier_on_time"))) << value;
  }
  EXPECT_THAT(watched.text, Not(HasSubstr("Nan")));
  EXPECT_EQ(values.at("plumblane_other_suppliers"), 0);
  EXPECT_EQ(values.count("plumblane_delivery_news_timestamp_seconds"), 0u);
}

TEST(Metrics, ASupplierWithAnyNameIsALabel) {
  Watched watched(5);
  Add(watched.engine, "a\"b\\c", 2);
  watched.Values();
  EXPECT_THAT(watched.text, HasSubstr("{supplier=\"a\\\"b\\\\c\"}"));
}

TEST(MetricSheet, AHelpTextThatWouldNeedEscapingIsABug) {
  EXPECT_DEATH(MetricSheet().Gauge("x", "two\nlines"), "help");
  EXPECT_DEATH(MetricSheet().Gauge("x", "a \\ b"), "help");
}

TEST(TimedLog, CountsEachAppendInItsBucket) {
  MemoryStore store;
  StoreLog behind(store);
  TimedLog log(behind);
  for (uint64_t i = 1; i <= 5; ++i) EXPECT_EQ(log.Append(0, i, "x"), Appended::kDurable);
  int64_t count = 0;
  for (size_t i = 0; i <= TimedLog::kEnds.size(); ++i) count += log.count(i);
  EXPECT_EQ(count, 5);
  EXPECT_EQ(log.Tail(0).value(), 5u);
}

TEST(MetricsServer, TakesAPortOnceAndSaysWhenItCannot) {
  struct Nothing : prometheus::Collectable {
    std::vector<prometheus::MetricFamily> Collect() const override { return {}; }
  };
  const auto first = MetricsServer::Listen("localhost:0", std::make_shared<Nothing>());
  ASSERT_TRUE(first.ok()) << first.status();
  const std::string taken = "127.0.0.1:" + std::to_string((*first)->port());
  const auto second = MetricsServer::Listen(taken, std::make_shared<Nothing>());
  EXPECT_TRUE(absl::IsUnavailable(second.status()));
  EXPECT_THAT(std::string(second.status().message()), HasSubstr("cannot serve metrics on"));
}

}  // namespace
}  // namespace plumblane
