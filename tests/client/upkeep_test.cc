// `verify` and `backup` against a fake daemon: what is asked, what is shown, and the exit codes.
#include <gmock/gmock.h>

#include <filesystem>

#include "client/exit_codes.h"
#include "client/fake_daemon.h"
#include "client/support.h"

namespace plumblane::client {
namespace {

using testing::HasSubstr;

class UpkeepTest : public testing::Test {
 protected:
  Result Run(const std::vector<std::string>& arguments) {
    return RunProgram(arguments, daemon_.address());
  }
  void Answer(const std::string& result) {
    daemon_.state.verify_updates = {
        FromJson<v1::VerifyUpdate>(R"({"step":"STEP_ORDERS","orderCount":"8412"})"),
        FromJson<v1::VerifyUpdate>(R"({"step":"STEP_COMPARE","result":)" + result + "}")};
  }
  FakeDaemon daemon_;
};

TEST_F(UpkeepTest, SaysThatAllIsAsItWasTold) {
  Answer(
      R"({"orderCount":"8412","eventCount":"12325","logSequence":"71","firstKeptSequence":"55"})");
  const Result counted = Run({"verify"});
  EXPECT_EQ(counted.code, kDone);
  EXPECT_EQ(counted.out,
            "All is as it was told: 8,412 orders, from 12,325 events, up to log entry 71.\n"
            "Counted again from the orders, as the log is trimmed.\n");
  Answer(R"({"orderCount":"1","eventCount":"1","logSequence":"1","firstKeptSequence":"1"})");
  EXPECT_THAT(Run({"verify"}).out, HasSubstr("Applied again from the whole log."));
}

TEST_F(UpkeepTest, NamesTheFirstDifferenceAndFails) {
  Answer(R"({"difference":"pair lotus-works is missing"})");
  const Result different = Run({"verify"});
  EXPECT_EQ(different.code, kFailed);
  EXPECT_THAT(different.out, HasSubstr("First difference: pair lotus-works is missing."));
  const Result json = Run({"verify", "--json"});
  EXPECT_EQ(json.code, kFailed);
  EXPECT_THAT(json.out, HasSubstr("\"difference\": \"pair lotus-works is missing\""));
}

TEST_F(UpkeepTest, WithoutAResultItFails) {
  EXPECT_EQ(Run({"verify"}).code, kFailed);
  daemon_.state.verify_status = {grpc::RESOURCE_EXHAUSTED, "the data is being verified"};
  const Result busy = Run({"verify"});
  EXPECT_EQ(busy.code, kFailed);
  EXPECT_THAT(busy.err, HasSubstr("the data is being verified"));
}

TEST_F(UpkeepTest, AsksForACopyAtAnAbsolutePlace) {
  daemon_.state.backup = FromJson<v1::BackupResponse>(
      R"({"number":"3","logSequence":"71","byteCount":"2049","keptCount":2})");
  const Result made = Run({"backup", "copies", "--keep", "2"});
  EXPECT_EQ(made.code, kDone);
  EXPECT_EQ(made.out, "Copy 3: all up to log entry 71, 3 KiB; 2 copies there now.\n");
  ASSERT_EQ(daemon_.state.backups.size(), 1u);
  EXPECT_EQ(daemon_.state.backups[0].directory(), std::filesystem::current_path() / "copies");
  EXPECT_EQ(daemon_.state.backups[0].keep_count(), 2);
  daemon_.state.backup_status = {grpc::INVALID_ARGUMENT, "directory: expected one outside /data"};
  const Result refused = Run({"backup", "/data/x"});
  EXPECT_EQ(refused.code, kUsage);
  EXPECT_THAT(refused.err, HasSubstr("DIR: expected one outside /data"));
  EXPECT_EQ(Run({"backup", "/x", "--keep", "0"}).code, kUsage);
}

TEST_F(UpkeepTest, StatusSaysWhyNoEventsAreTaken) {
  daemon_.state.status = FromJson<v1::ServerStatus>(
      R"({"acceptingEvents":false,"refusal":"the daemon's disk is nearly full"})");
  EXPECT_THAT(Run({"status"}).out, HasSubstr("takes no events: the daemon's disk is nearly full"));
}

}  // namespace
}  // namespace plumblane::client
