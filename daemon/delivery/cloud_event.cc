#include "delivery/cloud_event.h"

#include <nlohmann/json.hpp>

namespace plumblane {

std::string CloudEventOf(const Message& message) {
  using Json = nlohmann::ordered_json;
  return Json{{"specversion", "1.0"},
              {"id", message.id},
              {"source", message.source},
              {"type", message.type},
              {"subject", message.subject},
              {"time", FormatInstant(message.time)},
              {"datacontenttype", "application/json"},
              {"data", Json::parse(message.data)}}
      .dump();
}

}  // namespace plumblane
