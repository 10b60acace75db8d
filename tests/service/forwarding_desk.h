// A desk that hands all on to another, for tests that change one thing of it.
#pragma once

#include <functional>
#include <optional>
#include <string>
#include <utility>

#include "engine/desk.h"

namespace plumblane::test {

class ForwardingDesk : public Desk {
 public:
  explicit ForwardingDesk(Desk& other) : other_(other) {}
  bool Submit(Submission&& submission, Answer answer) override {
    return other_.Submit(std::move(submission), std::move(answer));
  }
  void WhenRoom(std::function<void()> ready) override { other_.WhenRoom(std::move(ready)); }
  View Look() const override { return other_.Look(); }
  Instant WallNow() const override { return other_.WallNow(); }
  ClockMode clock_mode() const override { return other_.clock_mode(); }
  size_t QueuedEvents() const override { return other_.QueuedEvents(); }
  bool AcceptsEvents() const override { return other_.AcceptsEvents(); }
  void Refuse(std::string why) override { other_.Refuse(std::move(why)); }
  std::string refusal() const override { return other_.refusal(); }
  std::optional<SharedLog> shared_log() const override { return other_.shared_log(); }

 private:
  Desk& other_;
};

}  // namespace plumblane::test
