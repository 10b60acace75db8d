// Starting and stopping, in this process: addresses, the rights of files, what a hard stop leaves
// behind, and the exit codes that decide whether a supervisor starts the daemon again.
#include "app/daemon.h"

#include <gmock/gmock.h>
#include <grpcpp/grpcpp.h>
#include <gtest/gtest.h>
#include <spdlog/spdlog.h>
#include <stdlib.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

#include <filesystem>
#include <fstream>
#include <iterator>
#include <vector>

namespace plumblane {
namespace {

namespace fs = std::filesystem;
using ::testing::ElementsAre;
using ::testing::IsEmpty;
using ::testing::MatchesRegex;

class Daemon : public ::testing::Test {
 protected:
  Daemon() {
    spdlog::set_level(spdlog::level::off);
    std::string name = (fs::temp_directory_path() / "plumblane.XXXXXX").string();
    EXPECT_NE(mkdtemp(name.data()), nullptr);
    directory_ = name;
    settings_.data_directory = directory_ + "/data";
    settings_.listen = {"unix:" + socket()};
    settings_.block_cache_mib = 8;
    settings_.write_buffer_mib = 1;
    settings_.shutdown_seconds = 5;
  }
  ~Daemon() override { fs::remove_all(directory_); }

  std::string socket() const { return directory_ + "/socket"; }
  // Runs the daemon from start to stop; `while_serving` is called in between.
  int Run(const std::function<void()>& while_serving = [] {}) {
    addresses_.clear();
    return RunDaemon(
        settings_, "test", [&](const std::vector<std::string>& bound) { addresses_ = bound; },
        [&](const auto& /*reload*/) { while_serving(); });
  }
  bool Answers(const std::string& address) {
    const auto channel = grpc::CreateChannel(address, grpc::InsecureChannelCredentials());
    return channel->WaitForConnected(std::chrono::system_clock::now() + std::chrono::seconds(5));
  }
  static mode_t RightsOf(const std::string& path) {
    struct stat info {};
    EXPECT_EQ(lstat(path.c_str(), &info), 0) << path;
    return info.st_mode & 0777;
  }
  // A socket file that nobody listens on, as a killed daemon leaves it.
  void LeaveSocket() {
    const int abandoned = ::socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
    sockaddr_un address{};
    address.sun_family = AF_UNIX;
    socket().copy(address.sun_path, sizeof(address.sun_path) - 1);
    EXPECT_EQ(bind(abandoned, reinterpret_cast<sockaddr*>(&address), sizeof(address)), 0);
    close(abandoned);
    EXPECT_TRUE(fs::is_socket(socket()));
  }

  std::string directory_;
  Settings settings_;
  std::vector<std::string> addresses_;
};

TEST_F(Daemon, SaysWhereItServesWithPortsFilledInAndEndsWell) {
  settings_.listen = {"unix:" + socket(), "127.0.0.1:0"};
  EXPECT_EQ(Run([&] {
              EXPECT_THAT(addresses_, ElementsAre("unix:" + socket(),
                                                  MatchesRegex("127\\.0\\.0\\.1:[1-9][0-9]*")));
              for (const std::string& address : addresses_) {
                EXPECT_TRUE(Answers(address)) << address;
              }
            }),
            kExitStopped);
}

TEST_F(Daemon, KeepsItsDataToItsUserAndItsSocketToItsGroup) {
  EXPECT_EQ(Run([&] {
              EXPECT_EQ(RightsOf(settings_.data_directory), 0700u);
              EXPECT_EQ(RightsOf(socket()), 0660u);
            }),
            kExitStopped);
}

TEST_F(Daemon, ADirectoryThatWasThereKeepsItsRights) {
  fs::create_directory(settings_.data_directory);
  fs::permissions(settings_.data_directory, fs::perms(0750));
  EXPECT_EQ(Run(), kExitStopped);
  EXPECT_EQ(RightsOf(settings_.data_directory), 0750u);
}

TEST_F(Daemon, ASocketLeftByAHardStopIsReplaced) {
  LeaveSocket();
  EXPECT_EQ(Run([&] { EXPECT_TRUE(Answers("unix:" + socket())); }), kExitStopped);
}

TEST_F(Daemon, AFileWhereItsSocketShouldBeIsNotTouched) {
  std::ofstream(socket()) << "precious";
  EXPECT_EQ(Run(), kExitTryAgain);
  EXPECT_THAT(addresses_, IsEmpty());
  std::ifstream in(socket());
  EXPECT_EQ(std::string(std::istreambuf_iterator<char>(in), {}), "precious");
}

TEST_F(Daemon, TheSocketOfALivingDaemonIsNotTaken) {
  EXPECT_EQ(Run([&] {
              Settings second = settings_;
              second.data_directory = directory_ + "/second";
              EXPECT_EQ(RunDaemon(
                            second, "test", [](auto&) { ADD_FAILURE(); }, [](auto&) {}),
                        kExitTryAgain);
              EXPECT_TRUE(Answers("unix:" + socket()));
            }),
            kExitStopped);
}

TEST_F(Daemon, WhatASecondOnItsDataGetsIsTryAgain) {
  EXPECT_EQ(Run([&] {
              Settings second = settings_;
              second.listen = {"unix:" + directory_ + "/other"};
              EXPECT_EQ(RunDaemon(
                            second, "test", [](auto&) { ADD_FAILURE(); }, [](auto&) {}),
                        kExitTryAgain);
            }),
            kExitStopped);
}

TEST_F(Daemon, DamagedDataIsNotTriedAgain) {
  EXPECT_EQ(Run(), kExitStopped);
  std::ofstream(settings_.data_directory + "/store/CURRENT") << "nonsense";
  EXPECT_EQ(Run(), kExitDataDamaged);
  EXPECT_THAT(addresses_, IsEmpty());
}

TEST_F(Daemon, ADataDirectoryThatCannotBeIsTriedAgain) {
  std::ofstream(directory_ + "/file") << "";
  settings_.data_directory = directory_ + "/file/data";
  EXPECT_EQ(Run(), kExitTryAgain);
}

}  // namespace
}  // namespace plumblane
