#include "service/one_at_a_time.h"

#include <gtest/gtest.h>

#include <future>

namespace plumblane {
namespace {

TEST(OneAtATimeTest, RefusesWhileItWorksAndTakesTheNextOnceItHasTold) {
  int done = 0;
  {
    OneAtATime worker;
    std::promise<void> started, go_on, told;
    ASSERT_TRUE(worker.Start(
        [&] {
          started.set_value();
          go_on.get_future().wait();
          ++done;
        },
        [&] { told.set_value(); }));
    started.get_future().wait();
    EXPECT_FALSE(worker.Start([&] { done += 100; }, [&] { done += 100; }));
    go_on.set_value();
    told.get_future().wait();
    EXPECT_EQ(done, 1);
    EXPECT_TRUE(worker.Start([&] { ++done; }, [&] { ++done; }));
  }  // waits
  EXPECT_EQ(done, 3);
}

}  // namespace
}  // namespace plumblane
