// Which of several daemons is spoken to: servers.h.

#include "client/servers.h"

#include <arpa/inet.h>
#include <gmock/gmock.h>
#include <netinet/in.h>
#include <sys/socket.h>
#include <unistd.h>

#include <string>
#include <vector>

#include "client/fake_daemon.h"
#include "client/support.h"

namespace plumblane::client {
namespace {

using testing::ElementsAre;
using testing::IsEmpty;
using testing::StartsWith;

TEST(ServersTest, AreSplitAtCommas) {
  EXPECT_THAT(SplitServers("h:1"), ElementsAre("h:1"));
  EXPECT_THAT(SplitServers("a:1, tls:b:2,/c,unix:/d"),
              ElementsAre("a:1", "tls:b:2", "unix:/c", "unix:/d"));
  EXPECT_THAT(SplitServers(" , "), IsEmpty());
}

TEST(ServersTest, OneThatDoesNotAnswerIsPassedOver) {
  const TemporaryFolder folder;
  FakeDaemon daemon;
  Servers servers({"unix:" + folder.Path("nobody"), daemon.address()}, {});
  EXPECT_TRUE(servers.WaitUntilReady());
  EXPECT_EQ(servers.at().address(), daemon.address());
  Servers nobody({"unix:" + folder.Path("nobody")}, {});
  EXPECT_FALSE(nobody.WaitUntilReady());
  EXPECT_FALSE(nobody.SeekOwner(absl::Hours(1))) << "who is alone is not waited for";
}

TEST(ServersTest, TheOwnerIsWhereThoseSayThatFollow) {
  FakeDaemon owner, follower;
  follower.state.owner = owner.address();
  Servers servers({follower.address()}, {});
  EXPECT_TRUE(servers.SeekOwner(absl::ZeroDuration()));
  EXPECT_EQ(servers.at().address(), owner.address());
  EXPECT_FALSE(servers.GoOn(/*is_silent=*/false));
  EXPECT_FALSE(servers.SeekOwner(absl::ZeroDuration())) << "it is there already";
  // The roles change.
  {
    const std::lock_guard lock(owner.state.mutex);
    owner.state.owner = follower.address();
  }
  {
    const std::lock_guard lock(follower.state.mutex);
    follower.state.owner = "";
  }
  EXPECT_TRUE(servers.SeekOwner(absl::ZeroDuration()));
  EXPECT_EQ(servers.at().address(), follower.address());
}

TEST(ServersTest, AnOwnerThatWasKilledAndIsThereAgainIsNotTakenForOne) {
  FakeDaemon again, follower;
  again.state.owner = follower.state.owner = again.address();
  Servers servers({follower.address(), again.address()}, {});
  EXPECT_FALSE(servers.SeekOwner(absl::ZeroDuration()));
  EXPECT_EQ(servers.at().address(), follower.address());
}

// Lets connect, and says nothing.
class MutePort {
 public:
  MutePort() {
    sockaddr_in address{};
    address.sin_family = AF_INET;
    address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    socklen_t size = sizeof(address);
    EXPECT_EQ(bind(fd_, reinterpret_cast<sockaddr*>(&address), size), 0);
    EXPECT_EQ(listen(fd_, 16), 0);
    EXPECT_EQ(getsockname(fd_, reinterpret_cast<sockaddr*>(&address), &size), 0);
    address_ = "127.0.0.1:" + std::to_string(ntohs(address.sin_port));
  }
  ~MutePort() { close(fd_); }
  const std::string& address() const { return address_; }

 private:
  const int fd_ = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
  std::string address_;
};

TEST(ServersTest, OneThatLetsConnectAndSaysNothingIsPassedOver) {
  const MutePort mute;
  FakeDaemon daemon;
  Servers servers({mute.address(), daemon.address()}, {});
  EXPECT_TRUE(servers.GoOn(/*is_silent=*/true));
  EXPECT_EQ(servers.at().address(), daemon.address());
  EXPECT_EQ(servers.Place(), daemon.address());
  EXPECT_FALSE(servers.GoOn(/*is_silent=*/false)) << "it takes events: begun anew there";
}

TEST(ServersTest, OneThatIsSilentIsLeftOnlyForAnother) {
  FakeDaemon silent, follower;
  follower.state.owner = silent.address();
  Servers servers({silent.address(), follower.address()}, {});
  EXPECT_FALSE(servers.GoOn(/*is_silent=*/true));
  EXPECT_EQ(servers.at().address(), silent.address());
  EXPECT_EQ(servers.Place(), silent.address()) << "the other one answered";
}

TEST(ServersTest, AllAreNamedWhenNoneAnswers) {
  const TemporaryFolder folder;
  const std::string a = "unix:" + folder.Path("a"), b = "unix:" + folder.Path("b"),
                    c = "unix:" + folder.Path("c");
  Servers servers({a, b, c}, {});
  EXPECT_FALSE(servers.WaitUntilReady());
  EXPECT_EQ(servers.Place(), a + ", " + b + " or " + c);
  EXPECT_FALSE(servers.GoOn(/*is_silent=*/false));
  EXPECT_EQ(servers.Place(), a + ", " + b + " or " + c);
  const Result result = RunProgram({"suppliers"}, a + "," + b + "," + c);
  EXPECT_EQ(result.code, kOutOfReach);
  EXPECT_THAT(result.err, StartsWith("the daemon at " + a + ", " + b + " or " + c +
                                     " cannot be reached: no answer"));
}

TEST(ServersTest, ACallThatFailsIsMadeOnceMoreWhereEventsAreTaken) {
  FakeDaemon owner, follower;
  follower.state.owner = owner.address();
  Servers servers({follower.address(), owner.address()}, {});
  std::vector<std::string> made;
  const auto call = [&](const Connection& at) {
    made.push_back(at.address());
    return at.address() == owner.address()
               ? grpc::Status::OK
               : grpc::Status(grpc::StatusCode::FAILED_PRECONDITION, "it follows");
  };
  EXPECT_TRUE(servers.Repeat(absl::ZeroDuration(), call).ok());
  EXPECT_THAT(made, ElementsAre(follower.address(), owner.address()));
  made.clear();
  const auto wrong = [&](const Connection& at) {
    made.push_back(at.address());
    return grpc::Status(grpc::StatusCode::INVALID_ARGUMENT, "it is wrong anywhere");
  };
  EXPECT_EQ(servers.Repeat(absl::Hours(1), wrong).error_code(), grpc::StatusCode::INVALID_ARGUMENT);
  EXPECT_THAT(made, ElementsAre(owner.address()));
}

TEST(ServersTest, ACallIsMadeOnceMoreAtTheSameThatTakesEventsAgain) {
  FakeDaemon daemon;
  Servers servers({daemon.address()}, {});
  int calls = 0;
  const auto call = [&calls](const Connection& /*at*/) {
    return ++calls > 1 ? grpc::Status::OK
                       : grpc::Status(grpc::StatusCode::FAILED_PRECONDITION, "it follows");
  };
  EXPECT_TRUE(servers.Repeat(absl::ZeroDuration(), call).ok());
  EXPECT_EQ(calls, 2);
}

TEST(ServersTest, AnOwnerThatCallsItselfTheOwnerAndFollowsIsNone) {
  FakeDaemon daemon;
  daemon.state.owner = daemon.address();
  Servers servers({daemon.address()}, {});
  EXPECT_FALSE(servers.SeekOwner(absl::ZeroDuration()));
  EXPECT_TRUE(servers.GoOn(/*is_silent=*/false)) << "so one may try again";
}

}  // namespace
}  // namespace plumblane::client
