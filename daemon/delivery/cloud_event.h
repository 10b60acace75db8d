// A message as a CloudEvents 1.0 document: JSON, structured mode, `application/cloudevents+json`.
//
// Source: CloudEvents 1.0.2 and its JSON format, Cloud Native Computing Foundation.
//
// Pure.
#pragma once

#include <string>

#include "delivery/sink.h"

namespace plumblane {

inline constexpr char kCloudEventType[] = "application/cloudevents+json";

// REQUIRES: message.data is a JSON document.
std::string CloudEventOf(const Message& message);

}  // namespace plumblane
