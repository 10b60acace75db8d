// A copy of the data on its way from one daemon to another, over a real server.
#include "service/peers.h"

#include <gmock/gmock.h>
#include <grpcpp/grpcpp.h>
#include <gtest/gtest.h>

#include <memory>
#include <string>
#include <utility>
#include <vector>

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

  void Serve(PeersService::ReadCopyFiles read) {
    static const bool kIsKept = (grpc_init(), true);  // a slow end otherwise, see access/guarded.h
    (void)kIsKept;
    service_ = std::make_unique<PeersService>(std::move(read), PeersService::Take());
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

TEST_F(PeersTest, WithoutCopiesItSaysSo) {
  Serve({});
  Pieces pieces;
  EXPECT_TRUE(absl::IsNotFound(Fetch(pieces)));
  EXPECT_THAT(pieces, IsEmpty());
}

}  // namespace
}  // namespace plumblane
