#include "client/retries.h"

#include <google/protobuf/descriptor.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <nlohmann/json.hpp>
#include <set>
#include <string>

namespace plumblane::client {
namespace {

// What does something anew each time it is called: never by itself.
const std::set<std::string> kOnce = {"Agreements/LoadCosts",      "Agreements/LoadExchangeRates",
                                     "Agreements/LoadItems",      "Agreements/LoadQuotes",
                                     "Agreements/LoadTerms",      "Agreements/PauseSupplier",
                                     "Agreements/ResumeSupplier", "Alerts/AcceptAlert",
                                     "Alerts/AcknowledgeAlert",   "Alerts/ShelveAlert",
                                     "Intake/BeginSend",          "Intake/IngestEvents",
                                     "Intake/UndoSend",           "Operations/Backup",
                                     "Operations/EraseOrders",    "Operations/EraseSupplier",
                                     "Operations/Verify",         "Orders/CreateExcuse",
                                     "Orders/WithdrawExcuse",     "Sourcing/AssignOrders"};

TEST(RetriesTest, EveryCallIsEitherSafeToRepeatOrMadeOnce) {
  const nlohmann::json config = nlohmann::json::parse(RetryConfig());
  size_t count = 0;
  for (const auto& file : std::filesystem::directory_iterator(PLUMBLANE_API)) {
    const auto* proto = google::protobuf::DescriptorPool::generated_pool()->FindFileByName(
        "plumblane/v1/" + file.path().filename().string());
    ASSERT_NE(proto, nullptr) << file.path();
    for (int i = 0; i < proto->service_count(); ++i) {
      for (int j = 0; j < proto->service(i)->method_count(); ++j) {
        const std::string call =
            std::string(proto->service(i)->name()) + "/" + proto->service(i)->method(j)->name();
        EXPECT_NE(IsRetried("plumblane.v1." + call), kOnce.contains(call)) << call;
        count += IsRetried("plumblane.v1." + call);
      }
    }
  }
  EXPECT_EQ(config["methodConfig"][0]["name"].size(), count) << "it names a call that is not there";
}

}  // namespace
}  // namespace plumblane::client
