// Stands before a service: every call of it passes the gate first.
//
// Made from the service's own description, so a call that is added to the service passes the gate
// too, and is for nobody until it stands in the table of permissions.
//
// It takes the service's handlers and puts itself in their place, by the library's internal but
// exported classes, which generated code uses as well. The library's interceptors cannot keep a
// handler from running, and its metadata processor needs credentials that a plain connection does
// not have.
#pragma once

#include <grpcpp/impl/service_type.h>

#include <functional>
#include <string>
#include <vector>

#include "access/gate.h"

namespace plumblane {

class GuardedService final : public grpc::Service {
 public:
  // What every answer says of itself, besides: its metadata `kFollowsKey`; "" = nothing.
  using Remark = std::function<std::string()>;
  static constexpr char kFollowsKey[] = "plumblane-follows";

  // Register this instead of `service`, whose whole name is `name` ("plumblane.v1.Scores"). Both
  // references must outlive this.
  GuardedService(
      grpc::Service& service, const std::string& name, Gate& gate,
      const Remark& remark = [] { return std::string(); });

 private:
  std::vector<std::string> methods_;  // what the library keeps pointers to
};

}  // namespace plumblane
