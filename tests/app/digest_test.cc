// Daemons that share a log in etcd compare the hash of all their cells every so many entries, as
// they are put together by the settings: equal ones go on, and one that differs is found out.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <spdlog/spdlog.h>

#include <atomic>
#include <functional>
#include <future>
#include <memory>
#include <optional>
#include <string>
#include <thread>

#include "app/desk_in_use.h"
#include "app/log_in_use.h"
#include "engine/partitions.h"
#include "storage/memory_store.h"
#include "storage/prefix_end.h"
#include "support/etcd_server.h"
#include "support/fixed_clock.h"
#include "support/order_builder.h"
#include "support/temp_directory.h"

namespace plumblane {
namespace {

using test::At;
using test::OrderBuilder;
using ::testing::HasSubstr;

void Until(const std::function<bool()>& condition) {
  while (!condition()) std::this_thread::sleep_for(std::chrono::milliseconds(5));
}

// A daemon without its services; partitions have the number of a log that was made before.
class Side {
 public:
  Side(const test::EtcdServer& server, const std::string& name, int partitions) {
    settings_.data_directory = directory_ / name;
    settings_.cluster.etcd = server.endpoints();
    settings_.cluster.node = name;
    settings_.cluster.address = "127.0.0.1:1";  // nobody: nothing is handed on
    settings_.cluster.lease_seconds = 6;        // who is alive is looked at six times in it
    settings_.cluster.partitions = partitions;
    settings_.engine.compare_entries = 2;
    auto log = LogInUse::Prepare(settings_, [] {});
    EXPECT_TRUE(log.ok()) << log.status();
    log_ = *std::move(log);
    EXPECT_TRUE(log_->Open(store, Anchor()).ok());
    desk_.emplace(settings_, store, *log_, clock_, [this](const absl::Status& why) {
      if (!is_lost_.exchange(true)) lost.set_value(why);
    });
    EXPECT_TRUE(desk_->Start([] {}).ok());
  }
  Receipt Submit(int number) {
    OrderBuilder order({"default", std::to_string(number)});
    order.Paid("2026-03-01").Promised("2026-03-10").Delivered("2026-03-08");
    Submission submission;
    for (const Event& event : order.events()) submission.events.push_back({order.key(), event});
    std::promise<Receipt> receipt;
    EXPECT_TRUE(desk_->desk().Submit(std::move(submission),
                                     [&](const Receipt& answer) { receipt.set_value(answer); }));
    return receipt.get_future().get();
  }
  // Entries of all partitions.
  uint64_t applied() { return desk_->desk().Look().catalog().log_sequence; }
  bool takes_events() { return desk_->desk().AcceptsEvents(); }
  // Comparisons that are under way come to their end.
  void Stop() { desk_->Stop(); }

  MemoryStore store;
  std::promise<absl::Status> lost;
  bool is_lost() const { return is_lost_; }

 private:
  test::TempDirectory directory_;
  Settings settings_;
  test::FixedClock clock_{At("2026-06-01T12:00")};
  std::atomic<bool> is_lost_ = false;
  std::unique_ptr<LogInUse> log_;
  std::optional<DeskInUse> desk_;
};

int DigestsIn(const test::EtcdServer& server) {
  EtcdClient client({.endpoints = server.endpoints()});
  etcdserverpb::TxnRequest txn;
  const std::string cells = client.Key("cells4/");
  *txn.add_success() = Range(cells, EndOfPrefix(cells));
  const auto found = client.Ask(txn);
  EXPECT_TRUE(found.ok()) << found.status();
  return found->responses(0).response_range().kvs_size();
}

class DigestTest : public ::testing::TestWithParam<int> {
 protected:
  void SetUp() override {
    PLUMBLANE_NEEDS_ETCD();
    spdlog::set_level(spdlog::level::off);
  }
  // Each order by whoever owns its partition.
  static void TakeSome(Side& one, Side& two) {
    const auto is_over = [&] { return one.is_lost() || two.is_lost(); };
    Until([&] { return one.takes_events() || two.takes_events(); });
    for (int number = 0; number < 24; ++number) {
      Until([&] {
        return is_over() || one.Submit(number).status.ok() || two.Submit(number).status.ok();
      });
    }
    Until([&] { return is_over() || (one.applied() >= 24 && one.applied() == two.applied()); });
  }
};

TEST_P(DigestTest, EqualOnesGoOn) {
  test::EtcdServer server;
  Side one(server, "one", GetParam()), two(server, "two", GetParam());
  TakeSome(one, two);
  one.Stop();
  two.Stop();
  EXPECT_GE(DigestsIn(server), GetParam()) << "nothing was compared";
  EXPECT_FALSE(one.is_lost());
  EXPECT_FALSE(two.is_lost());
}

TEST_P(DigestTest, OneThatDiffersIsFoundOut) {
  test::EtcdServer server;
  Side one(server, "one", GetParam()), two(server, "two", GetParam());
  Batch wrong;
  for (int partition = 0; partition < GetParam(); ++partition) {
    const std::string before =
        GetParam() > 1 ? PartitionPrefix(static_cast<uint32_t>(partition)) : "";
    wrong.Put(Space::kCells, before + "\x7fno cell", "");
  }
  ASSERT_TRUE(two.store.Write(wrong, /*sync=*/true).ok());
  TakeSome(one, two);
  one.Stop();
  two.Stop();
  ASSERT_TRUE(one.is_lost() || two.is_lost()) << "who tells second is stopped";
  const absl::Status why = (one.is_lost() ? one : two).lost.get_future().get();
  EXPECT_TRUE(absl::IsDataLoss(why)) << why;
  EXPECT_THAT(std::string(why.message()), HasSubstr("differ from those of another daemon"));
  EXPECT_THAT(std::string(why.message()), HasSubstr("plumblaned --verify"));
}

INSTANTIATE_TEST_SUITE_P(Partitions, DigestTest, ::testing::Values(1, 4));

}  // namespace
}  // namespace plumblane
