// Which call needs which role, and how a bound token narrows it: one table of all calls.
//
// Pure. A call that does not stand in the table is for nobody.
#pragma once

#include <absl/status/status.h>
#include <google/protobuf/message.h>

#include <string_view>

#include "access/principal.h"

namespace plumblane {

struct Permission {
  // Any of these will do; an operator always will.
  Roles roles = 0;
  // Written to the audit: what an operator or a buyer does.
  bool is_audited = false;
  // The request behind the pointer that the library hands around; null for streams of requests.
  const google::protobuf::Message& (*message)(const void* request) = nullptr;
  // The supplier that a request is confined to, "" = none; null: the call tells of more than one,
  // whatever is asked.
  std::string_view (*supplier)(const void* request) = nullptr;
  // The source that a request speaks for; null: it speaks for none, or, as a stream of events, is
  // checked event by event.
  std::string_view (*source)(const void* request) = nullptr;
  // The audit tells that it was called, and not with what: it names what is to be nowhere.
  bool hides_request = false;
};

// `method` as "/plumblane.v1.Scores/GetScore"; null = for nobody.
const Permission* PermissionFor(std::string_view method);

// PERMISSION_DENIED with what is missing. `permission` may be null; `request` is what it reads.
absl::Status MayCall(const Principal& principal, const Permission* permission, const void* request);

}  // namespace plumblane
