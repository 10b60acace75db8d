// A copy of the data on its way from one daemon to another, over a real server.
#include "service/peers.h"

#include <absl/strings/str_cat.h>
#include <gmock/gmock.h>
#include <grpcpp/grpcpp.h>
#include <gtest/gtest.h>

#include <map>
#include <memory>
#include <string>
#include <utility>
#include <vector>

#include "storage/memory_store.h"

namespace plumblane {
namespace {

using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;
using ::testing::Pair;
using Pieces = std::vector<std::pair<std::string, std::string>>;

class PeersTest : public ::testing::Test {
 protected:
  ~PeersTest() override { server_->Shutdown(std::chrono::system_clock::now()); }

  void Serve(PeersService::ReadCopyFiles read, PeersService::ReadState read_state = {}) {
    static const bool kIsKept = (grpc_init(), true);  // a slow end otherwise, see access/guarded.h
    (void)kIsKept;
    service_ = std::make_unique<PeersService>(std::move(read), PeersService::Take(),
                                              std::move(read_state));
    grpc::ServerBuilder builder;
    builder.RegisterService(service_.get());
    server_ = builder.BuildAndStart();
  }
  // What arrives, at most so many pieces.
  absl::Status Fetch(Pieces& pieces, size_t most = 100) {
    return FetchCopy(server_->InProcessChannel({}), "",
                     [&](const std::string& file, std::string bytes) {
                       if (pieces.size() == most) return false;
                       pieces.emplace_back(file, std::move(bytes));
                       return true;
                     });
  }

  std::unique_ptr<PeersService> service_;
  std::unique_ptr<grpc::Server> server_;
};

TEST_F(PeersTest, FilesArriveAsTheyAre) {
  const std::string bytes("\0\xff\n", 3);
  Serve([&](const TakeCopyPiece& take) {
    const bool taken = take("a", "first") && take("a", bytes) && take("b/empty", "");
    return taken ? absl::OkStatus() : absl::CancelledError("");
  });
  Pieces pieces;
  EXPECT_TRUE(Fetch(pieces).ok());
  EXPECT_THAT(pieces, ElementsAre(Pair("a", "first"), Pair("a", bytes), Pair("b/empty", "")));
}

TEST_F(PeersTest, WhatFailsOnTheWayIsNoCopy) {
  Serve([](const TakeCopyPiece& take) {
    take("a", "first");
    return absl::UnavailableError("cannot read b");
  });
  Pieces pieces;
  const absl::Status status = Fetch(pieces);
  EXPECT_TRUE(absl::IsUnavailable(status)) << status;
  EXPECT_THAT(std::string(status.message()), HasSubstr("cannot read b"));
}

TEST_F(PeersTest, WhoWantsNoMoreEndsTheReading) {
  bool is_wanted = true;
  Serve([&](const TakeCopyPiece& take) {
    while (is_wanted) is_wanted = take("a", std::string(100'000, 'x'));
    return absl::CancelledError("");
  });
  Pieces pieces;
  EXPECT_TRUE(absl::IsCancelled(Fetch(pieces, 3)));
  EXPECT_EQ(pieces.size(), 3u);
  server_->Shutdown(std::chrono::system_clock::now());
  service_.reset();  // waits for the reading
  EXPECT_FALSE(is_wanted);
}

TEST_F(PeersTest, APartitionsStateArrivesInThePlaceOfWhatWasThere) {
  std::map<std::string, std::string> sent;
  for (int i = 0; i < 3'000; ++i) sent[absl::StrCat("key ", i)] = std::string(300, 'v');
  sent[std::string("\0\xff", 2)] = "";
  bool fails = true;
  Serve(PeersService::ReadCopyFiles(), [&](uint32_t partition, const auto& take) {
    EXPECT_EQ(partition, 3u);
    int left = fails ? 2'000 : 1'000'000;
    for (const auto& [key, value] : sent) {
      if (left-- == 0) return absl::UnavailableError("the medium");
      EXPECT_TRUE(take(Space::kCells, key, value));
    }
    EXPECT_TRUE(take(Space::kMeta, "m", "n"));
    return absl::OkStatus();
  });
  MemoryStore store;
  Batch before;
  before.Put(Space::kOrders, "old", "x");
  before.Put(Space::kMeta, "m", "old");
  ASSERT_TRUE(store.Write(before, /*sync=*/true).ok());
  const auto all = [&store] {
    std::map<std::string, std::string> found;
    for (int space = 0; space < kSpaceCount; ++space) {
      EXPECT_TRUE(store.TakeSnapshot()
                      ->Scan(static_cast<Space>(space), "", "",
                             [&](auto key, auto value) {
                               found[absl::StrCat(space, std::string(key))] = std::string(value);
                               return true;
                             })
                      .ok());
    }
    return found;
  };
  {
    ArrivingState cut_short(store);
    EXPECT_THAT(FetchPartition(server_->InProcessChannel({}), "", 3, cut_short).message(),
                HasSubstr("the medium"));
    EXPECT_TRUE(cut_short.has_begun());
  }
  ASSERT_TRUE(ArrivingState::ClearIfCutShort(store).ok());
  EXPECT_THAT(all(), IsEmpty()) << "neither the old nor some of the new";
  fails = false;
  ArrivingState arriving(store);
  ASSERT_TRUE(FetchPartition(server_->InProcessChannel({}), "", 3, arriving).ok());
  ASSERT_TRUE(FetchPartition(server_->InProcessChannel({}), "", 3, arriving).ok()) << "begun anew";
  ASSERT_TRUE(arriving.End().ok());
  ASSERT_TRUE(ArrivingState::ClearIfCutShort(store).ok());
  std::map<std::string, std::string> expected = {{"0m", "n"}};
  for (const auto& [key, value] : sent) expected["2" + key] = value;
  EXPECT_EQ(all(), expected);
}

TEST_F(PeersTest, WithoutCopiesItSaysSo) {
  Serve({});
  Pieces pieces;
  EXPECT_TRUE(absl::IsNotFound(Fetch(pieces)));
  EXPECT_THAT(pieces, IsEmpty());
}

}  // namespace
}  // namespace plumblane
