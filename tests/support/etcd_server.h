// A real etcd for a test: one member or more on free ports of the loopback, files in a temporary
// directory, ended by its process id. Where etcd is not installed the test skips; ETCD in the
// environment names another program than the one that is installed.
#pragma once

#include <gtest/gtest.h>
#include <netinet/in.h>
#include <signal.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cstdlib>
#include <string>
#include <vector>

#include "base/stopwatch.h"
#include "eventlog/etcd/etcd_client.h"
#include "eventlog/etcd/txn.h"
#include "support/temp_directory.h"

namespace plumblane::test {

inline const char* EtcdProgram() {
  if (const char* named = std::getenv("ETCD"); named != nullptr && *named != '\0') return named;
  for (const char* path : {"/usr/bin/etcd", "/usr/local/bin/etcd"}) {
    if (access(path, X_OK) == 0) return path;
  }
  return nullptr;
}

#define PLUMBLANE_NEEDS_ETCD()                                    \
  if (::plumblane::test::EtcdProgram() == nullptr) {              \
    GTEST_SKIP() << "no etcd here; Debian has it as etcd-server"; \
  }

inline int FreePort() {
  const int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
  sockaddr_in address{};
  address.sin_family = AF_INET;
  address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  socklen_t size = sizeof(address);
  EXPECT_EQ(bind(fd, reinterpret_cast<sockaddr*>(&address), size), 0);
  EXPECT_EQ(getsockname(fd, reinterpret_cast<sockaddr*>(&address), &size), 0);
  close(fd);
  return ntohs(address.sin_port);
}

class EtcdServer {
 public:
  explicit EtcdServer(int members = 1, std::vector<std::string> flags = {})
      : flags_(std::move(flags)) {
    for (int i = 0; i < members; ++i) members_.push_back({FreePort(), FreePort()});
    for (int i = 0; i < members; ++i) Start(i);
    WaitUntilItAnswers();
  }
  ~EtcdServer() {
    for (size_t i = 0; i < members_.size(); ++i) Kill(static_cast<int>(i));
  }
  EtcdServer(const EtcdServer&) = delete;
  EtcdServer& operator=(const EtcdServer&) = delete;

  std::vector<std::string> endpoints() const {
    std::vector<std::string> all;
    for (const Member& member : members_) all.push_back(Host(member.port));
    return all;
  }

  void Start(int index) {
    Member& member = members_[static_cast<size_t>(index)];
    std::string cluster;
    for (size_t i = 0; i < members_.size(); ++i) {
      cluster += (i ? "," : "") + Name(i) + "=http://" + Host(members_[i].peer_port);
    }
    const std::string name = Name(static_cast<size_t>(index));
    std::vector<std::string> words = {
        EtcdProgram(),
        "--name=" + name,
        "--data-dir=" + directory_ / name,
        "--listen-client-urls=http://" + Host(member.port),
        "--advertise-client-urls=http://" + Host(member.port),
        "--listen-peer-urls=http://" + Host(member.peer_port),
        "--initial-advertise-peer-urls=http://" + Host(member.peer_port),
        "--initial-cluster=" + cluster,
        "--logger=zap",
        "--log-outputs=" + directory_ / (name + ".log")};
    if (members_.size() > 1) {  // a busy machine is not taken for a dead one
      words.insert(words.end(), {"--heartbeat-interval=300", "--election-timeout=3000"});
    }
    words.insert(words.end(), flags_.begin(), flags_.end());
    std::vector<char*> arguments;
    for (std::string& word : words) arguments.push_back(word.data());
    arguments.push_back(nullptr);
    member.process = fork();
    if (member.process == 0) {
      execv(EtcdProgram(), arguments.data());
      _exit(127);
    }
  }
  void Kill(int index) {
    Member& member = members_[static_cast<size_t>(index)];
    if (member.process <= 0) return;
    kill(member.process, SIGKILL);
    waitpid(member.process, nullptr, 0);
    member.process = 0;
  }
  // Held up, or goes on.
  void Signal(int index, int signal) { kill(members_[static_cast<size_t>(index)].process, signal); }

  void WaitUntilItAnswers() {
    EtcdClient client({.endpoints = endpoints()});
    etcdserverpb::TxnRequest txn;
    *txn.add_success() = Range("x");
    const Stopwatch since;
    while (!client.Ask(txn).ok() && since.Seconds() < 120) usleep(50'000);
    ASSERT_TRUE(client.Ask(txn).ok()) << client.Ask(txn).status();
  }

 private:
  struct Member {
    int port, peer_port;
    pid_t process = 0;
  };
  static std::string Host(int port) { return "127.0.0.1:" + std::to_string(port); }
  static std::string Name(size_t index) { return "m" + std::to_string(index); }

  TempDirectory directory_;
  const std::vector<std::string> flags_;
  std::vector<Member> members_;
};

}  // namespace plumblane::test
