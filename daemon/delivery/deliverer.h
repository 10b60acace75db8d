// All ways out: one thread for each, so that none waits for another.
#pragma once

#include <memory>
#include <thread>
#include <vector>

#include "delivery/courier.h"

namespace plumblane {

class Deliverer {
 public:
  // `engine` must outlive it.
  Deliverer(Desk& engine, const Courier::Write& write, std::vector<Route> routes);
  ~Deliverer() { Stop(); }
  Deliverer(const Deliverer&) = delete;
  Deliverer& operator=(const Deliverer&) = delete;

  void Start();
  // Ends what is being sent, soon.
  void Stop();

  // In the order given. Thread-safe.
  std::vector<RouteState> states() const;

 private:
  StopEvent stop_;
  std::vector<std::unique_ptr<Courier>> couriers_;
  std::vector<std::thread> threads_;
};

}  // namespace plumblane
