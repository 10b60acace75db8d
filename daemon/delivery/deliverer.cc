#include "delivery/deliverer.h"

#include <utility>

namespace plumblane {

Deliverer::Deliverer(Desk& engine, const Courier::Write& write, std::vector<Route> routes) {
  for (Route& route : routes) {
    couriers_.push_back(std::make_unique<Courier>(engine, write, std::move(route)));
  }
}

void Deliverer::Start() {
  for (const auto& courier : couriers_) {
    threads_.emplace_back([this, &courier] {
      while (!stop_.is_set()) stop_.WaitFor(courier->Step(stop_));
    });
  }
}

void Deliverer::Stop() {
  stop_.Set();
  for (std::thread& thread : threads_) thread.join();
  threads_.clear();
}

std::vector<RouteState> Deliverer::states() const {
  std::vector<RouteState> states;
  for (const auto& courier : couriers_) states.push_back(courier->state());
  return states;
}

}  // namespace plumblane
