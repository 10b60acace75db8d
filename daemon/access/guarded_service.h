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
#include <map>
#include <string>
#include <string_view>
#include <vector>

#include "access/gate.h"

namespace plumblane {

class GuardedService final : public grpc::Service {
 public:
  // What every answer says besides, as its metadata.
  using Remarks = std::function<std::map<std::string, std::string>()>;

  // Why a call is not answered here but elsewhere, "" = it is; asked once it is let in.
  using WhyNotHere = std::function<std::string(std::string_view method)>;

  // Register this instead of `service`, whose whole name is `name` ("plumblane.v1.Scores"). Both
  // references must outlive this.
  GuardedService(
      grpc::Service& service, const std::string& name, Gate& gate,
      const Remarks& remarks = [] { return std::map<std::string, std::string>(); },
      const WhyNotHere& why_not_here = [](std::string_view) { return std::string(); });

 private:
  std::vector<std::string> methods_;  // what the library keeps pointers to
};

}  // namespace plumblane
