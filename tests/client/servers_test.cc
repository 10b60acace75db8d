// Which of several daemons is spoken to: servers.h.

#include "client/servers.h"

#include <gmock/gmock.h>

#include "client/fake_daemon.h"
#include "client/support.h"

namespace plumblane::client {
namespace {

using testing::ElementsAre;
using testing::IsEmpty;

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
  EXPECT_TRUE(servers.Follows());
  EXPECT_TRUE(servers.SeekOwner(absl::ZeroDuration()));
  EXPECT_EQ(servers.at().address(), owner.address());
  EXPECT_FALSE(servers.Follows());
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

TEST(ServersTest, AnOwnerThatCallsItselfTheOwnerAndFollowsIsNone) {
  FakeDaemon daemon;
  daemon.state.owner = daemon.address();
  Servers servers({daemon.address()}, {});
  EXPECT_FALSE(servers.SeekOwner(absl::ZeroDuration()));
  EXPECT_TRUE(servers.Follows()) << "so one may try again";
}

}  // namespace
}  // namespace plumblane::client
