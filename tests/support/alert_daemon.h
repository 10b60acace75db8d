// An engine with its watches, on a store that may outlive it, and a day at a time.
#pragma once

#include <gtest/gtest.h>

#include <future>
#include <memory>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "engine/alert_teller.h"
#include "engine/engine.h"
#include "support/fixed_clock.h"

namespace plumblane::test {

// An engine on a store, stepped by hand.
class Daemon {
 public:
  Daemon(Store& store, Day today, const EngineOptions& options = {})
      : log_(store), clock_(StartOf(today) + 43'200'000) {
    engine_ = std::make_unique<Engine>(store, log_, clock_, options);
    EXPECT_TRUE(engine_->Start().ok());
    teller_ = std::make_unique<AlertTeller>(*engine_);
  }
  void Submit(Submission submission) {
    std::promise<absl::Status> done;
    ASSERT_TRUE(engine_->Submit(std::move(submission),
                                [&](const Receipt& receipt) { done.set_value(receipt.status); }));
    ASSERT_TRUE(done.get_future().get().ok());
  }
  void Submit(const std::vector<OrderEvent>& events) {
    Submission submission;
    submission.events = events;
    Submit(std::move(submission));
  }
  void Say(AlertNotice::Kind kind, const std::string& id, std::optional<Day> day,
           const std::string& note = "") {
    Submission submission;
    AlertNotice& said = submission.alert_notices.emplace_back();
    said.kind = kind;
    said.alert_id = id;
    said.time = engine_->Look().now();
    said.day = day;
    said.note = note;
    Submit(std::move(submission));
  }
  void Step(Day today) {
    clock_.Set(StartOf(today) + 43'200'000);
    ASSERT_TRUE(teller_->Step().ok());
  }
  std::shared_ptr<const AlertsTold> told() const { return engine_->Look().catalog().alerts; }
  std::vector<std::pair<std::string, ToldAlert>> Open() const {
    std::vector<std::pair<std::string, ToldAlert>> open;
    for (const auto& [id, alert] : told()->by_id) {
      if (alert.is_open()) open.emplace_back(id, alert);
    }
    return open;
  }
  Engine& engine() { return *engine_; }

 private:
  StoreLog log_;
  FixedClock clock_;
  std::unique_ptr<Engine> engine_;
  std::unique_ptr<AlertTeller> teller_;
};

}  // namespace plumblane::test
